package run

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/tables/definition"
)

// fixedTable is a table whose axes are not in the image.
func fixedTable(x, y []float64) *definition.Table {
	t := &definition.Table{ID: "advance", X: &definition.Axis{ID: "n", Quantity: "engine_speed", Unit: "1/min", Points: x, Count: len(x)}}
	if y != nil {
		t.Y = &definition.Axis{ID: "p", Quantity: "manifold_pressure", Unit: "bar", Points: y, Count: len(y)}
	}
	return t
}

func held(t testing.TB, rows ...string) *Run {
	t.Helper()
	r, err := Read("held.csv", strings.NewReader("time [s],engine_speed [1/min],manifold_pressure [kPa]\n"+strings.Join(rows, "\n")), nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// By hand: 10 s held at 2250 1/min and 130 kPa, between 2000 and 3000 and between 1 and 2 bar: a
// quarter along x, three tenths along y, so 0.75*0.7, 0.25*0.7, 0.75*0.3, 0.25*0.3 of 10 s.
func TestDwellHeldAtOnePoint(t *testing.T) {
	r := held(t, "0,2250,130", "4,2250,130", "10,2250,130")
	for _, c := range []struct {
		x, y []float64
		want []float64
	}{
		{[]float64{1000, 2000, 3000}, []float64{1, 2}, []float64{0, 5.25, 1.75, 0, 2.25, 0.75}},
		{[]float64{3000, 2000, 1000}, []float64{2, 1}, []float64{0.75, 2.25, 0, 1.75, 5.25, 0}}, // falling, as stored
		{[]float64{2000, 3000}, nil, []float64{7.5, 2.5}},
		{[]float64{2250, 2250, 3000}, []float64{1.3}, []float64{0, 10, 0}}, // on a step: the last counts
	} {
		d, err := DwellIn(r, fixedTable(c.x, c.y), nil)
		if err != nil {
			t.Fatal(err)
		}
		for i, want := range c.want {
			if math.Abs(d.Seconds[i]-want) > 1e-6 {
				t.Errorf("x %v y %v: %v, want %v", c.x, c.y, d.Seconds, c.want)
				break
			}
		}
		if d.Outside > 1e-6 {
			t.Errorf("outside %v", d.Outside)
		}
	}
}

func TestDwellOutside(t *testing.T) {
	r := held(t, "0,500,130", "2,500,250", "3,4000,130")
	d, err := DwellIn(r, fixedTable([]float64{1000, 3000}, []float64{1, 2}), nil)
	if err != nil {
		t.Fatal(err)
	}
	// Samples stand for 1, 1.5 and 0.5 s: the first two below along x, the second above along y too.
	if d.Below[0] != 2.5 || d.Above[0] != 0.5 || d.Below[1] != 0 || d.Above[1] != 1.5 || d.Outside != 3 || math.Abs(d.Total-3) > 1e-9 {
		t.Errorf("%+v", d)
	}
	if len(d.Points) != 3 || d.Points[0].Value != 500 || d.Points[1].Value != 4000 || math.Abs(d.Points[2].Value-2.5) > 1e-9 {
		t.Errorf("%+v", d.Points)
	}
}

func TestDwellOfAnIndexAxisIsNotMixed(t *testing.T) {
	table := fixedTable([]float64{2000, 3000}, nil)
	table.X.Index = true
	d, err := DwellIn(held(t, "0,2250,1", "10,2250,1"), table, nil)
	if err != nil || d.Seconds[0] != 10 || d.Seconds[1] != 0 {
		t.Errorf("%+v, %v", d, err)
	}
}

func TestDwellRefused(t *testing.T) {
	r := held(t, "0,2250,130", "10,2250,130")
	load := fixedTable([]float64{1, 2}, nil)
	load.X.Quantity = "cylinder_filling"
	kelvin := fixedTable([]float64{1, 2}, nil)
	kelvin.X.Unit = "K"
	for want, table := range map[string]*definition.Table{
		"cylinder_filling, which is no channel of held.csv": load, "do not convert": kelvin,
		"neither rise nor fall": fixedTable([]float64{1, 3, 2}, nil),
	} {
		if _, err := DwellIn(r, table, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

// Whatever the run and the table, dwell sums to the run's time, no cell has less than none, and
// the centre of the dwell inside the axes is the mean of the channel (bilinear weights keep it).
func TestDwellSumsToTheTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 40).Draw(t, "samples")
		r := &Run{Name: "r", Channels: []Channel{{Quantity: "engine_speed", Unit: "1/min"}, {Quantity: "manifold_pressure", Unit: "kPa"}}, values: make([][]float32, 2)}
		now := 0.0
		axis := func(name string) []float64 {
			p := []float64{rapid.Float64Range(0, 3000).Draw(t, name)}
			for range rapid.IntRange(0, 8).Draw(t, name+" more") {
				p = append(p, p[len(p)-1]+rapid.Float64Range(1, 2000).Draw(t, name+" step"))
			}
			return p
		}
		x, y := axis("x"), axis("y")
		var moment float64
		for range n {
			r.Time = append(r.Time, now)
			now += rapid.Float64Range(0.001, 3).Draw(t, "dt")
			v := float32(rapid.Float64Range(-100, 9000).Draw(t, "speed"))
			r.values[0] = append(r.values[0], v)
			r.values[1] = append(r.values[1], float32(rapid.Float64Range(0, 900000).Draw(t, "pressure")))
		}
		d, err := DwellIn(r, fixedTable(x, y), nil)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for i, s := range d.Seconds {
			if s < 0 {
				t.Fatalf("cell %d has %v s", i, s)
			}
			sum += s
			moment += s * x[i%len(x)]
		}
		if math.Abs(sum-r.Duration()) > 1e-9*r.Duration()+1e-12 || d.Outside > sum*(1+1e-12) {
			t.Fatalf("%v s in the cells, %v outside, of %v", sum, d.Outside, r.Duration())
		}
		want := 0.0
		for i := range r.Time {
			want += r.share(i) * min(max(float64(r.values[0][i]), x[0]), x[len(x)-1])
		}
		if math.Abs(moment-want) > 1e-6*(1+math.Abs(want)) {
			t.Fatalf("the centre is at %v, the run's mean is %v", moment, want)
		}
	})
}

// BenchmarkDwell is ten minutes at 100 samples a second over a 16 by 16 table.
func BenchmarkDwell(b *testing.B) {
	r := &Run{Name: "r", Channels: []Channel{{Quantity: "engine_speed", Unit: "1/min"}, {Quantity: "manifold_pressure", Unit: "kPa"}}, values: make([][]float32, 2)}
	for i := range 60000 {
		r.Time = append(r.Time, float64(i)/100)
		r.values[0] = append(r.values[0], float32(3000+2500*math.Sin(float64(i)/700)))
		r.values[1] = append(r.values[1], float32(120+80*math.Sin(float64(i)/300)))
	}
	var x, y []float64
	for i := range 16 {
		x, y = append(x, 500+400*float64(i)), append(y, 0.2+0.12*float64(i))
	}
	for b.Loop() {
		if _, err := DwellIn(r, fixedTable(x, y), nil); err != nil {
			b.Fatal(err)
		}
	}
}
