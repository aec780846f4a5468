package surface

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"
	"testing"

	"witnessmark/tables/definition"
)

// floatTable lays a published table out as big-endian f64: x axis, y axis, cells.
func floatTable(p published) (*definition.Table, []byte) {
	var image []byte
	for _, block := range [][]float64{p.x, p.y, p.cells} {
		for _, v := range block {
			image = binary.BigEndian.AppendUint64(image, math.Float64bits(v))
		}
	}
	cells := func(at, nx, ny int) *definition.Cells {
		return &definition.Cells{
			Offset: uint64(8 * at), Bytes: 8, Float: true, Mask: math.MaxUint64, Width: 64, NX: nx, NY: ny,
			StepX: 8, StepY: int64(8 * nx), Conv: definition.Conversion{Factor: 1},
		}
	}
	nx, ny := len(p.x), len(p.y)
	t := &definition.Table{ID: "published", Kind: "map", Cells: cells(nx+ny, nx, ny)}
	t.X = &definition.Axis{ID: "x", Count: nx, Cells: cells(0, nx, 1)}
	if ny > 0 {
		t.Y = &definition.Axis{ID: "y", Count: ny, Cells: cells(nx, ny, 1)}
	}
	return t, image
}

func gridOf(t *testing.T, p published) *Grid {
	t.Helper()
	table, image := floatTable(p)
	g, err := Decode(table, image).Grid()
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// Source of the answers: SciPy 1.10.1, RegularGridInterpolator(method="linear").
func TestRealTables(t *testing.T) {
	for _, c := range []struct {
		name    string
		table   published
		queries []query // y, x, want
	}{
		{"epaFuel", epaFuel, []query{
			{100, 2500, 1.848948552339}, {50, 1800, 0.759883849819}, {150, 4250, 4.739541580916},
			{200, 3100, 4.705917864756}, {12, 5200, 1.500475787996}, {133.3, 2666, 2.513103672337},
			{44.1, 2251, 0.8746}, {216.86, 1751, 2.9883},
		}},
		{"nrelSmall", nrelSmall, []query{
			{200, 30, 337.238104898356}, {330, 50, 258.536965987512}, {580, 70, 338.995716541650},
			{450.25, 44, 298.006066945607}, {364.1, 33.8, 295.1},
		}},
		{"nrelLarge", nrelLarge, []query{
			{50, 2250, 89}, {100, 3100, 70.814871794872}, {160, 5750, 80.185897435897},
		}},
	} {
		t.Run(c.name, func(t *testing.T) { checkAll(t, gridOf(t, c.table), c.queries) })
	}
}

// A falling axis is the same surface stored the other way round.
func TestFallingAxesAreReadBackwards(t *testing.T) {
	p := nrelLarge
	nx := len(p.x)
	turned := published{slices.Clone(p.x), slices.Clone(p.y), slices.Clone(p.cells)}
	slices.Reverse(turned.x)
	slices.Reverse(turned.y)
	slices.Reverse(turned.cells)
	onlyX := published{slices.Clone(turned.x), p.y, slices.Clone(p.cells)}
	for r := range p.y {
		slices.Reverse(onlyX.cells[r*nx : (r+1)*nx])
	}
	want := gridOf(t, p)
	for _, other := range []published{turned, onlyX} {
		g := gridOf(t, other)
		for x := 300.0; x < 6300; x += 217 {
			for y := 0.0; y < 190; y += 7.3 {
				if a, b := want.At(x, y), g.At(x, y); a != b {
					t.Fatalf("At(%v, %v): rising %v, falling %v", x, y, a, b)
				}
			}
		}
	}
	table, image := floatTable(turned)
	if d := Decode(table, image); d.X[0] != 6000 || d.Values[0] != p.cells[len(p.cells)-1] {
		t.Error("Decode must keep stored order")
	}
}

func TestWhatCannotBeInterpolated(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		x    []float64
		want string
	}{
		"up and down": {[]float64{1, 3, 2}, "neither rise nor fall"},
		"NaN":         {[]float64{1, nan, 2}, "breakpoint 1 along x is NaN"},
		"infinity":    {[]float64{1, 2, math.Inf(1)}, "breakpoint 2 along x is +Inf"},
		"one NaN":     {[]float64{nan}, "breakpoint 0"},
	} {
		table, image := floatTable(published{x: c.x, y: []float64{0}, cells: make([]float64, len(c.x))})
		if _, err := Decode(table, image).Grid(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want an error with %q", name, err, c.want)
		}
	}
	for name, x := range map[string][]float64{"single": {4}, "step": {1, 2, 2, 3}, "falling": {3, 2, 1}, "equal": {5, 5}} {
		table, image := floatTable(published{x: x, y: []float64{0}, cells: make([]float64, len(x))})
		if _, err := Decode(table, image).Grid(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Rational values are interpolated raw: half way between 1000/1 and 1000/4 is 1000/2.5, not 625.
func TestRationalIsConvertedAfterInterpolating(t *testing.T) {
	cells := &definition.Cells{Bytes: 1, Mask: 0xFF, Width: 8, NX: 2, NY: 1, StepX: 1, StepY: 2,
		Conv: definition.Conversion{Rational: true, Num: [3]float64{1000, 0, 0}, Den: [3]float64{0, 1, 0}}}
	table := &definition.Table{ID: "r", Kind: "curve", Cells: cells, X: &definition.Axis{Count: 2, Points: []float64{0, 10}}}
	d := Decode(table, []byte{1, 4})
	if d.Values[0] != 1000 || d.Values[1] != 250 {
		t.Fatalf("decoded %v", d.Values)
	}
	g, err := d.Grid()
	if err != nil {
		t.Fatal(err)
	}
	if got := g.At(5, 0); got != 400 {
		t.Errorf("half way: %v, want 400", got)
	}
	if got := g.At(-1, 0); got != 1000 {
		t.Errorf("held end: %v, want 1000", got)
	}
	if got := g.Raw().At(5, 0); got != 2.5 {
		t.Errorf("raw half way: %v, want 2.5", got)
	}
}

func TestLabelsHaveNoSurface(t *testing.T) {
	cells := &definition.Cells{Bytes: 1, Mask: 0x0F, Width: 4, NX: 1, NY: 1, StepX: 1, StepY: 1,
		Conv: definition.Conversion{Factor: 1, Labels: definition.LabelsOf(map[int64]string{1: "on"})}}
	d := Decode(&definition.Table{ID: "l", Kind: "scalar", Cells: cells}, []byte{0xF1})
	if d.Values != nil || d.Bits[0] != 1 || d.X != nil || d.Y != nil {
		t.Errorf("decoded %+v", d)
	}
	if _, err := d.Grid(); err == nil {
		t.Error("a label table must have no grid")
	}
}
