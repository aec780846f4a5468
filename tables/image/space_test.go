package image

import (
	"bytes"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// drawSpace is regions and, address by address, what each offset stands for.
func drawSpace(t *rapid.T) (Space, []uint64) {
	var s Space
	var all []uint64
	at := rapid.Uint64Range(0, 20).Draw(t, "start")
	for i := range rapid.IntRange(1, 4).Draw(t, "regions") {
		end := at + rapid.Uint64Range(1, 12).Draw(t, fmt.Sprintf("bytes %d", i))
		s = append(s, Range{at, end})
		for ; at < end; at++ {
			all = append(all, at)
		}
		at += rapid.Uint64Range(1, 9).Draw(t, fmt.Sprintf("gap %d", i))
	}
	return s, all
}

// Offsets and addresses are reckoned; here they are held against a list of all of them.
func TestSpace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, all := drawSpace(t)
		if s.Size() != uint64(len(all)) {
			t.Fatalf("%v has %d bytes, want %d", s, s.Size(), len(all))
		}
		offsetOf := map[uint64]uint64{}
		for offset, address := range all {
			offsetOf[address] = uint64(offset)
			if got := s.Address(uint64(offset)); got != address {
				t.Fatalf("%v: offset %d is 0x%x, want 0x%x", s, offset, got, address)
			}
		}
		for address := range uint64(90) {
			want, inside := offsetOf[address]
			if got, ok := s.Offset(address); ok != inside || got != want {
				t.Fatalf("%v: 0x%x is at %d %v, want %d %v", s, address, got, ok, want, inside)
			}
		}
		r := Range{Start: rapid.Uint64Range(0, 80).Draw(t, "from")}
		r.End = r.Start + rapid.Uint64Range(0, 20).Draw(t, "length")
		whole := r.Start < r.End
		var offsets, addresses []Range
		for at := r.Start; at < r.End; at++ {
			offset, inside := offsetOf[at]
			whole = whole && inside // regions do not touch, so that all of them are of one
			if inside {
				offsets = append(offsets, Range{offset, offset + 1})
			}
			if at < uint64(len(all)) {
				addresses = append(addresses, Range{all[at], all[at] + 1})
			}
		}
		if got := s.Offsets([]Range{r}); !slices.Equal(Join(got), Join(offsets)) || !apart(got, func(r Range) []Range { return s.Addresses([]Range{r}) }) {
			t.Fatalf("%v: offsets of %x are %x, want %x", s, r, got, Join(offsets))
		}
		if got := s.Addresses([]Range{r}); !slices.Equal(got, Join(addresses)) {
			t.Fatalf("%v: addresses of %x are %x, want %x", s, r, got, Join(addresses))
		}
		if got, inside := s.Within(r); r.Start < r.End && (inside != whole || inside && got != (Range{offsetOf[r.Start], offsetOf[r.Start] + r.End - r.Start})) {
			t.Fatalf("%v: %x lies at %x %v, want %v", s, r, got, inside, whole)
		}
	})
}

// apart says that each range comes from one region.
func apart(all []Range, back func(Range) []Range) bool {
	return !slices.ContainsFunc(all, func(r Range) bool { return len(back(r)) != 1 })
}

// regions of a controller with memory of its own far from its flash: written by hand.
var farApart = Space{{0x10, 0x14}, {0x80000000, 0x80000004}, {0xFFFFFFFC, 0x100000000}}

const farApartHex = ":0200000480007A\n:0400000005060708E2\n:020000040000FA\n:020010000102EB\n:02000004FFFFFC\n:02FFFE000B0CEA\n:00000001FF\n"

func TestOverRegions(t *testing.T) {
	file, err := Decode("f", []byte(farApartHex), "", 0)
	if err != nil {
		t.Fatal(err)
	}
	im, err := file.Over("f", farApart)
	if err != nil {
		t.Fatal(err)
	}
	want := []byte{1, 2, 0xFF, 0xFF, 5, 6, 7, 8, 0xFF, 0xFF, 0x0B, 0x0C}
	if !bytes.Equal(im.Bytes, want) || !slices.Equal(im.Held, []Range{{0x10, 0x12}, {0x80000000, 0x80000004}, {0xFFFFFFFE, 0x100000000}}) {
		t.Errorf("%x, held %x", im.Bytes, im.Held)
	}
	if got := im.Gaps(); !slices.Equal(got, []Range{{0x12, 0x14}, {0xFFFFFFFC, 0xFFFFFFFE}}) {
		t.Errorf("gaps %x", got)
	}
	again, err := FromMessage(im.Message(), farApart, im.Bytes)
	if err != nil || again.SHA256() != im.SHA256() {
		t.Errorf("%v", err)
	}
	for _, format := range []Format{Raw, IHex, SRec} {
		out, err := im.Encode(format)
		if err != nil {
			t.Fatal(err)
		}
		if format == Raw && !bytes.Equal(out, want) { // all regions one after another
			t.Errorf("raw %x", out)
		}
		back, err := Read("f", out, format, farApart)
		if err != nil || back.SHA256() != im.SHA256() || format != Raw && !slices.Equal(back.Held, im.Held) {
			t.Errorf("%s: %v %v", format, back, err)
		}
	}
	held := []Range{{0x10, 0x12}, {0x80000000, 0x80000004}}
	if _, err := im.Holding(held); err == nil || err.Error() != "a byte at 0xfffffffe, where there must be none" {
		t.Errorf("%v", err)
	}
	for _, c := range []struct {
		space Space
		want  string
	}{
		{Space{{0x10, 0x14}, {0x80000000, 0x80000002}, {0xFFFFFFFC, 0x100000000}}, "f: line 2: data at 0x80000002 to 0x80000004 lies outside the definition's image, 0x10 to 0x14, 0x80000000 to 0x80000002, 0xfffffffc to 0x100000000"},
		{Space{{0x11, 0x14}, {0x80000000, 0x80000004}, {0xFFFFFFFC, 0x100000000}}, "f: line 4: data at 0x10 to 0x11"},
		{Space{{0x10, 0x14}, {0x80000000, 0x80000004}}, "f: line 6: data at 0xfffffffe to 0x100000000"},
	} {
		if _, err := file.Over("f", c.space); err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
	if _, err := Read("f", want[1:], Raw, farApart); err == nil || err.Error() != "f: 11 bytes; allowed: 12, the size of the definition's image" {
		t.Errorf("%v", err)
	}
}

// A HEX file that spans the whole address space takes what it holds and what the regions hold, not what lies between.
func TestFarApartTakesLittle(t *testing.T) {
	const size = 1 << 20
	space := Space{{0, size}, {1<<32 - size, 1 << 32}}
	im := space.Whole(bytes.Repeat([]byte{0x5A}, 2*size))
	hex, err := im.Encode(IHex)
	if err != nil {
		t.Fatal(err)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	back, err := Read("f", hex, "", space)
	runtime.ReadMemStats(&after)
	if err != nil || back.SHA256() != im.SHA256() || len(back.Bytes) != 2*size {
		t.Fatalf("%v", err)
	}
	took := after.TotalAlloc - before.TotalAlloc
	t.Logf("reading %d bytes of HEX over two regions of %d bytes, %d bytes apart, took %d bytes", len(hex), size, uint64(1<<32-2*size), took)
	if took > 64<<20 {
		t.Errorf("reading two regions of %d bytes each took %d bytes", size, took)
	}
}

func TestSpaceText(t *testing.T) {
	var many Space
	for i := range uint64(20) {
		many = append(many, Range{i * 16, i*16 + 8})
	}
	if got := fmt.Sprint(many); got != "0x0 to 0x8, 0x10 to 0x18, 0x20 to 0x28, 0x30 to 0x38, 0x40 to 0x48, 0x50 to 0x58, 0x60 to 0x68, 0x70 to 0x78 and 12 more" {
		t.Error(got)
	}
}
