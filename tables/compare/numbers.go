package compare

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// judged is a table that the rules on single tables look at.
type judged struct {
	d                *surface.Decoded
	cells            []cell
	xPoints, yPoints []int
}

// judgedAxis is one axis of a judged table, and which of its breakpoints are looked at.
type judgedAxis struct {
	name    string
	points  []float64
	indices []int
}

func (j judged) axes() [2]judgedAxis {
	return [2]judgedAxis{{"x", j.d.X, j.xPoints}, {"y", j.d.Y, j.yPoints}}
}

// subjects is every changed table; in a check every table with all of its cells and stored breakpoints.
func (s *session) subjects(f func(j judged)) {
	if !s.check {
		for _, c := range s.changes {
			if c.cand != nil {
				f(judged{c.cand, c.cells, c.movedXPoints, c.movedYPts})
			}
		}
		return
	}
	for _, t := range s.candLay.Tables {
		d := s.candOf(t.ID)
		if d == nil {
			continue
		}
		j := judged{d: d, xPoints: storedPoints(t.X), yPoints: storedPoints(t.Y)}
		for i := range d.Bits {
			row, col := i/d.NX, i%d.NX
			j.cells = append(j.cells, cell{row, col, row, col})
		}
		f(j)
	}
}

func storedPoints(a *definition.Axis) []int {
	if a == nil || a.Cells == nil {
		return nil
	}
	out := make([]int, a.Count)
	for i := range out {
		out[i] = i
	}
	return out
}

// notFinite finds cells and breakpoints that are no finite number.
func (s *session) notFinite() {
	s.subjects(func(j judged) {
		f := &calibrationv1.Finding{Rule: "not-finite", Severity: "danger", Table: j.d.Table.ID}
		var what []string
		if j.d.Values != nil {
			for _, c := range j.cells {
				v := j.d.Values[c.row*j.d.NX+c.col]
				if surface.Finite(v) {
					continue
				}
				f.Count++
				if f.Worst == nil {
					f.Worst = worstAt(j.d, c.row, c.col, v)
				}
			}
		}
		if f.Count > 0 {
			what = append(what, several(f.Count, "cell")+" not a finite number")
		}
		for _, a := range j.axes() {
			for _, i := range a.indices {
				if !surface.Finite(a.points[i]) {
					f.Count++
					what = append(what, fmt.Sprintf("breakpoint %d along %s is %v", i, a.name, a.points[i]))
				}
			}
		}
		if f.Count > 0 {
			f.Detail = joined(what)
			s.find(f)
		}
	})
}

func worstAt(d *surface.Decoded, row, col int, value float64) *calibrationv1.Worst {
	w := placeOf(d, row, col)
	w.Value = proto.Float64(value)
	return w
}

// placeOf is a cell's place as the report says it.
func placeOf(d *surface.Decoded, row, col int) *calibrationv1.Worst {
	w := &calibrationv1.Worst{Row: proto.Uint32(uint32(row)), Column: proto.Uint32(uint32(col))}
	if d.X != nil {
		w.X = proto.Float64(d.X[col])
	}
	if d.Y != nil {
		w.Y = proto.Float64(d.Y[row])
	}
	return w
}

// axisOrder finds changed axes that neither rise nor fall strictly.
func (s *session) axisOrder() {
	s.subjects(func(j judged) {
		f := &calibrationv1.Finding{Rule: "axis-order", Severity: "caution", Table: j.d.Table.ID}
		var what []string
		for _, a := range j.axes() {
			if len(a.indices) == 0 && (s.check || !s.cutShort(j.d.Table.ID, a.name)) {
				continue
			}
			wrong := Disordered(a.points)
			f.Count += uint32(len(wrong))
			for _, i := range wrong {
				what = append(what, fmt.Sprintf("along %s, breakpoint %d is %s after %s", a.name, i, short(a.points[i]), short(a.points[i-1])))
			}
		}
		if f.Count > 0 {
			f.Detail = joined(what)
			s.find(f)
		}
	})
}

// cutShort says that an axis lost its last breakpoints and no other one moved: it changed all the same.
func (s *session) cutShort(id, axis string) bool {
	c := s.byID[id]
	return axis == "x" && c.xMoved || axis == "y" && c.yMoved
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
