package compare

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// subjects is every changed table, and its changed cells and breakpoints; in a check every table with all of its cells and
// stored breakpoints.
func (s *session) subjects(f func(d *reading, cells []uint32, axes []*along)) {
	if !s.check {
		for _, c := range s.changes {
			if c.known() {
				f(&c.is, c.cells, c.axes)
			}
		}
		return
	}
	for _, t := range s.candLay.Tables {
		if r := s.cand.reading(t); r.t != nil {
			cells, axes := s.pairs.wholeOf(&r)
			f(&r, cells, axes)
		}
	}
}

// notFinite finds cells and breakpoints that are no finite number.
func (s *session) notFinite() {
	s.subjects(func(r *reading, cells []uint32, axes []*along) {
		count, worst := r.notFinite(cells)
		var what []string
		if count > 0 {
			what = append(what, several(count, "cell")+" not a finite number")
		}
		for _, a := range axes {
			for _, i := range a.points {
				if !surface.Finite(a.is[i]) {
					count++
					what = append(what, fmt.Sprintf("breakpoint %d along %s is %v", i, a.name, a.is[i]))
				}
			}
		}
		if count > 0 {
			s.find(&calibrationv1.Finding{Rule: "not-finite", Severity: "danger", Table: r.t.ID, Count: count, Worst: worst, Detail: joined(what)})
		}
	})
}

// notFinite counts cells that are no finite number among some, and says where the first lies.
func (r *reading) notFinite(cells []uint32) (count uint32, worst *calibrationv1.Worst) {
	if !numeric(r.t) || finite(r.t.Cells) {
		return 0, nil
	}
	d := r.decoded()
	for _, i := range cells {
		if v := d.Values[i]; v-v == 0 || isOff(d, int(i)) {
			continue
		}
		if count++; worst == nil {
			worst = worstAt(d, int(i))
		}
	}
	return count, worst
}

func worstAt(d *surface.Decoded, i int) *calibrationv1.Worst {
	w := placeOf(d, i)
	w.Value = proto.Float64(d.Values[i])
	return w
}

// finite says that whatever whole number stands in cells, it means a finite one.
func finite(c *definition.Cells) bool {
	if c.Float || !c.Conv.Affine() {
		return false
	}
	far := float64(0x1p64 * math.Abs(c.Conv.Factor))
	return far-far == 0 && surface.Finite(far+math.Abs(c.Conv.Offset))
}

// axisOrder finds changed axes that neither rise nor fall strictly.
func (s *session) axisOrder() {
	s.subjects(func(r *reading, _ []uint32, axes []*along) {
		count, what := 0, []string(nil)
		for _, a := range axes {
			if len(a.points) == 0 && !a.moved { // one that lost its last breakpoints alone changed all the same
				continue
			}
			wrong := Disordered(a.is)
			count += len(wrong)
			for _, i := range wrong {
				what = append(what, fmt.Sprintf("along %s, breakpoint %d is %s after %s", a.name, i, short(a.is[i]), short(a.is[i-1])))
			}
		}
		if count > 0 {
			s.find(&calibrationv1.Finding{Rule: "axis-order", Severity: "caution", Table: r.t.ID, Count: uint32(count), Detail: joined(what)})
		}
	})
}

// Disordered is the indices of the breakpoints that break the order which most neighbours keep.
func Disordered(points []float64) []int {
	var notRising, notFalling []int
	for i := 1; i < len(points); i++ {
		if !(points[i] > points[i-1]) { // NaN too
			notRising = append(notRising, i)
		}
		if !(points[i] < points[i-1]) {
			notFalling = append(notFalling, i)
		}
	}
	if len(notFalling) < len(notRising) {
		return notFalling
	}
	return notRising
}
