package signal

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// coded is a set of tables of u8 cells, of which 255 is no value.
func coded(t *testing.T, numbered bool, signals string, tables ...string) (*definition.Layout, *Set, []byte) {
	t.Helper()
	var image []byte
	var text strings.Builder
	for _, table := range tables {
		head, cells, _ := strings.Cut(table, " = ")
		id, axes, more := strings.Cut(head, ",")
		if more {
			axes = "," + axes
		}
		fmt.Fprintf(&text, "  - {id: %s, quantity: q, unit: '1', stored: {address: %d, type: u8, not_a_value: [255]}%s}\n", id, len(image), axes)
		for _, c := range strings.Fields(cells) {
			var v byte
			fmt.Sscan(c, &v)
			image = append(image, v)
		}
	}
	file := fmt.Sprintf("name: d\nbyte_order: little\nimage: {size: %d}\ntables:\n%ssignals:\n%sinputs:\n%s", len(image), text.String(), signals, engine)
	lay, err := definition.Load("d.yaml", []byte(file))
	if err != nil {
		t.Fatalf("%v\n%s", err, file)
	}
	read := func(id string) *surface.Decoded { return surface.Decode(lay.ByID[id], image) }
	if numbered {
		return lay, OpenNumbered(lay, read), image
	}
	return lay, Open(lay, read), image
}

const rpm3 = ", x: {quantity: engine_speed, unit: 1/min, points: [1000, 2000, 4000]}"

// Worked by hand: where a signal looks up the code at 2000 of a, or the one at 40 of b, it has no value. The branch that is
// not taken does not matter.
func TestValuedByHand(t *testing.T) {
	lay, set, _ := coded(t, false, `  - {id: s, quantity: q, unit: '1', value: "input('intake_temperature') < 0 ? 7.0 : table('a') + table('b')"}
  - {id: fed, quantity: load, unit: '1', feeds: true, value: "table('a')"}
  - {id: through, quantity: q, unit: '1', value: "table('c')"}
  - {id: clean, quantity: q, unit: '1', value: "table('d') + 1.0"}
`, "a"+rpm3+" = 10 255 30", "b, x: {quantity: intake_temperature, unit: Cel, points: [0, 40, 60]} = 1 2 255", "c, x: {quantity: load, unit: '1', points: [10, 20]} = 5 6", "d"+rpm3+" = 1 2 3")
	view := set.In(NewSpace(lay))
	for _, c := range []struct {
		signal     string
		speed, air float64
		valued     float64
		value      float64
	}{
		{"s", 1000, 20, 1, 11.5}, {"s", 1001, 20, 0, math.NaN()}, {"s", 2000, 20, 0, math.NaN()}, {"s", 4000, 40, 1, 32}, {"s", 4000, 41, 0, math.NaN()},
		{"s", 5000, 0, 1, 31}, {"s", 2000, -1, 1, 7}, {"through", 1000, 20, 1, 5}, {"through", 1500, 20, 0, math.NaN()}, {"through", 4500, 0, 1, 6},
	} {
		f := signalOf(t, view, c.signal)
		valued := f.Valued()
		var cell Box
		var p Point
		for i, in := range f.space.Inputs() {
			v := map[string]float64{"engine_speed": c.speed, "intake_temperature": c.air}[in.Quantity]
			cell[i].Lo, cell[i].Hi, p[i] = v, v, v
		}
		if got := valued.At(&cell, &p); got != c.valued {
			t.Errorf("%s at %v, %v: valued %v, by hand %v", c.signal, c.speed, c.air, got, c.valued)
		}
		if got := f.At(&cell, &p); got != c.value && !(got != got && c.value != c.value) {
			t.Errorf("%s at %v, %v: %v, by hand %v", c.signal, c.speed, c.air, got, c.value)
		}
	}
	if signalOf(t, view, "clean").Valued() != nil {
		t.Error("a signal without codes is asked where it is valued")
	}
	if _, set, _ := coded(t, false, `  - {id: s, quantity: q, unit: '1', value: "table('a')"}`+"\n", "a"+rpm3+" = 255 255 255"); true {
		if _, err := set.In(NewSpace(lay)).Signal("s"); err == nil || !strings.Contains(err.Error(), "every cell") {
			t.Errorf("nothing but codes: %v", err)
		}
	}
}

// Of random tables with codes: where a signal is said to be valued it has what it has without codes, elsewhere it is no number;
// and what is said of a box holds at each of its points.
func TestValuedHoldsItsPoints(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 3))
	cells := func(n int) string {
		out := ""
		for range n {
			v := rng.IntN(100)
			if rng.IntN(4) == 0 {
				v = 255
			}
			out += fmt.Sprintf(" %d", v)
		}
		return out
	}
	air := ", y: {quantity: intake_temperature, unit: Cel, points: [0, 40, 60]}"
	whole, mixed := 0, 0
	for n := 0; n < 40 || n < 400 && (whole < 20 || mixed < 20); n++ { // some seeds draw few boxes that codes lie in
		signals := `  - {id: load.model, quantity: load, unit: '1', feeds: true, value: "table('a') * 1.5"}
  - {id: s, quantity: q, unit: '1', value: "input('engine_speed') > 3000 ? table('b') + table('a') : max(table('c'), table('k'))"}
`
		block := ", axes: [{quantity: engine_speed, unit: 1/min, points: [1500, 3000]}, {quantity: load, unit: '1', points: [20, 60]}, {quantity: intake_temperature, unit: Cel, points: [10, 30, 50]}]"
		tables := []string{"a" + rpm3 + " = 0" + cells(2), "b" + rpm3 + air + " = 0" + cells(8), "c, x: {quantity: load, unit: '1', points: [0, 50, 100]} = 0" + cells(2), "k" + block + " = 0" + cells(11)}
		lay, plain, _ := coded(t, false, signals, tables...)
		_, filled, _ := coded(t, true, signals, tables...)
		space := NewSpace(lay)
		f, number := signalOf(t, plain.In(space), "s"), signalOf(t, filled.In(space), "s")
		valued := f.Valued()
		if valued == nil {
			continue
		}
		d := &dice{Rand: rng}
		all := space.Cells()
		for range 20 {
			cell, box := d.boxIn(all)
			over, values := valued.Over(&cell, &box), number.Over(&cell, &box)
			for range 20 {
				p := d.pointIn(&box, len(all))
				is, v, w := valued.At(&cell, &p), f.At(&cell, &p), number.At(&cell, &p)
				if inner := inside(&cell, &p, len(all)); inner && !over.Holds(is) {
					t.Fatalf("seed %d: valued %v at %v of %v, said to be %v", seed, is, p, box, over.Interval)
				}
				if (is == 1) != (v == v) || is == 1 && v != w || w != w || !values.Holds(w) && is == 1 {
					t.Fatalf("seed %d: at %v valued %v: %v, with numbers %v within %v", seed, p, is, v, w, values.Interval)
				}
			}
			if over.Lo == 1 {
				whole++
			} else if over.Hi == 1 {
				mixed++
			}
		}
	}
	if whole < 20 || mixed < 20 {
		t.Errorf("%d boxes inside, %d mixed: too few to say anything", whole, mixed)
	}
}

// A block whose axes go by one input is no longer straight along it: 1 less and 1 more on both sides multiply.
func TestABlockAlongOneInput(t *testing.T) {
	lay, set, _ := coded(t, false, `  - {id: load.model, quantity: load, unit: '1', feeds: true, value: "input('engine_speed') / 40.0"}
  - {id: s, quantity: q, unit: '1', value: "table('k')"}
`, "k, axes: [{quantity: engine_speed, unit: 1/min, points: [1000, 4000]}, {quantity: intake_temperature, unit: Cel, points: [0, 50]}, {quantity: load, unit: '1', points: [25, 100]}] = 0 0 0 0 0 80 0 80")
	f := signalOf(t, set.In(NewSpace(lay)), "s")
	var cell Box
	for i, in := range f.space.Inputs() {
		cell[i].Lo, cell[i].Hi = 0, 0
		if in.Quantity == "engine_speed" {
			cell[i].Lo, cell[i].Hi = 1000, 4000
		}
	}
	over := f.Over(&cell, &cell)
	if over.Multilinear || !over.Smooth || over.Lo > 0 || over.Hi < 80 {
		t.Errorf("%+v", over)
	}
	_, p := point(2500)
	if v := f.At(&cell, &p); v != 20 { // half way along both: a quarter of 80
		t.Errorf("in the middle %v, by hand 20", v)
	}
}
