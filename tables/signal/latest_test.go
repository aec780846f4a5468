package signal

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"witnessmark/tables/bounded"
	"witnessmark/tables/surface"
)

// pairOf is a signal of two images, what one has over the other, and where they look up values alone, in a space of their own.
func pairOf(t testing.TB, now, was *Set) (*Space, []*Function) {
	space := NewSpace(now.lay)
	a, errA := now.In(space).Signal("s")
	b, errB := was.In(space).Signal("s")
	if errA != nil || errB != nil {
		return nil, nil // a breakpoint moved past its neighbour, or index points did
	}
	all := []*Function{a, b, Minus(a, b), Minus(b, a)}
	if v := a.Valued(); v != nil {
		all = append(all, v)
	}
	return space, all
}

// Functions that work out again what another input changes alone give, bit for bit, what they give when they forget
// everything before each evaluation.
func TestWorkedOutAgainWhereAnInputChanged(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	asked := 0
	for i := range uint64(150) {
		d := random(seed + i)
		lay, was := d.f.open(t, randomInputs)
		other := append([]byte(nil), d.f.image...)
		for range 1 + d.IntN(4) {
			at := d.IntN(len(other)/8) * 8
			if v := math.Float64frombits(binary.LittleEndian.Uint64(other[at:])); v == v {
				binary.LittleEndian.PutUint64(other[at:], math.Float64bits(v+float64(d.IntN(9)-4)/4))
			}
		}
		now := Open(lay, func(id string) *surface.Decoded { return surface.Decode(lay.ByID[id], other) })
		space, quick := pairOf(t, now, was)
		plain, slow := pairOf(t, now, was)
		if space == nil || plain == nil {
			continue
		}
		cells := space.Cells()
		if len(cells) == 0 || slices.ContainsFunc(cells, func(along []bounded.Interval) bool { return len(along) == 0 }) {
			continue
		}
		var cell, box Box
		var p Point
		for step := range 200 {
			next, inner := d.boxIn(cells)
			at := d.pointIn(&inner, len(cells))
			for k := range cells { // most of the time one of them moves
				if step == 0 || d.IntN(len(cells)) == 0 {
					cell[k], box[k], p[k] = next[k], inner[k], at[k]
				}
			}
			k := d.IntN(len(quick))
			plain.forget()
			asked++
			if d.IntN(2) == 0 {
				v, w := quick[k].At(&cell, &p), slow[k].At(&cell, &p)
				if math.Float64bits(v) != math.Float64bits(w) && (v == v || w == w) {
					t.Fatalf("seed %d: function %d at %v of cell %v is %v, and anew %v\n%s", seed+i, k, p, cell, v, w, d.f.text(""))
				}
			} else if v, w := quick[k].Over(&cell, &box), slow[k].Over(&cell, &box); v != w {
				t.Fatalf("seed %d: function %d over %v of cell %v is %v, and anew %v\n%s", seed+i, k, box, cell, v, w, d.f.text(""))
			}
		}
	}
	if asked < 5000 {
		t.Errorf("asked %d times", asked)
	}
}
