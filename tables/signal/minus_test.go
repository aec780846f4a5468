package signal

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"

	"witnessmark/tables/surface"
)

// Two images of one random definition: the difference is that of the two functions at every point, its enclosure holds it, and
// it depends on nothing that it does not say.
func TestMinusAgainstBothSides(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	programs := 300
	if testing.Short() {
		programs = 60
	}
	points, still, fewer := 0, 0, 0
	for i := range uint64(programs) {
		d := random(seed + i)
		lay, was := d.f.open(t, randomInputs)
		other := append([]byte(nil), d.f.image...)
		for range 1 + d.IntN(4) { // cells and, less often, breakpoints move a little
			at := d.IntN(len(other)/8) * 8
			v := math.Float64frombits(binary.LittleEndian.Uint64(other[at:]))
			if d.IntN(2) == 0 && v == v {
				binary.LittleEndian.PutUint64(other[at:], math.Float64bits(v+float64(d.IntN(9)-4)/4))
			}
		}
		ok := true
		now := Open(lay, func(id string) *surface.Decoded {
			s := surface.Decode(lay.ByID[id], other)
			if _, err := s.Grid(); err != nil && s.Values != nil {
				ok = false
			}
			return s
		})
		space := NewSpace(lay)
		a, errA := now.In(space).Signal("s")
		b, errB := was.In(space).Signal("s")
		if errA != nil || errB != nil || !ok {
			continue // a breakpoint moved past its neighbour, or index points did
		}
		cells := space.Cells()
		some := true
		for _, along := range cells {
			some = some && len(along) > 0
		}
		if !some {
			continue
		}
		f := Minus(a, b)
		for k := range cells {
			if a.DependsOn(k) && !f.DependsOn(k) {
				fewer++
			}
		}
		for range 12 {
			cell, box := d.boxIn(cells)
			over := f.Over(&cell, &box)
			plain := a.Over(&cell, &box)
			size := max(math.Abs(plain.Lo), math.Abs(plain.Hi))
			if over.IsZero() {
				still++
			}
			for range 15 {
				p := d.pointIn(&box, len(cells))
				v, x, y := f.At(&cell, &p), a.At(&cell, &p), b.At(&cell, &p)
				points++
				slack := 1e-9 * max(1, math.Abs(x), math.Abs(y), min(size, 1e12))
				switch {
				case x != x && y != y:
				case v != v && !over.Undefined && x == x && y == y, v == v && (v < over.Lo-slack || v > over.Hi+slack):
					t.Fatalf("seed %d: at %v of box %v in cell %v: %v less %v is not within %v\n%s", seed+i, p, box, cell, x, y, over.Interval, d.f.text(""))
				case v == v && v != x-y:
					t.Fatalf("seed %d: %v, and %v less %v is %v", seed+i, v, x, y, x-y)
				}
				for k := range cells {
					q := p
					q[k] = box[k].Lo + (box[k].Hi-box[k].Lo)*d.Float64()
					w, there := f.At(&cell, &q), a.At(&cell, &q)
					if v != v || w != w || x != x || there != there { // where neither has a value they are taken not to differ
						continue
					}
					slack := max(slack, 1e-9*max(math.Abs(there), math.Abs(there-w)))
					if !f.DependsOn(k) && math.Abs(v-w) > slack {
						t.Fatalf("seed %d: %v at %v, %v at %v, though it does not depend on input %d\n%s", seed+i, v, p, w, q, k, d.f.text(""))
					}
					step := q[k] - p[k]
					if s := over.Slope[k]; over.Smooth && (w-v < min(s.Lo*step, s.Hi*step)-slack || w-v > max(s.Lo*step, s.Hi*step)+slack) {
						t.Fatalf("seed %d: from %v at %v to %v at %v the slope is not within %v\n%s", seed+i, v, p, w, q, s, d.f.text(""))
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
	t.Logf("%d points, %d boxes in which nothing moved, %d inputs that the two share and their difference does not have", points, still, fewer)
	if points < 1000 || still < 50 || fewer < 20 {
		t.Error("too few to say anything")
	}
}

// What both have in common is left out: two corrections over inputs of their own do not widen a degree.
func TestMinusLeavesOutWhatIsCommon(t *testing.T) {
	f := &fixture{}
	rpm := f.axis("engine_speed", "1/min", "", 1000, 3000, 5000)
	f.table("base", "deg", rpm, "", "", 20, 25, 30)
	f.table("air", "deg", f.axis("intake_temperature", "Cel", "", 0, 40, 80), "", "", 2, 0, -8)
	f.signal("plug", "advance", "deg", "table('base') + table('air')", "")
	lay, was := f.open(t, engine)
	image := append([]byte(nil), f.image...)
	at := lay.ByID["base"].Cells.At(0, 1)
	binary.LittleEndian.PutUint64(image[at:], math.Float64bits(26))
	now := Open(lay, func(id string) *surface.Decoded { return surface.Decode(lay.ByID[id], image) })
	space := NewSpace(lay)
	a, b := signalOf(t, now.In(space), "plug"), signalOf(t, was.In(space), "plug")
	d := Minus(a, b)
	inputs := space.Inputs()
	for i, in := range inputs {
		if d.DependsOn(i) != (in.Quantity == "engine_speed") {
			t.Errorf("depends on %s: %v", in.Quantity, d.DependsOn(i))
		}
	}
	for _, cell := range space.Cells()[0] {
		box := Box{cell, {Lo: 0, Hi: 40}}
		over := d.Over(&box, &box)
		want := 1.0
		if cell.Hi <= 1000 || cell.Lo >= 5000 {
			want = 0
		}
		if over.Lo != 0 || over.Hi != want || !over.Multilinear {
			t.Errorf("cell %v: %+v, want 0 to %v", cell, over.Interval, want)
		}
	}
}
