package signal

import (
	"math"
	"testing"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// curve is a table of doubles over one input, by itself.
func curve(quantity, unit string, points, cells []float64) *surface.Decoded {
	c := &definition.Cells{Bytes: 8, Float: true, NX: len(points), NY: 1, Conv: definition.Conversion{Factor: 1}}
	t := &definition.Table{ID: "t", Cells: c, X: &definition.Axis{Quantity: quantity, Unit: unit, Points: points}}
	return &surface.Decoded{Table: t, X: points, NX: len(points), NY: 1, Bits: make([]uint64, len(points)), Values: cells}
}

// values are a function's at both ends of each cell of the only input.
func values(f *Function) []float64 {
	var out []float64
	for _, c := range f.space.Cells()[0] {
		cell := Box{c}
		out = append(out, f.At(&cell, &Point{c.Lo}), f.At(&cell, &Point{c.Hi}))
	}
	return out
}

func equal(a, b []float64) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if math.Abs(a[i]-b[i]) > 1e-12 {
			return false
		}
	}
	return true
}

// Both sides of a step belong to a cell, also where it is the first or the last breakpoint. By hand.
func TestBothSidesOfAStep(t *testing.T) {
	for _, c := range []struct {
		name          string
		points, cells []float64
		want          []float64
	}{
		{"within", []float64{0, 10, 10, 20}, []float64{1, 2, 7, 8}, []float64{1, 2, 7, 8}},
		{"falling", []float64{20, 10, 10, 0}, []float64{8, 7, 2, 1}, []float64{1, 2, 7, 8}},
		{"first", []float64{10, 10, 20}, []float64{1, 5, 6}, []float64{1, 1, 5, 6}},
		{"last", []float64{0, 10, 10}, []float64{1, 2, 9}, []float64{1, 2, 9, 9}},
		{"alone", []float64{10, 10}, []float64{1, 2}, []float64{1, 1, 2, 2}},
		{"thrice", []float64{0, 10, 10, 10, 20}, []float64{1, 2, 50, 3, 4}, []float64{1, 2, 3, 4}},
		{"single", []float64{10}, []float64{4}, []float64{4, 4}},
	} {
		f, err := NewSpace(nil).Table(curve("n", "1", c.points, c.cells))
		if err != nil {
			t.Fatal(err)
		}
		if got := values(f); !equal(got, c.want) {
			t.Errorf("%s: %v, want %v in %v", c.name, got, c.want, f.space.Cells())
		}
	}
}

// A comparison with a number is a step of its own; what holds at a single point has a cell of a single point.
func TestComparisonsMakeSteps(t *testing.T) {
	for _, c := range []struct {
		formula string
		want    []float64
	}{
		{"input('n') > 30 ? 1 : 0", []float64{0, 0, 1, 1}},
		{"input('n') >= 100 ? 1 : 0", []float64{0, 0, 1, 1}}, // the very end of the range
		{"input('n') > 100 ? 1 : 0", []float64{0, 0, 0, 0}},
		{"30 == input('n') ? 1 : 0", []float64{0, 0, 1, 1, 0, 0}},
		{"input('n') != 30 ? 1 : 0", []float64{1, 1, 0, 0, 1, 1}},
		{"30 < input('n') && !(input('n') >= 60) ? 1 : 0", []float64{0, 0, 1, 1, 0, 0}},
		{"input('n') < 30 || input('n') > 60 ? input('n') : 0", []float64{0, 30, 0, 0, 60, 100}},
		{"input('n') > table('at') ? 1 : 0", []float64{0, 0, 1, 1}}, // a scalar out of the image
		{"input('n') > 2 * table('at') - 10 ? 1 : 0", []float64{0, 0, 1, 1}},
		{"input('n') > 300 ? 1 : 0", []float64{0, 0}},
	} {
		var f fixture
		f.table("at", "1", "", "", "", 40)
		f.signal("s", "q", "1", c.formula, "")
		_, set := f.open(t, "  - {quantity: n, unit: '1', from: 0, to: 100}\n")
		s := signalOf(t, set.In(NewSpace(set.lay)), "s")
		if got := values(s); !equal(got, c.want) {
			t.Errorf("%s: %v, want %v in %v", c.formula, got, c.want, s.space.Cells())
		}
		for _, along := range s.space.Cells()[0] {
			cell := Box{along}
			if over := s.Over(&cell, &cell); !over.Smooth || !over.Multilinear {
				t.Errorf("%s: in %v %+v: the cell decides", c.formula, along, over)
			}
		}
	}
}

func TestIndexAxes(t *testing.T) {
	var f fixture
	f.table("low", "1", f.axis("gear", "1", ", index: true", 1, 2, 3), "", "", 10, 20, 30)
	f.table("high", "1", f.axis("gear", "1", ", index: true", 2, 3, 4), "", "", 1, 2, 3)
	f.table("none", "1", f.axis("gear", "1", ", index: true", 7, 8), "", "", 1, 2)
	f.table("chosen", "1", f.axis("n", "1", "", 0, 10), "", "", 1, 3)
	f.signal("picked", "picked", "1", "table('chosen')", ", feeds: true")
	f.table("by", "1", f.axis("picked", "1", ", index: true", 1, 2, 3), "", "", 100, 200, 300)
	f.signal("both", "q", "1", "table('low') + table('high')", "")
	f.signal("apart", "q", "1", "table('low') + table('none')", "")
	f.signal("chain", "q", "1", "table('by')", "")
	lay, set := f.open(t, "  - {quantity: gear, unit: '1', from: 1, to: 6}\n  - {quantity: n, unit: '1', from: 0, to: 10}\n")
	both := signalOf(t, set.In(NewSpace(lay)), "both")
	if got := values(both); !equal(got, []float64{21, 21, 32, 32}) {
		t.Errorf("gears 2 and 3: %v", got)
	}
	if in := both.space.Inputs()[0]; !in.Index || in.From != 2 || in.To != 3 {
		t.Errorf("%+v", in)
	}
	if cells := signalOf(t, set.In(NewSpace(lay)), "apart").space.Cells(); len(cells[0]) != 0 {
		t.Errorf("no gear has both: %v", cells)
	}
	if _, err := set.In(NewSpace(lay)).Show([]string{"both"}, map[string]float64{"gear": 2.5}); err == nil || err.Error() != "gear 2.5 is none of its points; allowed: 2 3" {
		t.Errorf("%v", err)
	}
	// Fed by a signal, an index axis is looked up at its points alone.
	chain := signalOf(t, set.In(NewSpace(lay)), "chain")
	for _, c := range []struct{ n, want float64 }{{0, 100}, {5, 200}, {10, 300}, {2.5, math.NaN()}} {
		cell, p := point(c.n)
		got, over := chain.At(&cell, &p), chain.Over(&cell, &cell)
		if got != c.want && !(got != got && c.want != c.want) || over.Undefined != (c.want != c.want) || c.want == c.want && (over.Lo != c.want || over.Hi != c.want) {
			t.Errorf("at %v: %v within %+v, want %v", c.n, got, over.Interval, c.want)
		}
	}
	cell := Box{{Lo: 0, Hi: 10}}
	if over := chain.Over(&cell, &cell); !over.Undefined || over.Smooth || over.Multilinear || over.Lo != 100 || over.Hi != 300 {
		t.Errorf("%+v", over)
	}
}

// What has no finite value is NaN, whatever comes after it, and its box is undefined.
func TestNothingHidesWhatIsNotFinite(t *testing.T) {
	for _, formula := range []string{
		"1 / table('zero')", "min(1 / table('zero'), 5)", "max(5, table('inf'))", "table('far')", "0 * table('inf')", "table('nan') > 1 ? 1 : 2",
		"clamp(table('inf'), 0, 1)", "table('huge') * table('huge')", "input('n') > table('nan') ? 1 : 2", "table('looked')",
	} {
		var f fixture
		for id, v := range map[string]float64{"zero": 0, "inf": math.Inf(1), "nan": math.NaN(), "huge": 1e300} {
			f.table(id, "1", "", "", "", v)
		}
		f.table("far", "1", f.axis("n", "1", "", 0, 100), "", "", 1, math.Inf(-1))
		f.signal("gone", "gone", "1", "table('inf')", ", feeds: true")
		f.table("looked", "1", f.axis("gone", "1", "", 0, 100), "", "", 1, 2)
		f.signal("s", "q", "1", formula, "")
		_, set := f.open(t, "  - {quantity: n, unit: '1', from: 0, to: 100}\n")
		s := signalOf(t, set.In(NewSpace(set.lay)), "s")
		cell, p := point(50)
		if got := s.At(&cell, &p); got == got {
			t.Errorf("%s: %v", formula, got)
		}
		if over := s.Over(&cell, &cell); !over.Undefined {
			t.Errorf("%s: %+v", formula, over)
		}
	}
}

// The table that is wrong by its cells alone: between raw 1000 at 1000 and raw 40000 at 2000 a controller divides 1e7 by the
// raw value between, 20500 half way. By hand.
func TestRationalBetweenItsCells(t *testing.T) {
	c := &definition.Cells{Bytes: 2, Width: 16, NX: 3, NY: 1, Conv: definition.Conversion{Rational: true, Num: [3]float64{1e7}, Den: [3]float64{0, 1}}}
	d := &surface.Decoded{Table: &definition.Table{ID: "t", Cells: c, X: &definition.Axis{Quantity: "n", Unit: "1/min"}},
		X: []float64{1000, 2000, 3000}, NX: 3, NY: 1, Bits: []uint64{1000, 40000, 1000}, Values: []float64{1e4, 250, 1e4}}
	f, err := NewSpace(nil).Table(d)
	if err != nil {
		t.Fatal(err)
	}
	cell := Box{f.space.Cells()[0][0]}
	if got := f.At(&cell, &Point{1500}); math.Abs(got-1e7/20500) > 1e-9 {
		t.Errorf("half way %v", got)
	}
	over := f.Over(&cell, &cell)
	if over.Lo > 250 || over.Lo < 249.999 || over.Hi < 1e4 || over.Hi > 1e4+1e-3 || over.Multilinear || !over.Smooth {
		t.Errorf("%+v", over)
	}
	step, err := f.RawStep()
	if err != nil {
		t.Fatal(err)
	}
	// From raw 1000 to 1001 the value falls by 1e7/1000 - 1e7/1001; at raw 20500 by 1e7/20500 - 1e7/20501.
	if got, want := step(&cell), 1e7/1000-1e7/1001; math.Abs(got-want) > 1e-9 {
		t.Errorf("a raw step of the whole cell is %v, want %v", got, want)
	}
	if got, want := step(&Box{{Lo: 1500, Hi: 1500}}), 1e7/20500-1e7/20501; math.Abs(got-want) > 1e-9 {
		t.Errorf("a raw step half way is %v, want %v", got, want)
	}
	if _, err := f.space.Number(1).RawStep(); err == nil {
		t.Error("a number has no raw step")
	}
}

// A denominator that can be zero makes the box undefined, and what is not near it stays decided.
func TestRationalAtAPole(t *testing.T) {
	c := &definition.Cells{Bytes: 2, Width: 16, NX: 3, NY: 1, Conv: definition.Conversion{Rational: true, Num: [3]float64{10}, Den: [3]float64{-5, 1}}}
	d := &surface.Decoded{Table: &definition.Table{ID: "t", Cells: c, X: &definition.Axis{Quantity: "n", Unit: "1"}},
		X: []float64{0, 10, 20}, NX: 3, NY: 1, Bits: []uint64{0, 10, 15}, Values: []float64{-2, 2, 1}}
	f, err := NewSpace(nil).Table(d)
	if err != nil {
		t.Fatal(err)
	}
	cells := f.space.Cells()[0]
	pole, other := Box{cells[0]}, Box{cells[1]}
	if over := f.Over(&pole, &pole); !over.Undefined || over.Smooth {
		t.Errorf("%+v", over)
	}
	if got := f.At(&pole, &Point{5}); got == got {
		t.Errorf("at the pole: %v", got)
	}
	if over := f.Over(&other, &other); over.Undefined || over.Lo > 1 || over.Hi < 2 || over.Hi-over.Lo > 1.001 {
		t.Errorf("%+v", over)
	}
}

func TestWhatCannotBeLookedUp(t *testing.T) {
	var f fixture
	f.table("odd", "1", f.axis("n", "1", "", 0, 20, 10), "", "", 1, 2, 3)
	f.table("lost", "1", "", "", "", 1)
	f.signal("a", "q", "1", "table('odd')", "")
	f.signal("b", "q", "1", "table('lost')", "")
	lay, _ := f.open(t, "  - {quantity: n, unit: '1', from: 0, to: 100}\n")
	set := Open(lay, func(id string) *surface.Decoded {
		if id == "lost" {
			return nil
		}
		return surface.Decode(lay.ByID[id], f.image)
	})
	for id, want := range map[string]string{
		"a": "signal a: table odd: the breakpoints along x neither rise nor fall", "b": "signal b: the image does not hold table lost",
		"c": `definition d has no signal "c"`,
	} {
		if _, err := set.In(NewSpace(lay)).Signal(id); err == nil || err.Error() != want {
			t.Errorf("%s: %v, want %s", id, err, want)
		}
	}
	if _, err := set.In(NewSpace(nil)).Table("odd"); err == nil {
		t.Error("odd can be looked up")
	}
	space := NewSpace(nil)
	for i := range bounded.MaxInputs + 1 {
		_, err := space.Input(string(rune('a'+i)), "1")
		if (err != nil) != (i == bounded.MaxInputs) {
			t.Errorf("input %d: %v", i, err)
		}
	}
	if _, err := space.Input("a", "kPa"); err == nil {
		t.Error("a number becomes a pressure")
	}
}

// A signal that is an input by another name is still one: the input's other uses are not called so, and it makes steps.
func TestAnInputByAnotherName(t *testing.T) {
	var f fixture
	f.signal("a", "a", "1", "input('n')", ", feeds: true")
	f.signal("b", "b", "1", "input('n')", "")
	f.table("t", "1", f.axis("a", "1", "", 0, 50), "", "", 0, 1)
	f.signal("s", "q", "1", "(signal('a') > 30 ? table('t') : 0) + input('n')", "")
	_, set := f.open(t, "  - {quantity: n, unit: '1', from: 0, to: 100}\n")
	view := set.In(NewSpace(set.lay))
	shown, err := view.Show([]string{"b", "s"}, map[string]float64{"n": 40})
	if err != nil {
		t.Fatal(err)
	}
	if len(shown[0].Steps) != 1 || shown[0].Steps[0].Signal != "b" {
		t.Errorf("b: %v", shown[0].Steps)
	}
	if s := shown[1].Steps; len(s) != 3 || s[0].Signal != "a" || s[1].Table != "t" || s[1].At["a"] != 40 || s[2].Signal != "s" || shown[1].Value != 40.8 {
		t.Errorf("s: %v", s)
	}
	if cells := signalOf(t, view, "s").space.Cells()[0]; len(cells) != 3 || cells[0].Hi != 30 || cells[1].Hi != 50 {
		t.Errorf("%v", cells)
	}
}

// A step that a look-up meets on its way through another lies within a cell: nothing there is smooth, nor what is made of it.
func TestAStepWithinACell(t *testing.T) {
	for _, formula := range []string{"table('t')", "min(table('t'), input('n'))", "max(table('t'), 3)", "table('t') + 1", "table('t') * 2", "table('t') / 2", "table('u')", "signal('load') > 50 ? 1 : 9"} {
		var f fixture
		f.table("twice", "1", f.axis("n", "1", "", 0, 100), "", "", 0, 200)
		f.signal("load", "load", "1", "table('twice')", ", feeds: true")
		f.table("t", "1", f.axis("load", "1", "", 0, 50, 50, 200), "", "", 1, 2, 5, 6)
		f.signal("torque", "torque", "1", "table('t')", ", feeds: true")
		f.table("u", "1", f.axis("torque", "1", "", 0, 10), "", "", 0, 1)
		f.signal("s", "q", "1", formula, "")
		_, set := f.open(t, "  - {quantity: n, unit: '1', from: 0, to: 100}\n")
		s := signalOf(t, set.In(NewSpace(set.lay)), "s")
		cell := Box{s.space.Cells()[0][0]}
		for _, c := range []struct {
			lo, hi float64
			smooth bool
		}{{10, 40, false}, {10, 24, true}, {26, 40, true}} {
			box := Box{{Lo: c.lo, Hi: c.hi}}
			if over := s.Over(&cell, &box); over.Smooth != c.smooth {
				t.Errorf("%s from %v to %v: %+v", formula, c.lo, c.hi, over)
			}
		}
	}
}

// Breakpoints that differ by the rounding of their units alone are one.
func TestBreakpointsThatAreOne(t *testing.T) {
	var f fixture
	f.table("c", "1", f.axis("temperature", "Cel", "", 0, 0.1, 40), "", "", 1, 2, 3)
	f.table("k", "1", f.axis("temperature", "K", "", 273.15, 273.25, 313.15), "", "", 1, 2, 3)
	f.signal("s", "q", "1", "table('c') - table('k')", "")
	_, set := f.open(t, "  - {quantity: temperature, unit: Cel, from: -20, to: 80}\n")
	s := signalOf(t, set.In(NewSpace(set.lay)), "s")
	if cells := s.space.Cells()[0]; len(cells) != 4 {
		t.Errorf("%v", cells)
	}
	for _, along := range s.space.Cells()[0] {
		cell := Box{along}
		if over := s.Over(&cell, &cell); !over.Multilinear {
			t.Errorf("in %v: %+v", along, over)
		}
	}
}

// Between neighbouring floats rounding goes past both ends, and the enclosure with it.
func TestEnclosuresHoldRounding(t *testing.T) {
	curved := curve("n", "1", []float64{0, 1}, []float64{7.3, math.Nextafter(7.3, 8)})
	curved.Table.Cells.Conv = definition.Conversion{Rational: true, Num: [3]float64{1e7, 3.3}, Den: [3]float64{-7, 1.1}}
	curved.Bits = []uint64{math.Float64bits(7.3), math.Float64bits(math.Nextafter(7.3, 8))}
	curved.Table.Cells.Width = 64
	for name, d := range map[string]*surface.Decoded{
		"straight": curve("n", "1", []float64{0, 1}, []float64{0.1, math.Nextafter(0.1, 1)}), "curved": curved,
	} {
		f, err := NewSpace(nil).Table(d)
		if err != nil {
			t.Fatal(err)
		}
		cell := Box{{Lo: 0, Hi: 1}}
		box := Box{{Lo: 0.001, Hi: 0.999}}
		over := f.Over(&cell, &box)
		for i := range 999 {
			if v := f.At(&cell, &Point{float64(i+1) / 1000}); !over.Holds(v) {
				t.Fatalf("%s: %v at %v is not within %v", name, v, float64(i+1)/1000, over.Interval)
			}
		}
		if over.Hi-over.Lo > 1e-7*over.Hi {
			t.Errorf("%s: %+v is wider than rounding", name, over.Interval)
		}
	}
}

// A raw value up to 1e300 squares to what is no float: the enclosure of the quotient, which stays near 0.04 raw, holds it all the same.
func TestRationalThatOverflows(t *testing.T) {
	f := &fixture{}
	f.table("t", "1", f.axis("engine_speed", "1/min", "", 1000, 3000), "", ", conversion: {rational: {num: [500, 3, 0.01], den: [40, 0.25]}}", 14, 1e300)
	f.signal("s", "q", "1", "table('t')", "")
	_, set := f.open(t, engine)
	space := NewSpace(set.lay)
	s := signalOf(t, set.In(space), "s")
	box := Box{{Lo: 1000, Hi: 3000}}
	over := s.Over(&box, &box)
	if v := s.At(&box, &Point{1000}); !over.Holds(v) || !over.Undefined {
		t.Errorf("%v is not within %v", v, over.Interval)
	}
}
