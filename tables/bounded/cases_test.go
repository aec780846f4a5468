package bounded

import (
	"math"
	"testing"
)

// span is the cells between breakpoints.
func span(xs ...float64) []Interval {
	var out []Interval
	for k := range xs[1:] {
		out = append(out, Interval{Lo: xs[k], Hi: xs[k+1]})
	}
	return out
}

func plain(value, limit node) *Problem {
	return &Problem{Value: tree{value}, Limit: tree{limit}, Ceiling: true, Step: func(*Box) float64 { return oneStep }, Tolerance: tolerance}
}

// TestInheritedOnlyWhereNothingGrewBeside: a ceiling of 20; the base's two cells 15 and 21, the candidate's 19 and 21: the
// corner at 21 is as it was, and a little before it the engine newly gets more than 20.
func TestInheritedOnlyWhereNothingGrewBeside(t *testing.T) {
	at := func(ys ...float64) node { return line{on: 0, xs: []float64{1000, 2000, 3000, 4000}[:len(ys)], ys: ys} }
	for _, c := range []struct {
		name            string
		base, candidate node
		cells           []Interval
		want            Origin
		in              int
		worst           float64
	}{
		{"beside it grew", at(15, 21), at(19, 21), span(1000, 2000), Worsened, 1, 1},
		{"nothing grew", at(15, 21), at(15, 21), span(1000, 2000), Inherited, 1, 1},
		{"beside it shrank", at(15, 21), at(14, 21), span(1000, 2000), Inherited, 1, 1},
		{"the next cell but one grew", at(15, 21, 15, 15), at(15, 21, 15, 19), span(1000, 2000, 3000, 4000), Inherited, 2, 1},
		{"the next cell grew", at(15, 21, 15), at(15, 21, 19), span(1000, 2000, 3000), Worsened, 2, 1},
		{"it grew itself", at(15, 21), at(15, 22), span(1000, 2000), Worsened, 1, 2},
		{"it passed", at(15, 19), at(15, 22), span(1000, 2000), Introduced, 1, 2},
		{"by rounding alone", at(15, 21), at(15, 21+1e-9), span(1000, 2000), Inherited, 1, 1 + 1e-9},
	} {
		p := plain(c.candidate, number(20))
		p.Cells, p.BaseValue, p.BaseLimit = [][]Interval{c.cells}, tree{c.base}, Constant(20)
		r := Judge(p)
		for o := range r.Found {
			if f := r.Found[o]; Origin(o) != c.want && f.Cells != 0 || Origin(o) == c.want && (f.Cells != c.in || math.Abs(f.Worst.Beyond-c.worst) > 1e-12) {
				t.Errorf("%s: origin %d: %+v", c.name, o, f)
			}
		}
		if c.name != "nothing grew" {
			continue
		}
		p.NoFurther = func(cell *Box) bool { return cell[0] == c.cells[0] }
		if told := Judge(p); told.Found != r.Found || told.Boxes != r.Boxes-1 {
			t.Errorf("told that nothing changed: %+v, else %+v", told, r)
		}
	}
}

// TestNotKnownIsNotInherited: what cannot be told to be no further out is worsened: an enclosure that stays too wide, a cell
// that the budget did not reach; a cell that is not to be judged is not asked.
func TestNotKnownIsNotInherited(t *testing.T) {
	p := plain(number(21), number(20))
	p.Cells, p.BaseValue, p.BaseLimit = [][]Interval{span(0, 1, 2)}, Difference(tree{number(21)}, vague(1)), Constant(20)
	if r := Judge(p); r.Found[Worsened].Cells != 2 || r.Found[Inherited].Cells != 0 {
		t.Errorf("too wide: %+v", r.Found)
	}
	p.BaseValue = Constant(21)
	if r := Judge(p); r.Found[Inherited].Cells != 2 || r.Found[Worsened].Cells != 0 {
		t.Errorf("the same: %+v", r.Found)
	}
	p.Budget = 1
	if r := Judge(p); r.Found[Inherited].Cells != 1 || r.Found[Worsened].Cells != 1 && r.Undecided != 1 {
		t.Errorf("not reached: %+v", r)
	}
	xs := []float64{0, 1, 2, 3, 4}
	p = plain(line{on: 0, xs: xs, ys: []float64{15, 15, 21, 21, 19}}, number(20))
	p.Cells, p.BaseValue, p.BaseLimit = [][]Interval{span(xs...)}, tree{line{on: 0, xs: xs, ys: []float64{15, 15, 21, 21, 15}}}, Constant(20)
	for first, want := range [][2]int{{2, 2}, {2, 2}, {1, 2}, {0, 1}} { // inherited, worsened
		p.Only = func(index []int) bool { return index[0] >= first }
		if r := Judge(p); r.Found[Inherited].Cells != want[0] || r.Found[Worsened].Cells != want[1] {
			t.Errorf("from cell %d: %+v", first, r.Found)
		}
	}
	p.Only = func(index []int) bool { return index[0] < 3 }
	if r := Judge(p); r.Found[Inherited].Cells != 2 || r.Found[Worsened].Cells != 0 {
		t.Errorf("but for the cell that grew: %+v", r.Found)
	}
	p.Value, p.Only = tree{line{on: 0, xs: xs, ys: []float64{15, 19, 21, 21, 15}}}, func(index []int) bool { return index[0] > 0 }
	if r := Judge(p); r.Found[Inherited].Cells != 2 || r.Found[Worsened].Cells != 2 {
		t.Errorf("the cell before it grew: %+v", r.Found)
	}
	p = plain(number(21), number(20))
	p.Cells, p.BaseValue, p.BaseLimit = [][]Interval{span(0, 1, 2, 3), span(0, 1)}, Difference(tree{number(21)}, vague(3)), Constant(20)
	p.Budget = 1500
	if r := Judge(p); r.Found[Worsened].Cells != 3 || r.Found[Inherited].Cells != 0 || r.Boxes > 2*p.Budget || r.Boxes < p.Budget {
		t.Errorf("no budget to ask: %+v", r)
	}
}

// TestTheWorstOfEachOrigin: over 0 to 1 the candidate lies 4x beyond its limit, the base 8x − 6, both bent a little: by
// hand what is introduced goes up to where the base is half a step beyond, what is worsened from there on.
func TestTheWorstOfEachOrigin(t *testing.T) {
	bend := productOf{number(0.01), productOf{input(0), input(0)}}
	p := plain(sumOf{productOf{number(4), input(0)}, bend}, number(0))
	p.Cells, p.BaseLimit = [][]Interval{span(0, 1)}, Constant(0)
	p.BaseValue = tree{sumOf{sumOf{number(-6), productOf{number(8), input(0)}}, bend}}
	r := Judge(p)
	x := (-8 + math.Sqrt(64+4*0.01*(6+oneStep/2))) / 0.02
	for o, most := range map[Origin]float64{Introduced: 4*x + 0.01*x*x, Worsened: 4.01} {
		if f := r.Found[o]; f.Cells != 1 || f.Worst.Beyond > most+1e-6 || f.Bound < most-1e-6 || f.Bound > f.Worst.Beyond+oneStep/2+1e-6 {
			t.Errorf("origin %d: %+v, by hand up to %v", o, f, most)
		}
	}
	if r.Found[Inherited].Cells != 0 {
		t.Errorf("%+v", r.Found[Inherited])
	}
}

// TestAStepParts: the far side of a step does not touch a point of this side, whatever grew there. This side ends at 21,
// as it did; the far side, from 5 on, begins at what the cases say.
func TestAStepParts(t *testing.T) {
	step := func(y float64) node {
		return line{on: 0, xs: []float64{0, 5, 5, 10}, ys: []float64{15, 21, y, 15}}
	}
	for _, c := range []struct {
		base, candidate float64
		inherited       int
		beyond          Origin // the far side
	}{
		{17, 19, 1, Inherited},
		{17, 22, 1, Introduced},
		{20.5, 20.75, 1, Worsened},
		{20.5, 21, 1, Worsened}, // the base's step alone parts them
		{21, 22, 1, Worsened},   // the candidate's alone
		{21, 20.5, 2, Inherited},
		{21, 21, 2, Inherited}, // no step
	} {
		p := plain(step(c.candidate), number(20))
		p.Cells, p.BaseValue, p.BaseLimit = [][]Interval{span(0, 5, 10)}, tree{step(c.base)}, Constant(20)
		r := Judge(p)
		if r.Found[Inherited].Cells != c.inherited || r.Found[Inherited].Worst.Cell[0] != 0 || c.beyond != Inherited && r.Found[c.beyond].Cells != 1 {
			t.Errorf("%+v: %+v", c, r.Found)
		}
	}
	p := plain(line{on: 0, xs: []float64{0, 5, 10}, ys: []float64{15, 21, 17}}, number(20))
	p.Cells, p.BaseValue, p.BaseLimit = [][]Interval{span(0, 5, 10)}, tree{line{on: 0, xs: []float64{0, 5, 10}, ys: []float64{15, 21, 15}}}, Constant(20)
	if r := Judge(p); r.Found[Inherited].Cells != 0 || r.Found[Worsened].Cells != 2 {
		t.Errorf("without a step: %+v", r.Found)
	}
}

// TestARationalTableBetweenItsBreakpoints: raw 1000, 40000, 1000 at 1000, 2000, 3000 is 10⁷ over the raw: at 1500 the
// controller gets 10⁷/20500 = 488, where a floor from 9000 to 200 is 4600. At the breakpoints nothing fails.
func TestARationalTableBetweenItsBreakpoints(t *testing.T) {
	xs := []float64{1000, 2000, 3000}
	p := plain(ratio{number(1e7), line{on: 0, xs: xs, ys: []float64{1000, 40000, 1000}}}, line{on: 0, xs: xs, ys: []float64{9000, 200, 9000}})
	p.Cells, p.Ceiling = [][]Interval{span(xs...)}, false
	r := Judge(p)
	f := r.Found[Introduced]
	if f.Cells != 2 || r.Undecided != 0 {
		t.Fatalf("%+v", r)
	}
	// By hand: d/dt of 9000 − 8800 t − 10⁷/(1000 + 39000 t) is zero at (1000 + 39000 t)² = 39·10¹⁰/8800.
	raw := math.Sqrt(39e10 / 8800)
	most := 9000 - 8800*(raw-1000)/39000 - 1e7/raw
	if f.Worst.Beyond > most+1e-9 || f.Worst.Beyond < most-oneStep/2 || f.Bound < most-1e-9 || f.Bound > most+oneStep/2 {
		t.Errorf("%+v, by hand %v", f, most)
	}
}

// TestHalfAStepCounts: what is not multilinear fails beyond half a step, not at it; what is, beyond rounding.
func TestHalfAStepCounts(t *testing.T) {
	x := input(0)
	for _, c := range []struct {
		value node
		fails bool
	}{
		{sumOf{number(20), productOf{x, sumOf{number(1), productOf{number(-1), x}}}}, true}, // x (1 − x) is 1/4 at most
		{sumOf{number(19.875), productOf{x, sumOf{number(1), productOf{number(-1), x}}}}, false},
		{sumOf{number(19.876), productOf{x, sumOf{number(1), productOf{number(-1), x}}}}, true},
		{sumOf{number(19), x}, false},
		{sumOf{number(19.0001), x}, true},
	} {
		p := plain(c.value, number(20))
		p.Cells = [][]Interval{{{Lo: 0, Hi: 1}}}
		if r := Judge(p); (r.Found[Introduced].Cells > 0) != c.fails || r.Undecided > 0 {
			t.Errorf("%v: %+v", c.value, r)
		}
	}
}

// TestAtItsLimit: a value equal to its limit has no room and does not fail, above or below, and its distance is no minus zero.
func TestAtItsLimit(t *testing.T) {
	for _, ceiling := range []bool{true, false} {
		p := plain(number(20), number(20))
		p.Cells, p.Ceiling = [][]Interval{span(0, 1)}, ceiling
		if r := Judge(p); r.Closest.Beyond != 0 || math.Signbit(r.Closest.Beyond) || r.Found[Introduced].Cells != 0 || r.Bound != 0 {
			t.Errorf("ceiling %v: %+v", ceiling, r)
		}
	}
}

// vague is a function of which nothing better is known than that it lies from -1 to 1; it is 0.
type vague uint8

func (v vague) At(*Box, *[MaxInputs]float64) float64 { return 0 }
func (v vague) Over(*Box, *Box) Bounds {
	return Bounds{Interval: Interval{Lo: -1, Hi: 1}, Inputs: uint8(v)}
}

// TestUndecidedIsSaid: what splitting cannot decide, and what the budget does not reach, is never passed.
func TestUndecidedIsSaid(t *testing.T) {
	p := plain(number(0), number(0.5))
	p.Value, p.Cells = vague(1), [][]Interval{span(0, 1, 2, 3)}
	r := Judge(p)
	if r.Undecided != 3 || r.UndecidedBound != 0.5 || r.Boxes != 3*(2*128-1) || r.Found[Introduced].Cells != 0 || r.Closest.Beyond != -0.5 || r.Bound != 0.5 {
		t.Errorf("split to the end: %+v", r)
	}
	p.Budget = 100
	if r = Judge(p); r.Undecided != 3 || r.UndecidedBound != 0.5 || r.Boxes > 100 || r.Boxes < 99 {
		t.Errorf("budget spent: %+v", r)
	}
	p.Budget = 2
	if r = Judge(p); r.Undecided != 3 || !math.IsInf(r.UndecidedBound, 1) || !math.IsInf(r.Bound, 1) || r.Boxes != 2 {
		t.Errorf("cells not reached: %+v", r)
	}
	huge := make([]Interval, 1<<16)
	for i := range huge {
		huge[i] = Exactly(float64(i))
	}
	p.Cells, p.Budget = [][]Interval{huge, huge, huge, huge, huge}, 0
	if r = Judge(p); r.Judged || r.Undecided != math.MaxInt32 || !math.IsInf(r.UndecidedBound, 1) {
		t.Errorf("more cells than numbers: %+v", r)
	}
	p.Limit, p.Cells = Constant(1), [][]Interval{span(0, 1)}
	if r = Judge(p); r.Undecided != 0 {
		t.Errorf("enclosed by the limit: %+v", r)
	}
}

// TestWhatIsNotFiniteFails: at a point without bounds; and where the base had it too it is no worse.
func TestWhatIsNotFiniteFails(t *testing.T) {
	pole := ratio{number(1), sumOf{input(0), number(-2)}}
	p := plain(pole, number(1e9))
	p.Cells = [][]Interval{span(1, 2, 3, 4)}
	r := Judge(p)
	if f := r.Found[Introduced]; f.Cells != 2 || !math.IsInf(f.Worst.Beyond, 1) || f.Worst.Inputs[0] != 2 || r.Undecided != 0 {
		t.Errorf("%+v", r)
	}
	p.BaseValue, p.BaseLimit, p.NoFurther = p.Value, p.Limit, func(*Box) bool { return true }
	if r = Judge(p); r.Found[Inherited].Cells != 2 || r.Found[Introduced].Cells+r.Found[Worsened].Cells != 0 {
		t.Errorf("%+v", r.Found)
	}
	p.NoFurther, p.BaseValue = nil, Constant(0)
	if r = Judge(p); r.Found[Introduced].Cells != 2 {
		t.Errorf("%+v", r.Found)
	}
	p = plain(number(0), ratio{number(0), input(0)})
	p.Cells = [][]Interval{{Exactly(0), Exactly(1)}}
	if r = Judge(p); r.Found[Introduced].Cells != 1 || r.Found[Introduced].Worst.Inputs[0] != 0 {
		t.Errorf("a limit that is no number: %+v", r)
	}
}

// TestOnlyWhatIsAsked: other cells neither fail nor are evaluated.
func TestOnlyWhatIsAsked(t *testing.T) {
	p := plain(sumOf{input(0), productOf{number(10), input(1)}}, number(20))
	p.Cells = [][]Interval{span(0, 1, 2, 3), span(0, 1, 2, 3, 4)}
	p.Only = func(index []int) bool { return index[0] == 1 && index[1]%2 == 0 }
	r := Judge(p)
	if r.Boxes != 2 || r.Found[Introduced].Cells != 1 || r.Closest.Inputs != [MaxInputs]float64{2, 3} || r.Closest.Cell != [MaxInputs]int{1, 2} {
		t.Errorf("%+v", r)
	}
	p.Only = func([]int) bool { return false }
	if r = Judge(p); r.Judged || r.Boxes != 0 || r.Undecided != 0 {
		t.Errorf("%+v", r)
	}
	p.Cells = nil // a function without inputs has one cell
	p.Only, p.Value = nil, Constant(21)
	if r = Judge(p); r.Found[Introduced].Cells != 1 || r.Closest.Beyond != 1 {
		t.Errorf("%+v", r)
	}
}
