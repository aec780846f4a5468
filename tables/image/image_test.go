package image

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func mustDecode(t *testing.T, format Format, lines ...string) *File {
	t.Helper()
	im, err := Decode("f", []byte(strings.Join(lines, "\n")+"\n"), format, 0)
	if err != nil {
		t.Fatal(err)
	}
	return im
}

// sameImage compares what two files hold, whatever kind they are.
func sameImage(t interface{ Fatalf(string, ...any) }, a, b *File) {
	same := slices.EqualFunc(a.Segments, b.Segments, func(x, y Segment) bool {
		return x.Address == y.Address && bytes.Equal(x.Data, y.Data)
	})
	if !same {
		t.Fatalf("segments differ:\n%x\n%x", a.Segments, b.Segments)
	}
	if (a.Start == nil) != (b.Start == nil) || a.Start != nil && *a.Start != *b.Start {
		t.Fatalf("start addresses differ: %v, %v", a.Start, b.Start)
	}
}

func TestDetect(t *testing.T) {
	for _, c := range []struct {
		file string
		want Format
	}{
		{"", Raw},
		{":00000001FF\n", IHex},
		{"\r\n:00000001FF\r\n", IHex},
		{":0300300002337A1F\n", IHex}, // a wrong checksum is still Intel HEX
		{"S00600004844521B\n", SRec},
		{"S9030000FC", SRec},
		{"S4030000FC", SRec}, // refused by the decoder, by name
		{"SA030000FC", Raw},
		{":", Raw},
		{"S1 is a fine beginning for a text", Raw},
		{":0300300002337G1E\n", IHex}, // as is a wrong character
		{"S1130000x", SRec},
		{":\x00\x01\x02\x03\x04", Raw},
		{"\xFF\xFF\xFF", Raw},
	} {
		if got := Detect([]byte(c.file)); got != c.want {
			t.Errorf("Detect(%q) = %s, want %s", c.file, got, c.want)
		}
	}
}

func TestParseFormat(t *testing.T) {
	for _, f := range []Format{Raw, IHex, SRec} {
		if got, err := ParseFormat(string(f)); got != f || err != nil {
			t.Errorf("ParseFormat(%q) = %q, %v", f, got, err)
		}
	}
	for _, s := range []string{"", "hex", "RAW"} {
		if _, err := ParseFormat(s); err == nil || !strings.Contains(err.Error(), "raw, ihex, srec") {
			t.Errorf("ParseFormat(%q): %v", s, err)
		}
	}
}

func TestRaw(t *testing.T) {
	im, err := Decode("f", []byte{1, 2, 3}, "", 0x100)
	if err != nil {
		t.Fatal(err)
	}
	sameImage(t, im, &File{Segments: []Segment{{0x100, []byte{1, 2, 3}}}})
	if im.Format != Raw {
		t.Errorf("format %q", im.Format)
	}
	for _, c := range []struct {
		file   []byte
		format Format
		origin uint64
		want   string
	}{
		{nil, "", 0, "f: the file is empty"},
		{[]byte{1, 2}, Raw, 0xFFFFFFFF, "f: offset 0x1: bytes from here on lie past the last address"},
		{[]byte{1, 2}, Raw, 1 << 40, "f: offset 0x0: bytes from here on lie past the last address"},
		{[]byte{1}, "elf", 0, `f: unknown file format "elf"; allowed: raw, ihex, srec`},
	} {
		if _, err := Decode("f", c.file, c.format, c.origin); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("Decode(%x, %q, %#x): %v, want %q", c.file, c.format, c.origin, err, c.want)
		}
	}
}

func TestOver(t *testing.T) {
	f := &File{Format: IHex, Segments: []Segment{{0x12, []byte{1, 2}}, {0x18, []byte{3}}}}
	im, err := f.Over("f", Space{{0x10, 0x20}})
	if err != nil {
		t.Fatal(err)
	}
	want := slices.Repeat([]byte{0xFF}, 16)
	want[2], want[3], want[8] = 1, 2, 3
	if !bytes.Equal(im.Bytes, want) || !slices.Equal(im.Space, Space{{0x10, 0x20}}) || im.Format != IHex {
		t.Errorf("%s at %v: %x, want %x", im.Format, im.Space, im.Bytes, want)
	}
	if w := []Range{{0x12, 0x14}, {0x18, 0x19}}; !slices.Equal(im.Held, w) {
		t.Errorf("held %x, want %x", im.Held, w)
	}
	if w := []Range{{0x10, 0x12}, {0x14, 0x18}, {0x19, 0x20}}; !slices.Equal(im.Gaps(), w) {
		t.Errorf("gaps %x, want %x", im.Gaps(), w)
	}
}

func TestOverRefusesDataOutside(t *testing.T) {
	im := &File{Format: IHex, Segments: []Segment{{0x10, make([]byte, 8)}}}
	for _, c := range []struct {
		format      Format
		start, size uint64
		want        string
	}{
		{IHex, 0x12, 0x20, "f: data at 0x10 to 0x12 lies outside the definition's image, 0x12 to 0x32"},
		{IHex, 0x10, 4, "f: data at 0x14 to 0x18 lies outside"},
		{IHex, 0, 8, "f: data at 0x10 to 0x18 lies outside"},
		{IHex, 0x100, 8, "f: data at 0x10 to 0x18 lies outside"},
		{Raw, 0x10, 4, "f: 8 bytes; allowed: 4, the size of the definition's image"},
		{Raw, 0x10, 9, "f: 8 bytes; allowed: 9"},
		{Raw, 0x11, 8, "f: offset 0x0: data at 0x10 to 0x11 lies outside"},
		{Raw, 0xC, 8, "f: offset 0x4: data at 0x14 to 0x18 lies outside"},
	} {
		im.Format = c.format
		if _, err := im.Over("f", Space{{c.start, c.start + c.size}}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("Over(%#x, %#x): %v, want %q", c.start, c.size, err, c.want)
		}
	}
}

// A record file's data outside is found by its line, whatever the order of the lines.
func TestOverNamesTheLine(t *testing.T) {
	for _, c := range []struct {
		lines       []string
		start, size uint64
		want        string
	}{
		{[]string{":02000004000FEB", ":0300300002337A1E", ":020000040008F2", ":0300300002337A1E", ihexEOF}, 0x80000, 0x1000, "f: line 2: data at 0xf0030 to 0xf0033 lies outside"},
		{srecManual, 0, 0x28, "f: line 4: data at 0x28 to 0x34 lies outside"},
		{srecManual, 0x10, 0x100, "f: line 2: data at 0x0 to 0x10 lies outside"},
	} {
		im := mustDecode(t, "", c.lines...)
		if _, err := im.Over("f", Space{{c.start, c.start + c.size}}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

// By hand: the hole is filled, and the file begins at the first byte.
func TestEncodeRaw(t *testing.T) {
	im := &File{Segments: []Segment{{0x8000, []byte{1, 2}}, {0x8005, []byte{3}}}}
	if got := encode(t, im, Raw); !bytes.Equal(got, []byte{1, 2, 0xFF, 0xFF, 0xFF, 3}) {
		t.Errorf("raw %x", got)
	}
}

func BenchmarkDecode(b *testing.B) {
	im := &File{Segments: []Segment{{0, make([]byte, 4<<20)}}}
	for _, f := range []Format{IHex, SRec} {
		file, err := im.Encode(f)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(string(f), func(b *testing.B) {
			b.SetBytes(int64(len(file)))
			for b.Loop() {
				if _, err := Decode("f", file, f, 0); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func TestEncodeRefusesBrokenImages(t *testing.T) {
	for _, c := range []struct {
		segments []Segment
		format   Format
		want     string
	}{
		{nil, Raw, "holds no bytes"},
		{[]Segment{{0, nil}}, IHex, "segment 0 at 0x0 is empty"},
		{[]Segment{{0, []byte{1}}, {1, []byte{2}}}, SRec, "segment 1 at 0x1 touches or overlaps"},
		{[]Segment{{0xFFFFFFFF, []byte{1, 2}}}, IHex, "reaches past 0xffffffff"},
		{[]Segment{{0, []byte{1}}, {0xFFFFFFFF, []byte{2}}}, Raw, "spans 0x0 to 0x100000000"},
		{[]Segment{{0, []byte{1}}}, "elf", `unknown file format "elf"`},
	} {
		if _, err := (&File{Segments: c.segments}).Encode(c.format); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v as %s: %v, want %q", c.segments, c.format, err, c.want)
		}
	}
}

// drawImage makes a few segments, often near 64 KiB boundaries.
func drawImage(t *rapid.T) *File {
	im := &File{}
	at := uint64(0)
	for range rapid.IntRange(1, 4).Draw(t, "segments") {
		gap := rapid.SampledFrom([]uint64{1, 15, 0xFFF8, 0x10000, 0x7FFFF1, 0x3000_0000}).Draw(t, "gap")
		data := rapid.SliceOfN(rapid.Byte(), 1, 70).Draw(t, "data")
		im.Segments = append(im.Segments, Segment{at + gap, data})
		at += gap + uint64(len(data))
	}
	return im
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		im := drawImage(t)
		format := rapid.SampledFrom([]Format{IHex, SRec}).Draw(t, "format")
		if rapid.Bool().Draw(t, "has start") {
			im.Start = &Start{Address: rapid.Uint32Min(1).Draw(t, "start")}
			im.Start.Segmented = format == IHex && rapid.Bool().Draw(t, "segmented")
		}
		file, err := im.Encode(format)
		if err != nil {
			t.Fatal(err)
		}
		if got := Detect(file); got != format {
			t.Fatalf("encoded as %s, detected as %s", format, got)
		}
		back, err := Decode("f", file, "", 0)
		if err != nil {
			t.Fatal(err)
		}
		sameImage(t, back, im)
		variant := bytes.ReplaceAll(bytes.ToLower(file), []byte("s"), []byte("S"))
		variant = bytes.ReplaceAll(variant, []byte("\n"), []byte("\r\n"))
		if back, err = Decode("f", variant, "", 0); err != nil {
			t.Fatalf("lower-case digits and CRLF: %v", err)
		}
		sameImage(t, back, im)
	})
}

// FuzzDecode: whatever is accepted encodes back to a file that holds the same image.
func FuzzDecode(f *testing.F) {
	for _, lines := range [][]string{fluidProfile, manual, segmentWrap, srecManual, srecHello} {
		f.Add([]byte(strings.Join(lines, "\n") + "\n"))
		f.Add([]byte(strings.Join(lines, "\r\n")))
	}
	f.Add([]byte("S31500000000285F245F2212226A000424290008237C28\nS70500001122C7\n"))
	f.Add([]byte{0x12, 0x34, 0xFF})
	f.Fuzz(func(t *testing.T, file []byte) {
		im, err := Decode("f", file, "", 0)
		if err != nil {
			return
		}
		again, err := im.Encode(im.Format)
		if err != nil {
			t.Fatalf("accepted, not encoded: %v", err)
		}
		back, err := Decode("f", again, im.Format, 0)
		if err != nil {
			t.Fatalf("encoded, not accepted: %v\n%s", err, again)
		}
		sameImage(t, back, im)
	})
}
