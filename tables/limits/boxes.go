package limits

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/signal"
)

// boxes is what is judged over boxes of operating points: a value, and what it was in the base, nil
// where that is not to be held against it.
type boxes struct {
	*subject
	space       *signal.Space
	value, base bounded.Function
	step        func(*bounded.Box) float64 // 0 where there is none: then what it is of the limit counts
	areas       []area
	moved       moved
}

// area is a part of the operating points, where there may be nothing to hold against.
type area struct {
	cells [][]bounded.Interval
	only  func(index []int) bool
	fresh bool
	apart *apart // where the rule is confined further
	times int    // the cells that each of these stands for, along inputs that make no difference; 0 is 1
}

// edge is what a value is held against; was is nil where the base had none.
type edge struct {
	now, was *signal.Function
	less     *signal.Function // value less limit, where it is enclosed more narrowly so; else nil
	ceiling  bool
	still    bool // it leaves no room to speak of
}

// moved says whether the value may rise or fall from the base's anywhere in a cell, if that is known at a glance; nil where
// it never is.
type moved func(cell *bounded.Box) (up, down, known bool)

// leastStep is what a finding must exceed by half where nothing says in what steps a value goes, of the limit.
const leastStep = 1e-6

// hold judges the value by one edge.
func (b *boxes) hold(e edge) {
	for _, a := range b.areas {
		p := &bounded.Problem{Cells: a.cells, Only: a.only, Value: b.value, Limit: e.now, Ceiling: e.ceiling, Budget: b.in.budget,
			Tolerance: b.tally.tolerance, Step: func(box *bounded.Box) float64 {
				if step := b.step(box); step > 0 {
					return step
				}
				limit := e.now.Over(box, box)
				return leastStep * max(math.Abs(limit.Lo), math.Abs(limit.Hi))
			}}
		switch {
		case a.apart != nil:
			p.Apart = a.apart
		case e.less != nil:
			p.Apart = e.less
		}
		if b.base != nil && e.was != nil && !a.fresh {
			p.BaseValue, p.BaseLimit = b.base, e.was
			if e.was == e.now && b.moved != nil { // then the value alone says how far out it is
				p.NoFurther = func(cell *bounded.Box) bool {
					up, down, known := b.moved(cell)
					return known && (e.ceiling && !up || !e.ceiling && !down)
				}
			}
		}
		b.take(bounded.Judge(p), a, e.still)
	}
}

// take adds what was found to the tally.
func (b *boxes) take(r *bounded.Result, a area, still bool) {
	cells, times := a.cells, max(a.times, 1)
	nothing := !r.Judged || math.Abs(r.Closest.Value) >= outside // no point where the rule holds
	if nothing && r.Undecided == 0 {
		return
	}
	b.looked++
	b.out.boxes += r.Boxes
	for o, f := range r.Found {
		if f.Cells == 0 {
			continue
		}
		v := verdict{value: f.Worst.Value, limit: f.Worst.Limit, excess: f.Worst.Beyond, room: -f.Worst.Beyond, fails: true}
		to := &b.tally.buckets[o]
		v.bound = proto.Float64(f.Bound)
		if was := to.worst.bound; was != nil {
			*v.bound = max(f.Bound, *was)
		}
		if to.count == 0 || v.excess > to.worst.excess {
			to.at, to.worst = b.place(&f.Worst, cells), v
		}
		to.worst.bound = v.bound
		to.count += f.Cells * times
	}
	if !nothing && !still {
		c := &r.Closest
		if v := (verdict{value: c.Value, limit: c.Limit, room: -c.Beyond}); b.tally.closer(&v) {
			b.tally.leave(b.place(c, cells), v)
		}
	}
	if r.Undecided > 0 {
		b.undecided += r.Undecided * times
		b.atMost = max(b.atMost, r.UndecidedBound)
	}
}

// place says where a point is: by its inputs, and of a table by its axes and its cell.
func (b *boxes) place(p *bounded.Point, cells [][]bounded.Interval) place {
	at := place{inputs: map[string]float64{}}
	var below [2]bool
	for i, in := range b.space.Inputs() {
		if !in.Nameless() {
			at.inputs[in.Quantity] = p.Inputs[i]
		}
		if b.t == nil {
			continue
		}
		c := cells[i][p.Cell[i]]
		switch b.axisOf(&in) {
		case 0:
			at.x, below[0] = p.Inputs[i], c.Lo < c.Hi && p.Inputs[i] == c.Hi
		case 1:
			at.y, below[1] = p.Inputs[i], c.Lo < c.Hi && p.Inputs[i] == c.Hi
		}
	}
	if b.t != nil {
		at.row, at.col = indexOf(b.cand.y, at.y, below[1]), indexOf(b.cand.x, at.x, below[0])
		at.cell, at.slice = at.row >= 0 && at.col >= 0, b.cand.t.Slice
	}
	return at
}

// axisOf is which of x and y of the table an input is: 0, 1, or -1 for none.
func (s *subject) axisOf(in *signal.Input) int {
	for i, a := range axesOf(s.cand.t) {
		if a != nil && in.Quantity == signal.QuantityOf(s.cand.t, i) {
			return i
		}
	}
	return -1
}

// undecidedFinding says that boxes were left that may hold a failing point; nil where there are none.
func (s *subject) undecidedFinding() *calibrationv1.Finding {
	if s.undecided == 0 {
		return nil
	}
	f := &calibrationv1.Finding{
		Rule: "undecided", Severity: "caution", Count: uint32(s.undecided), Worst: &calibrationv1.Worst{Bound: proto.Float64(s.atMost)},
		Reason: AlwaysOn["undecided"], Source: AlwaysOnSource,
		Detail: fmt.Sprintf("rule %s: in %d cells of operating points it was not decided whether the limit is kept; none lies beyond it by more than %v %s", s.rule.GetId(), s.undecided, s.atMost, s.unit),
	}
	f.Table, f.Signal = s.id()
	return f
}
