package surface

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"testing"

	"witnessmark/tables/definition"
)

// FuzzGrid reads axes, cells and a point out of random bytes: whatever they are, nothing panics, and
// between finite cells the surface stays between the least and the greatest of them.
func FuzzGrid(f *testing.F) {
	seed := func(nx, ny byte, values ...float64) {
		data := []byte{nx, ny}
		for _, v := range values {
			data = binary.LittleEndian.AppendUint64(data, math.Float64bits(v))
		}
		f.Add(data)
	}
	seed(2, 2, 0, 10, 0, 5, 1, 2, 3, 4, 5, 2.5)
	seed(3, 1, 9, 4, 4, 0, 1, 2, 3, 4, 0)
	seed(2, 1, -math.MaxFloat64, math.MaxFloat64, 0, 1, 2, 0, 0)
	seed(2, 1, 0, math.NaN(), 0, 1, 2, 0, 0)
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) < 2 {
			return
		}
		nx, ny := 1+int(data[0]%6), 1+int(data[1]%6)
		data = data[2:]
		take := func(n int) []float64 {
			out := make([]float64, n)
			for i := range out {
				var word [8]byte
				data = data[copy(word[:], data):]
				out[i] = math.Float64frombits(binary.LittleEndian.Uint64(word[:]))
			}
			return out
		}
		p := published{x: take(nx), y: take(ny)}
		p.cells = take(nx * ny)
		point := take(2)
		table, image := floatTable(p)
		g, err := Decode(table, image).Grid()
		if err != nil {
			return
		}
		if !slices.IsSorted(g.X) || !slices.IsSorted(g.Y) {
			t.Fatalf("axes %v and %v do not rise", g.X, g.Y)
		}
		got := append(sidesAt(g, point[0], point[1]), g.At(point[0], point[1]), g.Side(point[0], point[1], true, false))
		if math.IsNaN(point[0]) || math.IsNaN(point[1]) || slices.ContainsFunc(p.cells, func(v float64) bool { return math.IsNaN(v) || math.Abs(v) > 1e300 }) {
			return
		}
		lo, hi := slices.Min(p.cells), slices.Max(p.cells)
		slack := 1e-12 * max(math.Abs(lo), math.Abs(hi))
		for _, v := range got {
			if !(v >= lo-slack && v <= hi+slack) {
				t.Fatalf("At(%v) = %v lies outside %v…%v", point, v, lo, hi)
			}
		}
	})
}

// FuzzDecode reads every table of a definition out of an image of any bytes: nothing panics, what leads outside says so, and
// what is decoded has as many cells as its axes say.
func FuzzDecode(f *testing.F) {
	for _, s := range structures {
		for order, text := range map[string]string{"big": s.big, "little": s.little} {
			f.Add(fmt.Appendf(nil, structuresHead, order, s.tables), pack(f, text))
		}
	}
	f.Fuzz(func(t *testing.T, file, bytes []byte) {
		lay, err := definition.Load("f", file)
		if err != nil || lay.Size > 1<<12 {
			return
		}
		b := make([]byte, lay.Size)
		copy(b, bytes)
		for _, table := range lay.Tables {
			d := Decode(table, b)
			n := 1
			for _, a := range d.Table.Axes {
				n *= a.Count
			}
			switch d.Grid(); {
			case d.Astray != nil:
				if !table.Varies() || len(d.Bits) > 0 {
					t.Fatalf("%v", d.Astray)
				}
			case d.Table.Kind != "text" && len(d.Bits) != n || d.Values != nil && len(d.Values) != n:
				t.Fatalf("%s has %d cells, its axes say %d", table.ID, len(d.Bits), n)
			}
		}
	})
}
