package compare

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/surface"
)

// subjects is every changed table, and its changed cells and breakpoints; in a check every table with all of its cells and
// stored breakpoints.
func (s *session) subjects(f func(d *surface.Decoded, cells []uint32, axes []*along)) {
	if !s.check {
		for _, c := range s.changes {
			if c.cand != nil {
				f(c.cand, c.cells, c.axes)
			}
		}
		return
	}
	for _, t := range s.candLay.Tables {
		if d := s.cand.table(t.ID); d != nil {
			cells, axes := wholeOf(d)
			f(d, cells, axes)
		}
	}
}

// notFinite finds cells and breakpoints that are no finite number.
func (s *session) notFinite() {
	s.subjects(func(d *surface.Decoded, cells []uint32, axes []*along) {
		f := &calibrationv1.Finding{Rule: "not-finite", Severity: "danger", Table: d.Table.ID}
		var what []string
		if d.Values != nil {
			for _, i := range cells {
				if surface.Finite(d.Values[i]) || isOff(d, int(i)) {
					continue
				}
				f.Count++
				if f.Worst == nil {
					f.Worst = worstAt(d, int(i))
				}
			}
		}
		if f.Count > 0 {
			what = append(what, several(f.Count, "cell")+" not a finite number")
		}
		for _, a := range axes {
			for _, i := range a.points {
				if !surface.Finite(a.is[i]) {
					f.Count++
					what = append(what, fmt.Sprintf("breakpoint %d along %s is %v", i, a.name, a.is[i]))
				}
			}
		}
		if f.Count > 0 {
			f.Detail = joined(what)
			s.find(f)
		}
	})
}

func worstAt(d *surface.Decoded, i int) *calibrationv1.Worst {
	w := placeOf(d, i)
	w.Value = proto.Float64(d.Values[i])
	return w
}

// axisOrder finds changed axes that neither rise nor fall strictly.
func (s *session) axisOrder() {
	s.subjects(func(d *surface.Decoded, _ []uint32, axes []*along) {
		f := &calibrationv1.Finding{Rule: "axis-order", Severity: "caution", Table: d.Table.ID}
		var what []string
		for _, a := range axes {
			if len(a.points) == 0 && !a.moved { // one that lost its last breakpoints alone changed all the same
				continue
			}
			wrong := Disordered(a.is)
			f.Count += uint32(len(wrong))
			for _, i := range wrong {
				what = append(what, fmt.Sprintf("along %s, breakpoint %d is %s after %s", a.name, i, short(a.is[i]), short(a.is[i-1])))
			}
		}
		if f.Count > 0 {
			f.Detail = joined(what)
			s.find(f)
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
