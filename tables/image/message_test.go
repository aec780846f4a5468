package image

import (
	"bytes"
	"slices"
	"strings"
	"sync"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// FIPS 180-2, the one-block example.
const hashOfABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

func TestHash(t *testing.T) {
	if got := HashOf([]byte("abc")); got != hashOfABC {
		t.Errorf("hash of abc: %s", got)
	}
	if got, err := ParseHash(hashOfABC); got != hashOfABC || err != nil {
		t.Errorf("ParseHash: %s, %v", got, err)
	}
	for _, bad := range []string{"", "ba", hashOfABC + "00", strings.ToUpper(hashOfABC), "g" + hashOfABC[1:], hashOfABC[1:]} {
		if _, err := ParseHash(bad); err == nil || !strings.Contains(err.Error(), "64 lower-case hex digits") {
			t.Errorf("ParseHash(%q): %v", bad, err)
		}
	}
}

// gapped is an image over 0x10 to 0x20 that holds two ranges.
func gapped() *Image {
	im := &Image{Format: SRec, Space: Space{{0x10, 0x20}}, Bytes: slices.Repeat([]byte{0xFF}, 16), Held: []Range{{0x12, 0x14}, {0x18, 0x19}}}
	copy(im.Bytes[2:], "ab")
	im.Bytes[8] = 'c'
	return im
}

func TestMessageAndBack(t *testing.T) {
	im := gapped()
	want := &recordv1.Image{Sha256: string(HashOf(im.Bytes)), Size: 16, FileFormat: "srec",
		Ranges: []*calibrationv1.AddressRange{{Start: 0x12, End: 0x14}, {Start: 0x18, End: 0x19}}}
	if got := im.Message(); !proto.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	back, err := FromMessage(want, im.Space, im.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	if back.Format != SRec || !slices.Equal(back.Space, im.Space) || !bytes.Equal(back.Bytes, im.Bytes) || !slices.Equal(back.Held, im.Held) {
		t.Errorf("back: %+v", back)
	}
}

func TestFromMessageRefuses(t *testing.T) {
	span := func(v ...uint32) (out []*calibrationv1.AddressRange) {
		for i := 0; i < len(v); i += 2 {
			out = append(out, &calibrationv1.AddressRange{Start: v[i], End: v[i+1]})
		}
		return out
	}
	for name, c := range map[string]struct {
		edit  func(m *recordv1.Image, im *Image)
		want  string
		alone bool // found without the bytes
	}{
		"no hash":       {func(m *recordv1.Image, _ *Image) { m.Sha256 = "" }, "sha256: ", true},
		"other hash":    {func(m *recordv1.Image, _ *Image) { m.Sha256 = hashOfABC }, "sha256: the bytes have ", false},
		"other bytes":   {func(_ *recordv1.Image, im *Image) { im.Bytes[3]++ }, "sha256: the bytes have ", false},
		"format":        {func(m *recordv1.Image, _ *Image) { m.FileFormat = "elf" }, "file_format: ", true},
		"size":          {func(m *recordv1.Image, _ *Image) { m.Size = 17 }, "size: the image has 16 bytes, not 17", false},
		"cut":           {func(_ *recordv1.Image, im *Image) { im.Bytes = im.Bytes[:15] }, "size: the image has 15 bytes, not 16", false},
		"nothing held":  {func(m *recordv1.Image, _ *Image) { m.Ranges = nil }, "ranges: none", true},
		"order":         {func(m *recordv1.Image, _ *Image) { m.Ranges = span(0x18, 0x19, 0x12, 0x14) }, "ranges: range 1", true},
		"too wide":      {func(m *recordv1.Image, _ *Image) { m.Ranges = span(0x10, 0x21) }, "ranges: they hold 17 bytes; at most size, 16", true},
		"before it":     {func(m *recordv1.Image, _ *Image) { m.Ranges = span(0xF, 0x19) }, "ranges: 0xf to 0x10 leave the image; allowed: 0x10 to 0x20", false},
		"behind it":     {func(m *recordv1.Image, _ *Image) { m.Ranges = span(0x12, 0x21) }, "ranges: 0x20 to 0x21 leave", false},
		"a byte in gap": {func(m *recordv1.Image, _ *Image) { m.Ranges = span(0x12, 0x14) }, "ranges: 0x18 lies in no range; allowed there: 0xff", false},
	} {
		im := gapped()
		m := im.Message()
		c.edit(m, im)
		if _, err := FromMessage(m, im.Space, im.Bytes); err == nil || !strings.HasPrefix(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
		if err := CheckMessage(m); (err != nil) != c.alone {
			t.Errorf("%s, without the bytes: %v", name, err)
		}
	}
}

func TestHolding(t *testing.T) {
	raw := Whole(0x10, gapped().Bytes)
	if !slices.Equal(raw.Held, []Range{{0x10, 0x20}}) || raw.Gaps() != nil {
		t.Errorf("whole: %v, %v", raw.Held, raw.Gaps())
	}
	held := gapped().Held
	got, err := raw.Holding(held)
	if err != nil || !slices.Equal(got.Held, held) || got.Format != Raw || got.SHA256() != raw.SHA256() {
		t.Errorf("%+v, %v", got, err)
	}
	for want, held := range map[string][]Range{
		"0x14 to 0x18 are missing":                 {{0x12, 0x19}},
		"a byte at 0x18, where there must be none": {{0x12, 0x14}},
		"a byte at 0x12, where there must be none": {{0x13, 0x14}, {0x18, 0x19}},
	} {
		if _, err := gapped().Holding(held); err == nil || err.Error() != want {
			t.Errorf("%v: %v, want %q", held, err, want)
		}
	}
}

// What an image writes holds what it holds, whatever kind of file it is.
func TestEncodeImage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start, size := rapid.Uint64Range(0, 0x1FFF0).Draw(t, "start"), rapid.Uint64Range(1, 64).Draw(t, "size")
		im := &Image{Space: Space{{start, start + size}}, Bytes: slices.Repeat([]byte{0xFF}, int(size))}
		for i := range im.Bytes {
			if rapid.Bool().Draw(t, "held") {
				at := start + uint64(i)
				im.Held = append(im.Held, Range{at, at + 1})
				im.Bytes[i] = rapid.Byte().Draw(t, "byte")
			}
		}
		im.Held = Join(im.Held)
		format := rapid.SampledFrom([]Format{Raw, IHex, SRec}).Draw(t, "format")
		file, err := im.Encode(format)
		if len(im.Held) == 0 && format != Raw {
			if err == nil || !strings.Contains(err.Error(), "holds no bytes") {
				t.Fatalf("nothing held: %v", err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		back, err := Read("f", file, format, im.Space)
		if err != nil {
			t.Fatal(err)
		}
		if format == Raw {
			if back, err = back.Holding(im.Held); err != nil {
				t.Fatal(err)
			}
		}
		if !bytes.Equal(back.Bytes, im.Bytes) || !slices.Equal(back.Held, im.Held) {
			t.Fatalf("%x %v, want %x %v", back.Bytes, back.Held, im.Bytes, im.Held)
		}
		if len(im.Held) > 0 {
			back.Format = format
			again, err := FromMessage(back.Message(), im.Space, back.Bytes)
			if err != nil || !slices.Equal(again.Held, im.Held) {
				t.Fatalf("through the ledger: %v, %v", again, err)
			}
		}
	})
}

func TestHashIsSharedSafely(t *testing.T) {
	im := Whole(0, []byte("abc"))
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			if im.SHA256() != hashOfABC {
				t.Error("another hash")
			}
		})
	}
	all.Wait()
}
