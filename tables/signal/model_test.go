package signal

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/surface"
	"witnessmark/tables/units"
)

// model evaluates a formula at a point the slow way: by the tree, with Grid.At. It shares nothing with what it checks but
// the surface itself, and knows no side of a step.
type model struct {
	lay   *definition.Layout
	image []byte
	at    map[string]float64 // by quantity, in the inputs' units
}

func (m *model) value(n *formula.Node) float64 {
	var v []float64
	if n.Kind != formula.Choose {
		for _, a := range n.Args {
			v = append(v, m.value(a))
		}
	}
	switch n.Kind {
	case formula.Number:
		return n.Value
	case formula.Input:
		return m.at[n.Name]
	case formula.Signal:
		return m.value(m.lay.SignalByID[n.Name].Value)
	case formula.Table:
		return m.table(m.lay.ByID[n.Name])
	case formula.Add:
		return v[0] + v[1]
	case formula.Sub:
		return v[0] - v[1]
	case formula.Mul:
		return v[0] * v[1]
	case formula.Div:
		return v[0] / v[1]
	case formula.Neg:
		return -v[0]
	case formula.Min:
		return slices.Min(v)
	case formula.Max:
		return slices.Max(v)
	case formula.Choose:
		if m.holds(n.Args[0]) {
			return m.value(n.Args[1])
		}
		return m.value(n.Args[2])
	}
	panic("no number")
}

func (m *model) holds(n *formula.Node) bool {
	switch n.Kind {
	case formula.And:
		return m.holds(n.Args[0]) && m.holds(n.Args[1])
	case formula.Or:
		return m.holds(n.Args[0]) || m.holds(n.Args[1])
	case formula.Not:
		return !m.holds(n.Args[0])
	}
	a, b := m.value(n.Args[0]), m.value(n.Args[1])
	return map[formula.Kind]bool{formula.Less: a < b, formula.LessEqual: a <= b, formula.Greater: a > b,
		formula.GreaterEqual: a >= b, formula.Equal: a == b, formula.NotEqual: a != b}[n.Kind]
}

func (m *model) table(t *definition.Table) float64 {
	d := surface.Decode(t, m.image)
	if d.Values == nil {
		return t.Cells.Number(d.Bits[0])
	}
	at := make([]float64, len(t.Axes))
	for i, a := range t.Axes {
		at[i] = m.along(a)
	}
	if len(d.Slices) == 0 {
		g, err := d.Grid()
		if err != nil {
			panic(err)
		}
		at = append(at, 0, 0)
		return g.At(at[0], at[1])
	}
	if slices.ContainsFunc(at, math.IsNaN) {
		return math.NaN()
	}
	// Slice by slice, then along each axis beyond y; raw where a conversion bends.
	values := make([]float64, len(d.Slices))
	var convert func(float64) float64
	for k, s := range d.Slices {
		g, err := s.Grid()
		if err != nil {
			panic(err)
		}
		convert = g.Convert
		values[k] = g.Raw().At(at[0], at[1])
	}
	for i, a := range t.Axes[2:] {
		points := a.Breakpoints(m.image)
		var next []float64
		for ; len(values) > 0; values = values[len(points):] {
			next = append(next, lerp(points, values[:len(points)], at[2+i]))
		}
		values = next
	}
	if convert == nil {
		return values[0]
	}
	return convert(values[0])
}

// along is where the operating point lies along an axis.
func (m *model) along(a *definition.Axis) float64 {
	if a.By != nil {
		return m.table(a.By)
	}
	for _, s := range m.lay.Signals {
		if s.Feeds && s.Quantity == a.Quantity {
			v, _ := units.Convert(s.Unit, a.Unit, m.value(s.Value))
			return v
		}
	}
	for _, in := range m.lay.Inputs {
		if in.Quantity == a.Quantity {
			v, _ := units.Convert(in.Unit, a.Unit, m.at[in.Quantity])
			return v
		}
	}
	return math.NaN()
}

// lerp reads along an axis as stored: of equal points the last one counts, beyond the ends the end.
func lerp(points, values []float64, v float64) float64 {
	if last := len(points) - 1; points[0] > points[last] {
		points, values = slices.Clone(points), slices.Clone(values)
		slices.Reverse(points)
		slices.Reverse(values)
	}
	k := -1
	for i, p := range points {
		if p <= v {
			k = i
		}
	}
	switch {
	case k < 0:
		return values[0]
	case k == len(points)-1 || points[k] == v:
		return values[k]
	}
	return values[k] + (values[k+1]-values[k])*(v-points[k])/(points[k+1]-points[k])
}

// dice makes random definitions.
type dice struct {
	*rand.Rand
	f      fixture
	tables []string
	by     map[string]string // curves over an input, that axes are looked up through
}

const randomInputs = `  - {quantity: engine_speed, unit: 1/min, from: 600, to: 7200}
  - {quantity: manifold_pressure, unit: kPa, from: 20, to: 300}
  - {quantity: intake_temperature, unit: Cel, from: -20, to: 80}
  - {quantity: gear, unit: "1", from: 1, to: 5}
`

// axisOf is a random axis: short or long, falling, with steps, reaching beyond the input or not, in other units.
func (d *dice) axisOf(quantity string) string {
	if quantity == "gear" {
		return d.f.axis("gear", "1", ", index: true", 1, 2, 3, 4)
	}
	ends := map[string]struct {
		unit     string
		from, to float64
	}{
		"engine_speed": {"1/min", 0, 8000}, "manifold_pressure": {"kPa", 0, 320}, "intake_temperature": {"Cel", -40, 120}, "load": {"%", -50, 250}, "torque": {"N.m", -100, 300},
	}[quantity]
	points := make([]float64, 1+d.IntN(5))
	for i := range points {
		points[i] = math.Round(ends.from + (ends.to-ends.from)*d.Float64())
		if i > 0 && d.IntN(6) == 0 {
			points[i] = points[i-1]
		}
	}
	if curve := d.by[quantity]; curve != "" && d.IntN(3) == 0 {
		for i := range points { // the curve's values are tens
			points[i] = math.Round(100*d.Float64()) - 20
		}
		slices.Sort(points)
		return fmt.Sprintf("{stored: {address: %d, type: f64, count: %d}, by: {curve: %s}}", d.f.put(points...), len(points), curve)
	}
	unit := ends.unit
	switch {
	case unit == "kPa" && d.IntN(2) == 0:
		unit = "bar"
		for i := range points {
			points[i] /= 100
		}
	case unit == "Cel" && d.IntN(2) == 0:
		unit = "K"
		for i := range points {
			points[i] += 273.15
		}
	}
	slices.Sort(points)
	if d.IntN(3) == 0 {
		slices.Reverse(points)
	}
	more := ""
	return d.f.axis(quantity, unit, more, points...)
}

func count(axis string) int {
	if axis == "" {
		return 1
	}
	_, after, _ := strings.Cut(axis, "count: ")
	n, _, _ := strings.Cut(after, "}")
	c, _ := strconv.Atoi(n)
	return c
}

// table adds a random table over two, one or none of the quantities.
func (d *dice) table(quantities ...string) string {
	id := fmt.Sprintf("t%d", len(d.tables))
	d.Shuffle(len(quantities), func(i, j int) { quantities[i], quantities[j] = quantities[j], quantities[i] })
	x, y := "", ""
	switch d.IntN(6) {
	case 0:
	case 1, 2:
		x = d.axisOf(quantities[0])
	default:
		x, y = d.axisOf(quantities[0]), d.axisOf(quantities[1])
	}
	beyond, slices := "", 1
	if y != "" && d.IntN(3) == 0 {
		for _, q := range quantities[2:] {
			axis := d.axisOf(q)
			beyond, slices = beyond+", "+axis, slices*count(axis)
		}
	}
	cells := make([]float64, count(x)*count(y)*slices)
	for i := range cells {
		cells[i] = math.Round(400*d.Float64()-100) / 4
	}
	if d.IntN(30) == 0 {
		cells[d.IntN(len(cells))] = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300, 1e-300}[d.IntN(6)]
	}
	more := ""
	switch d.IntN(9) {
	case 0, 1:
		more = ", conversion: {rational: {num: [500, 3, 0.01], den: [40, 0.25]}}"
	case 2:
		more = fmt.Sprintf(", conversion: {points: {raw: [-20, 0, 10, 60], physical: [5, -30, 40, 20]%s}}", []string{"", ", between: step", ", outside: 7", ", between: step, outside: -7"}[d.IntN(4)])
	}
	if beyond != "" {
		more, x, y = more+fmt.Sprintf(", axes: [%s, %s%s]", x, y, beyond), "", ""
	}
	d.f.table(id, "1", x, y, more, cells...)
	d.tables = append(d.tables, id)
	return fmt.Sprintf("table('%s')", id)
}

func (d *dice) formula(depth int, leaf func() string) string {
	if depth == 0 {
		return leaf()
	}
	a, b := d.formula(depth-1, leaf), d.formula(d.IntN(depth), leaf)
	switch d.IntN(9) {
	case 0, 1:
		return fmt.Sprintf("(%s + %s)", a, b)
	case 2:
		return fmt.Sprintf("(%s - %s)", a, b)
	case 3:
		return fmt.Sprintf("(%s * %s)", a, b)
	case 4:
		return fmt.Sprintf("(%s / max(%s, 0.5))", a, b)
	case 5:
		return fmt.Sprintf("min(%s, %s, 40)", a, b)
	case 6:
		return fmt.Sprintf("clamp(-%s, -30, %s)", a, b)
	case 7:
		return fmt.Sprintf("(%s ? %s : %s)", d.condition(leaf), a, b)
	}
	return fmt.Sprintf("max(%s, %s)", a, b)
}

func (d *dice) condition(leaf func() string) string {
	word := []string{"<", "<=", ">", ">=", "=="}[d.IntN(5)]
	switch d.IntN(5) {
	case 0:
		return fmt.Sprintf("input('engine_speed') %s %d", word, 600+d.IntN(7)*1100)
	case 1:
		return fmt.Sprintf("%d %s input('manifold_pressure')", d.IntN(300), word)
	case 2:
		return fmt.Sprintf("%s && !(%s)", d.condition(leaf), d.condition(leaf))
	case 3:
		return fmt.Sprintf("%s || %s", d.condition(leaf), d.condition(leaf))
	}
	return fmt.Sprintf("%s %s %s", leaf(), word, leaf())
}

// random is a definition with chains: load comes of tables over inputs, torque of tables over load too, and s of all.
func random(seed uint64) *dice {
	d := &dice{Rand: rand.New(rand.NewPCG(seed, 7))}
	outside := []string{"engine_speed", "manifold_pressure", "intake_temperature", "gear"}
	d.f.table("curve", "1", d.f.axis("engine_speed", "1/min", "", 800, 2000, 5000, 6500), "", "", 15, -10, 60, 70)
	d.by = map[string]string{"engine_speed": "curve"}
	input := func() string {
		return fmt.Sprintf("input('%s') / %d", outside[d.IntN(3)], 10+d.IntN(200))
	}
	d.f.signal("load", "load", "%", d.formula(d.IntN(2), func() string { return d.table(slices.Clone(outside[:3])...) }), ", feeds: true")
	d.f.signal("torque", "torque", "N.m", d.formula(d.IntN(2), func() string { return d.table("load", outside[d.IntN(4)]) }), ", feeds: true")
	s := d.formula(1+d.IntN(3), func() string {
		switch d.IntN(8) {
		case 0:
			return input()
		case 1:
			return "signal('load')"
		case 2:
			return d.table("torque", "load")
		case 3:
			return d.table("load", outside[d.IntN(4)])
		}
		return d.table(slices.Clone(outside)...)
	})
	d.f.signal("s", "q", "1", s, "")
	return d
}

func TestAgainstTheModel(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	programs := 250
	if testing.Short() {
		programs = 60
	}
	points, multilinear, smooth := 0, 0, 0
	blocks, pairs, curves := 0, 0, 0
	for i := range uint64(programs) {
		d := random(seed + i)
		lay, set := d.f.open(t, randomInputs)
		view := set.In(NewSpace(lay))
		f := signalOf(t, view, "s")
		for _, t := range lay.SignalByID["s"].Tables {
			if t.Kind == "block" {
				blocks++
			}
			if t.Cells.Conv.Points != nil {
				pairs++
			}
			if t.ID == "curve" {
				curves++
			}
		}
		cells := f.space.Cells()
		m := &model{lay: lay, image: d.f.image, at: map[string]float64{}}
		for range 12 {
			cell, box := d.boxIn(cells)
			over := f.Over(&cell, &box)
			if over.Multilinear {
				multilinear++
			}
			if over.Smooth {
				smooth++
			}
			for range 20 {
				p := d.pointIn(&box, len(cells))
				v := f.At(&cell, &p)
				points++
				if v != v && !over.Undefined || v == v && !over.Holds(v) {
					t.Fatalf("seed %d: at %v of box %v in cell %v: %v is not within %v\n%s", seed+i, p, box, cell, v, over.Interval, d.f.text(""))
				}
				if inner := inside(&cell, &p, len(cells)); inner && v == v {
					for k, in := range f.space.Inputs() {
						m.at[in.Quantity] = p[k]
					}
					if want := m.value(lay.SignalByID["s"].Value); math.Abs(v-want) > 1e-9*max(1, math.Abs(want)) {
						t.Fatalf("seed %d: at %v: %v, the model says %v\n%s", seed+i, m.at, v, want, d.f.text(""))
					}
				}
				for k := range cells {
					q := p
					q[k] = box[k].Lo + (box[k].Hi-box[k].Lo)*d.Float64()
					w := f.At(&cell, &q)
					if v != v || w != w {
						continue
					}
					slack := 1e-8 * (1 + max(math.Abs(over.Lo), math.Abs(over.Hi)))
					if over.Inputs>>k&1 == 0 && v != w {
						t.Fatalf("seed %d: %v at %v, %v at %v, though it does not depend on input %d\n%s", seed+i, v, p, w, q, k, d.f.text(""))
					}
					step := q[k] - p[k]
					if s := over.Slope[k]; over.Smooth && (w-v < min(s.Lo*step, s.Hi*step)-slack || w-v > max(s.Lo*step, s.Hi*step)+slack) {
						t.Fatalf("seed %d: from %v at %v to %v at %v the slope is %v, not within %v\n%s", seed+i, v, p, w, q, (w-v)/step, s, d.f.text(""))
					}
					h := p
					h[k] = p[k] + (q[k]-p[k])/2
					if z := f.At(&cell, &h); over.Multilinear && math.Abs(z-(v+w)/2) > slack {
						t.Fatalf("seed %d: half way from %v to %v: %v where %v and %v are the ends\n%s", seed+i, p, q, z, v, w, d.f.text(""))
					}
				}
			}
		}
	}
	if points < 1000 || multilinear < 50 || smooth < 100 || blocks < 5 || pairs < 5 || curves < 5 {
		t.Errorf("%d points, %d multilinear boxes, %d smooth ones; %d blocks, %d conversions by pairs, %d signals through a curve: too few to say anything", points, multilinear, smooth, blocks, pairs, curves)
	}
	t.Logf("%d points, %d multilinear boxes, %d smooth ones of %d; %d blocks, %d by pairs, %d through a curve", points, multilinear, smooth, 12*programs, blocks, pairs, curves)
}

func (d *dice) boxIn(cells [][]bounded.Interval) (cell, box Box) {
	for i, along := range cells {
		cell[i] = along[d.IntN(len(along))]
		box[i] = cell[i]
		if w := cell[i].Hi - cell[i].Lo; d.IntN(3) > 0 && w > 0 {
			box[i].Lo += w * d.Float64() / 2
			box[i].Hi -= w * d.Float64() / 2
		}
		box[i].Hi = max(box[i].Hi, box[i].Lo)
	}
	return cell, box
}

// pointIn is a random point of a box, often at an end.
func (d *dice) pointIn(box *Box, n int) (p Point) {
	for i := range n {
		switch d.IntN(5) {
		case 0:
			p[i] = box[i].Lo
		case 1:
			p[i] = box[i].Hi
		default:
			p[i] = min(box[i].Lo+(box[i].Hi-box[i].Lo)*d.Float64(), box[i].Hi)
		}
	}
	return p
}

// inside says that a point is at no end of its cell, but for cells that are points.
func inside(cell *Box, p *Point, n int) bool {
	for i := range n {
		if cell[i].Lo < cell[i].Hi && (p[i] == cell[i].Lo || p[i] == cell[i].Hi) {
			return false
		}
	}
	return true
}
