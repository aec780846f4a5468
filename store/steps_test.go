package store

import (
	"bytes"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"
)

// drawn is a base and what somebody made of it: words stepped up and down, stretches, both ends, another length.
func drawn(r *rand.Rand) (data, base []byte) {
	base = make([]byte, r.IntN(3000))
	for i := range base {
		base[i] = byte(r.Uint32() >> r.IntN(32))
	}
	data = append(bytes.Clone(base), make([]byte, r.IntN(9))...)
	data = data[:len(data)-r.IntN(min(len(data), 9)+1)]
	for range r.IntN(12) {
		w := wordings[r.IntN(len(wordings))]
		at, step := r.IntN(len(data)+1)-r.IntN(2)*w.width, uint16(r.IntN(300)-150)
		for range r.IntN(20) {
			v := w.read(data, at) + step
			for n := range w.width {
				if p := w.place(at, n); p >= 0 && p < len(data) {
					data[p] = byte(v >> (8 * n))
				}
			}
			at += w.width * (1 + r.IntN(2))
		}
	}
	return data, base
}

// slowChanges looks at every byte.
func slowChanges(data, base []byte) (out []span) {
	for i, b := range data {
		under := byte(0)
		if i < len(base) {
			under = base[i]
		}
		switch n := len(out); {
		case b == under:
		case n > 0 && out[n-1].end == i:
			out[n-1].end++
		default:
			out = append(out, span{i, i + 1})
		}
	}
	return out
}

// TestEveryWording: whatever the words are, their steps come to the same bytes again, and the places that
// changed are those that a look at every byte finds.
func TestEveryWording(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for range 300 {
		data, base := drawn(r)
		where, ok := changes(data, base)
		if slow := slowChanges(data, base); !ok || !reflect.DeepEqual(where, slow) {
			t.Fatalf("changes %v, by looking at every byte %v", where, slow)
		}
		for _, w := range wordings {
			got := make([]byte, len(data))
			copy(got, base)
			if err := w.apply(got, w.steps(data, base, where)); err != nil || !bytes.Equal(got, data) {
				t.Fatalf("%+v: %v\n%x\nwas\n%x", w, err, got, data)
			}
		}
		got := make([]byte, len(data))
		copy(got, base)
		if err := unpackSteps(packSteps(data, base), got); err != nil || !bytes.Equal(got, data) {
			t.Fatalf("packed: %v", err)
		}
	}
}

// TestStepsOfTheirWidth: what a person does to a table is kept in its own words.
func TestStepsOfTheirWidth(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for i, w := range wordings {
		base := make([]byte, 8192)
		for i := range base {
			base[i] = byte(r.Uint32())
		}
		data := bytes.Clone(base)
		step := uint16(0)
		for at := 1000; at < 5000; at += w.width {
			v := w.read(data, at)
			switch w.expect {
			case nothing:
				step = uint16(1 + r.IntN(7))
			case asMuch:
				step = uint16(at/7 + r.IntN(7))
			case asPart:
				step = v/4 + 1
			}
			v += step
			for n := range w.width {
				data[w.place(at, n)] = byte(v >> (8 * n))
			}
		}
		if packed := packSteps(data, base); int(packed[0]) != i || len(packed) > 4000/2 {
			t.Errorf("%+v: kept as %+v in %d bytes", w, wordings[packed[0]], len(packed))
		}
	}
}

// TestTooManySteps leaves what differs everywhere to others, before it takes time.
func TestTooManySteps(t *testing.T) {
	base := make([]byte, 4*maxSteps)
	data := bytes.Repeat([]byte{0, 1}, 2*maxSteps)
	if packSteps(data, base) != nil || packSteps(data[:2*maxSteps], base) == nil {
		t.Error("steps were kept of too much, or not of as much as is allowed")
	}
}

// TestStepsFarApart: as many steps as are allowed, each in a place of its own, and as far apart as takes most to say.
func TestStepsFarApart(t *testing.T) {
	base := make([]byte, 24<<20)
	data := bytes.Clone(base)
	for n, at := 0, 0; n < maxSteps; n++ {
		if at += 130; n < 300 {
			at += 1 << 14
		}
		data[at] = byte(1 + n%7)
	}
	if err := unpackSteps(packSteps(data, base), base); err != nil || !bytes.Equal(base, data) {
		t.Error("they do not come back:", err)
	}
}

// TestSpoiledSteps: no byte of packed steps leads out of the data.
func TestSpoiledSteps(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	refused := 0
	for range 3000 {
		data, base := drawn(r)
		where, _ := changes(data, base)
		w := wordings[r.IntN(len(wordings))]
		c := w.steps(data, base, where)
		for range 1 + r.IntN(3) {
			if col := c[r.IntN(2)]; len(col) > 0 {
				col[r.IntN(len(col))] = byte(r.Uint32())
			}
		}
		if w.apply(make([]byte, len(data)), c) != nil {
			refused++
		}
	}
	if refused == 0 {
		t.Error("nothing was refused")
	}
}

// TestSqueezed: whatever is squeezed is given back, and what is alike is shorter than it was.
func TestSqueezed(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for range 500 {
		data := make([]byte, r.IntN(3000))
		for i := range data {
			switch mask := byte(r.Uint32()); {
			case r.IntN(4) == 0:
				data[i] = mask
			case i > 1:
				data[i] = data[i-2]
			}
		}
		short := squeeze(data)
		if got, ok := stretch(short, len(data)); !ok || !bytes.Equal(got, data) {
			t.Fatalf("%x came back as %x, %t", data, got, ok)
		}
		if len(short) > 0 { // no bit of it is of no account
			short[r.IntN(len(short))] ^= 1 << r.IntN(8)
			if got, ok := stretch(short, len(data)); ok && bytes.Equal(got, data) {
				t.Fatalf("%x is %x as well", short, data)
			}
		}
		if len(short) > len(data)+len(data)/16+4 {
			t.Fatalf("%d bytes squeezed into %d", len(data), len(short))
		}
	}
	if n := len(squeeze(make([]byte, 1000))); n > 10 {
		t.Errorf("1,000 zeros take %d bytes", n)
	}
}

// TestStands: steps that lead elsewhere are noticed before they are all that is kept.
func TestStands(t *testing.T) {
	base := make([]byte, 1<<12)
	for i := range base {
		base[i] = byte(i * i >> 3)
	}
	data := bytes.Clone(base)
	data[100] += 3
	data[2000] ^= 0x40
	steps := packSteps(data, base)
	if steps == nil || !stands(steps, data, base) {
		t.Fatal("its own steps do not lead to the data")
	}
	if stands(steps, base, base) || stands(steps, append(bytes.Clone(data), 1), base) || stands(steps, data, data) {
		t.Error("steps to other data are taken")
	}
	for n := range steps {
		if stands(steps[:n], data, base) {
			t.Errorf("%d of %d bytes are taken", n, len(steps))
		}
	}
}
