package signal

import (
	"math"
	"slices"
	"strings"
	"testing"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

const sectionDefinition = `name: car
byte_order: big
image: {size: 8}
tables:
  - {id: speed, quantity: ignition_advance, unit: deg, stored: {address: 0, type: u8}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}}
  - {id: gain, quantity: gain, unit: "1", stored: {address: 2, type: u8}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}}
  - {id: hot, quantity: ignition_advance, unit: deg, stored: {address: 4, type: s8}, x: {quantity: intake_temperature, unit: Cel, points: [0, 40]}}
signals:
  - {id: plug, quantity: ignition_advance, unit: deg, value: "table('speed') * table('gain') + table('hot')"}
  - {id: split, quantity: ignition_advance, unit: deg, value: "input('intake_temperature') >= 20 ? table('speed') : table('hot')"}
  - {id: fixed, quantity: ignition_advance, unit: deg, value: "1.0 + 2.0"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 1000, to: 3000}
  - {quantity: intake_temperature, unit: Cel, from: 0, to: 40}
`

func sectionSets(t *testing.T, base, candidate []byte) (*Set, *Set) {
	t.Helper()
	lay, err := definition.Load("car.yaml", []byte(sectionDefinition))
	if err != nil {
		t.Fatal(err)
	}
	open := func(b []byte) *Set {
		return Open(lay, func(id string) *surface.Decoded { return surface.Decode(lay.ByID[id], append(slices.Clone(b), 0, 0)) })
	}
	return open(base), open(candidate)
}

// By hand: speed goes from 10 to 20 and gain from 1 to 3, hot from 0 to 40 in the base and to −40 in the candidate; so at
// 2500 1/min the signal is 17.5·2.5 = 43.75 and what hot adds, and it differs along intake air alone, by up to 80.
func TestASectionGoesWhereTheDifferenceVaries(t *testing.T) {
	base, candidate := sectionSets(t, []byte{10, 20, 1, 3, 0, 40}, []byte{10, 20, 1, 3, 0, 0xd8})
	at := map[string]float64{"engine_speed": 2500, "intake_temperature": 30}
	c, err := Strongest(base, candidate, "plug", at, 1)
	if err != nil {
		t.Fatal(err)
	}
	if c.Input.Quantity != "intake_temperature" || !slices.Equal(c.X, []float64{0, 30, 40}) ||
		!slices.Equal(c.Base, []float64{43.75, 73.75, 83.75}) || !slices.Equal(c.Candidate, []float64{43.75, 13.75, 3.75}) {
		t.Fatalf("along %s at %v: %v, %v", c.Input.Quantity, c.X, c.Base, c.Candidate)
	}
}

// Where the difference is the same all over, the section goes where the candidate itself varies; between the breakpoints a
// product curves: 15·2 = 30 at 2000 1/min, where a straight line from 10 to 60 is at 35.
func TestASectionCurvesBetweenBreakpoints(t *testing.T) {
	base, candidate := sectionSets(t, []byte{10, 20, 1, 3, 0, 0}, []byte{10, 20, 1, 3, 5, 5})
	c, err := Strongest(base, candidate, "plug", map[string]float64{"engine_speed": 1500, "intake_temperature": 0}, 2)
	if err != nil {
		t.Fatal(err)
	}
	want := Section{c.Input, []float64{1000, 3000}, []float64{1000, 1500, 2000, 3000}, []float64{10, 12.5 * 1.5, 30, 60}, []float64{15, 12.5*1.5 + 5, 35, 65}}
	if c.Input.Quantity != "engine_speed" || !slices.Equal(c.Breaks, want.Breaks) || !slices.Equal(c.X, want.X) || !slices.Equal(c.Base, want.Base) || !slices.Equal(c.Candidate, want.Candidate) {
		t.Errorf("%+v, want %+v", *c, want)
	}
}

// At a step there is a point for each side of it.
func TestASectionHasBothSidesOfAStep(t *testing.T) {
	base, candidate := sectionSets(t, []byte{10, 20, 0, 0, 1, 1}, []byte{12, 20, 0, 0, 1, 1})
	c, err := Strongest(base, candidate, "split", map[string]float64{"engine_speed": 1000, "intake_temperature": 40}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(c.Breaks, []float64{0, 20, 40}) || !slices.Equal(c.X, []float64{0, 20, 20, 40}) || !slices.Equal(c.Base, []float64{1, 1, 10, 10}) || !slices.Equal(c.Candidate, []float64{1, 1, 12, 12}) {
		t.Errorf("%v %v %v", c.X, c.Base, c.Candidate)
	}
}

// The base may be another software, whose signal is in another unit; from other inputs it cannot be drawn beside. 90° are π/2.
func TestASectionOfTwoSoftwares(t *testing.T) {
	_, candidate := sectionSets(t, make([]byte, 6), []byte{90, 90, 1, 1, 0, 0})
	other := func(value string) *Set {
		text := strings.Replace(sectionDefinition, `{id: plug, quantity: ignition_advance, unit: deg, value: "table('speed') * table('gain') + table('hot')"}`,
			`{id: plug, quantity: ignition_advance, unit: rad, value: "`+value+`"}`, 1)
		text += "  - {quantity: altitude, unit: m, from: 0, to: 3000}\n"
		lay, err := definition.Load("other.yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		return Open(lay, func(id string) *surface.Decoded { return surface.Decode(lay.ByID[id], make([]byte, 8)) })
	}
	at := map[string]float64{"engine_speed": 1000, "intake_temperature": 0}
	c, err := Strongest(other("1.5707963267948966 + input('engine_speed') * 0.0"), candidate, "plug", at, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i := range c.X {
		if math.Abs(c.Base[i]-90) > 1e-9 || c.Candidate[i] != 90 {
			t.Errorf("at %v: %v and %v deg, want 90 of both", c.X[i], c.Base[i], c.Candidate[i])
		}
	}
	if _, err := Strongest(other("input('altitude') * 0.001"), candidate, "plug", at, 1); err == nil || !strings.Contains(err.Error(), "depends on other inputs there: altitude") {
		t.Errorf("from other inputs: %v", err)
	}
}

func TestASectionThatCannotBe(t *testing.T) {
	base, candidate := sectionSets(t, make([]byte, 6), make([]byte, 6))
	lacking := Open(base.lay, func(id string) *surface.Decoded { return nil })
	for _, c := range []struct {
		base, candidate *Set
		id              string
		at              map[string]float64
		want            string
	}{
		{base, candidate, "none", nil, `has no signal "none"`},
		{base, candidate, "fixed", nil, "depends on no input"},
		{base, candidate, "plug", map[string]float64{"engine_speed": 1000}, "a value is missing for intake_temperature"},
		{base, candidate, "plug", map[string]float64{"engine_speed": 9000, "intake_temperature": 0}, "engine_speed 9000 is out of its range"},
		{lacking, candidate, "plug", nil, "the base: signal plug: the image does not hold table"},
		{base, lacking, "plug", nil, "signal plug: the image does not hold table"},
	} {
		if _, err := Strongest(c.base, c.candidate, c.id, c.at, 1); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s at %v: %v, want %q", c.id, c.at, err, c.want)
		}
	}
}

// What has no finite value has none in a section, and does not count for how far it reaches.
func TestASpreadWithoutNumbers(t *testing.T) {
	if got := spread([]float64{1, math.NaN(), 4}, []float64{0, 0, 1}); got != 2 {
		t.Errorf("spread %v, want 2", got)
	}
	if got := spread([]float64{math.NaN()}, nil); got != 0 {
		t.Errorf("spread of no number %v", got)
	}
}
