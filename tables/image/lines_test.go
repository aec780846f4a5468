package image

import (
	"bytes"
	"strings"
	"testing"
)

const ihexEOF = ":00000001FF"

var (
	// Keil compiler manual, hex file data record (read).
	fluidProfile = []string{":10246200464C5549442050524F46494C4500464C33", ihexEOF}
	// Maxim, Ultra-High-Speed Flash Microcontroller User's Guide, p. 168 (read).
	manual = []string{
		":200000000102030405060708090A0B0C0D0E0F101112131415161718191A1B1C1D1E1F20D0",
		":0F0020002122232425262728292A2B2C2D2E2F79", ihexEOF,
	}
	// By hand: segment base 0x2000, four bytes at offset 0xFFFE.
	segmentWrap = []string{":020000022000DC", ":04FFFE0041424344F5", ihexEOF}
	// Motorola M68000 Family Programmer's Reference Manual, appendix C (as quoted elsewhere).
	srecManual = []string{
		"S00600004844521B",
		"S1130000285F245F2212226A000424290008237C2A",
		"S11300100002000800082629001853812341001813",
		"S113002041E900084E42234300182342000824A952",
		"S107003000144ED492", "S9030000FC",
	}
	// The worked example of the English Wikipedia's article on S-records (from memory; sums checked).
	srecHello = []string{
		"S00F000068656C6C6F202020202000003C",
		"S11F00007C0802A6900100049421FFF07C6C1B787C8C23783C6000003863000026",
		"S11F001C4BFFFFE5398000007D83637880010014382100107C0803A64E800020E9",
		"S111003848656C6C6F20776F726C642E0A0042",
		"S5030003F9", "S9030000FC",
	}
)

func TestIHexWorkedLines(t *testing.T) {
	rising := make([]byte, 0x2F)
	for i := range rising {
		rising[i] = byte(i + 1)
	}
	for _, c := range []struct {
		name    string
		lines   []string
		address uint64
		data    string
	}{
		// Wikipedia's Intel HEX article unless stated: from memory, sums checked by hand.
		{"worked checksum", []string{":0300300002337A1E", ihexEOF}, 0x30, "\x02\x33\x7A"},
		{"address gap", []string{":0B0010006164647265737320676170A7", ihexEOF}, 0x10, "address gap"},
		{"Keil manual", fluidProfile, 0x2462, "FLUID PROFILE\x00FL"},
		{"Maxim manual", manual, 0, string(rising)},
		{"srec_intel(5)", []string{":0D00000048656C6C6F2C20576F726C640AA1", ihexEOF}, 0, "Hello, World\n"},
		{"type 02", []string{":020000021200EA", ":0300300002337A1E", ihexEOF}, 0x12030, "\x02\x33\x7A"},
		{"type 04", []string{":020000040800F2", ":0300300002337A1E", ihexEOF}, 0x08000030, "\x02\x33\x7A"},
		{"type 04, 080F", []string{":02000004080FE3", ":0300300002337A1E", ihexEOF}, 0x080F0030, "\x02\x33\x7A"},
		{"type 04, top (Keil)", []string{":02000004FFFFFC", ":0300300002337A1E", ihexEOF}, 0xFFFF0030, "\x02\x33\x7A"},
		{"02 replaced by 04", []string{":020000021200EA", ":020000040800F2", ":0300300002337A1E", ihexEOF}, 0x08000030, "\x02\x33\x7A"},
		{"04 replaced by 02", []string{":020000040800F2", ":020000021200EA", ":0300300002337A1E", ihexEOF}, 0x12030, "\x02\x33\x7A"},
		// As GNU objcopy 2.40 writes eight bytes across 64 KiB.
		{"objcopy across 64 KiB", []string{":04FFFC0041424344F7", ":020000021000EC", ":0400000045464748E2", ihexEOF}, 0xFFFC, "ABCDEFGH"},
	} {
		im := mustDecode(t, "", c.lines...)
		if im.Format != IHex {
			t.Errorf("%s: detected as %s", c.name, im.Format)
		}
		sameImage(t, im, &File{Segments: []Segment{{c.address, []byte(c.data)}}})
	}
}

// Four records of the Wikipedia article's example: 64 bytes at 0x100 in one piece.
func TestIHexJoinsRecords(t *testing.T) {
	im := mustDecode(t, "",
		":10010000214601360121470136007EFE09D2190140",
		":100110002146017E17C20001FF5F16002148011928",
		":10012000194E79234623965778239EDA3F01B2CAA7",
		":100130003F0156702B5E712B722B732146013421C7", ihexEOF)
	if len(im.Segments) != 1 || im.Segments[0].Address != 0x100 || len(im.Segments[0].Data) != 64 {
		t.Fatalf("segments %x", im.Segments)
	}
	if d := im.Segments[0].Data; !bytes.HasPrefix(d, []byte{0x21, 0x46, 0x01}) || !bytes.HasSuffix(d, []byte{0x01, 0x34, 0x21}) {
		t.Errorf("data %x", d)
	}
}

// In segment mode the offset wraps inside its 64 KiB; in linear mode addresses go on.
func TestIHexAcross64K(t *testing.T) {
	sameImage(t, mustDecode(t, "", segmentWrap...),
		&File{Segments: []Segment{{0x20000, []byte("CD")}, {0x2FFFE, []byte("AB")}}})
	linear := &File{Segments: []Segment{{0x2FFFE, []byte("ABCD")}}}
	sameImage(t, mustDecode(t, "", ":020000040002F8", segmentWrap[1], ihexEOF), linear)
	sameImage(t, mustDecode(t, "", segmentWrap[0], ":020000040002F8", segmentWrap[1], ihexEOF), linear)
}

func TestIHexStart(t *testing.T) {
	data := ":0300300002337A1E"
	for _, c := range []struct {
		line   string
		start  Start
		linear uint32
	}{
		{":0400000300003800C1", Start{true, 0x3800}, 0x3800},               // Wikipedia
		{":040000030000FFFCFE", Start{true, 0xFFFC}, 0xFFFC},               // objcopy 2.40
		{":0400000312003800AF", Start{true, 0x12003800}, 0x15800},          // by hand
		{":04000005000000CD2A", Start{false, 0xCD}, 0xCD},                  // Keil article
		{":040000058000000077", Start{false, 0x80000000}, 0x80000000},      // objcopy 2.40
		{":0400000500000000F7", Start{false, 0}, 0},                        // stated, and zero
		{strings.ToLower(":04000005000000CD2A"), Start{false, 0xCD}, 0xCD}, // lower-case digits
	} {
		im := mustDecode(t, "", data, c.line, ihexEOF)
		if im.Start == nil || *im.Start != c.start || im.Start.Linear() != c.linear {
			t.Errorf("%s: start %+v, want %+v", c.line, im.Start, c.start)
		}
		file, err := im.Encode(IHex)
		if err != nil || !bytes.Contains(file, []byte(strings.ToUpper(c.line))) {
			t.Errorf("encoded without %s: %v\n%s", c.line, err, file)
		}
	}
	// A file may state both kinds, in either order.
	for _, lines := range [][]string{{":0400000300003800C1", ":04000005000000CD2A"}, {":04000005000000CD2A", ":0400000300003800C1"}} {
		im := mustDecode(t, "", append(append([]string{data}, lines...), ihexEOF)...)
		if want := (Start{false, 0xCD}); im.Start == nil || *im.Start != want {
			t.Errorf("%v: start %+v, want %+v", lines, im.Start, want)
		}
	}
}

func TestSRecWorkedLines(t *testing.T) {
	data := "285F245F2212226A000424290008237C"
	raw := "\x28\x5F\x24\x5F\x22\x12\x22\x6A\x00\x04\x24\x29\x00\x08\x23\x7C"
	for _, c := range []struct {
		name    string
		lines   []string
		address uint64
		data    string
		start   *Start
	}{
		// srec_motorola(5) of the srecord package, EXAMPLE (read).
		{"srec_motorola(5)", []string{"S00600004844521B", "S110000048656C6C6F2C20576F726C640A9D", "S5030001FB", "S9030000FC"}, 0, "Hello, World\n", nil},
		{"S2", []string{"S214000000" + data + "29", "S804001122C8"}, 0, raw, &Start{Address: 0x1122}},
		{"S3", []string{"S31500000000" + data + "28", "S70500001122C7"}, 0, raw, &Start{Address: 0x1122}},
		{"S1", []string{"S1130000" + data + "2A", "S9031122C9"}, 0, raw, &Start{Address: 0x1122}},
		// The srecord package's own test suite (as quoted).
		{"high", []string{"S30B1000000020202020202024", "S70510000000EA"}, 0x10000000, "      ", &Start{Address: 0x10000000}},
		// Wikipedia's checksum example, from memory.
		{"checksum", []string{"S1137AF00A0A0D0000000000000000000000000061", "S9030000FC"}, 0x7AF0,
			"\x0A\x0A\x0D" + strings.Repeat("\x00", 13), nil},
		{"lower case", []string{"S214000000" + strings.ToLower(data) + "29", "S804001122c8"}, 0, raw, &Start{Address: 0x1122}},
	} {
		im := mustDecode(t, "", c.lines...)
		if im.Format != SRec {
			t.Errorf("%s: detected as %s", c.name, im.Format)
		}
		sameImage(t, im, &File{Segments: []Segment{{c.address, []byte(c.data)}}, Start: c.start})
	}
}

func TestSRecBlocks(t *testing.T) {
	withCount := append(append([]string{}, srecManual[:5]...), "S5030004F8", "S9030000FC")
	withS6 := append(append([]string{}, srecManual[:5]...), "S604000004F7", "S9030000FC")
	for _, lines := range [][]string{srecManual, withCount, withS6} {
		im := mustDecode(t, "", lines...)
		if len(im.Segments) != 1 || im.Segments[0].Address != 0 || len(im.Segments[0].Data) != 52 {
			t.Errorf("segments %x, want 52 bytes at 0", im.Segments)
		}
	}
	im := mustDecode(t, "", srecHello...)
	if d := im.Segments[0].Data; len(im.Segments) != 1 || len(d) != 70 || !bytes.HasSuffix(d, []byte("Hello world.\n\x00")) {
		t.Errorf("segments %x, want 70 bytes", im.Segments)
	}
}

func TestRefusedLines(t *testing.T) {
	for _, c := range []struct{ file, want string }{
		{":0300300002337A1F", "line 1: wrong checksum: the record says 1F, its bytes give 1E"},
		{":0300300002337A", "line 1: the length field says 3 data bytes, the record holds 2"},
		{":0400300002337A1E", "line 1: the length field says 4 data bytes, the record holds 3"},
		{":00000001FE", "line 1: wrong checksum"}, // a published trap: an end record whose sum is not zero
		{":02010002E0001A", "line 1: wrong checksum"},
		{":02010002E0001B", "line 1: record type 02 has the address 0100; it must be 0000"},
		{":00000006FA", "line 1: record type 06; allowed: 00 01 02 03 04 05"},
		{":0100000400FB", "line 1: record type 04 holds 1 data bytes; it must hold 2"},
		{":0000000", "line 1: truncated record: an odd number of hex digits (7)"},
		{":000000", "line 1: truncated record: 3 bytes"},
		{":0300300002337G1E", `line 1: character 15 is "G"; allowed: hex digits`},
		{":0300300002337A1E\n:0300300002337A1E\n" + ihexEOF, "line 2: data at 0x30 to 0x33 overlaps line 1"},
		{":0300300002337A1E\n:0100320001CC\n" + ihexEOF, "line 2: data at 0x32 to 0x33 overlaps line 1"}, // by one byte
		{":0300300002337A1E\n", "line 1: truncated: the file ends without an end record"},
		{":0300300002337A1E\n" + ihexEOF + "\n\n:0300400002337A0E\n", "line 4: data after the end record"},
		{":0300300002337A1E\nS9030000FC", "line 2: an Intel HEX record begins with ':'"},
		{ihexEOF, "f: the file holds no data records"},
		{":02000004FFFFFC\n:04FFFE0041424344F5\n" + ihexEOF, "line 2: data at 0xfffffffe of 4 bytes reaches past the last address"},
		{":0400000300003800C1\n:0400000300003800C1\n" + ihexEOF, "line 2: a second start address of type 03"},
		{":04000005000000CD2A\n:0400000300003800C1\n:04000005000000CD2A\n" + ihexEOF, "line 3: a second start address of type 05"},
		{"S1137AF00A0A0D0000000000000000000000000060", "line 1: wrong checksum: the record says 60, its bytes give 61"},
		{"S1147AF00A0A0D0000000000000000000000000061", "line 1: the count field says 20 bytes, 19 follow it"},
		{"S1137AF00A0A0D00000000000000000000000000", "line 1: the count field says 19 bytes, 18 follow it"},
		{"S4030000FC", "line 1: record type S4 is reserved"},
		{srecManual[1] + "\nS5030003F8", "line 2: wrong checksum"},
		{srecManual[1] + "\nS5030005F7", "line 2: the count record says 5 data records, 1 came before it"},
		{srecManual[1] + "\nS90400000AF1", "line 2: record type S9 holds 1 data bytes; it must hold none"},
		{srecManual[1] + "\nS10300", "line 2: truncated record: 2 bytes"},
		{srecManual[1] + "\n", "line 1: truncated: the file ends without an end record"},
		{srecManual[1] + "\nS9030000FC\nS9030000FC", "line 3: data after the end record"},
		{srecManual[1] + "\nx", "line 2: an S-record begins with S0 to S9"},
		{srecManual[2] + "\n" + srecManual[1] + "\n" + srecManual[2] + "\nS9030000FC", "line 3: data at 0x10 to 0x20 overlaps line 1"},
		{"S306FFFFFFFF01FC\nS307FFFFFFFF0102F9\nS70500000000FA", "line 2: data at 0xffffffff of 2 bytes reaches past"},
		{":" + strings.Repeat("00", 600), "line 1: record of 600 bytes"},
	} {
		_, err := Decode("f", []byte(c.file), "", 0)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "f: ") {
			t.Errorf("%q: %v, want %q", c.file, err, c.want)
		}
	}
}

func TestBlankLinesAndEnds(t *testing.T) {
	im := mustDecode(t, "", "", ":0300300002337A1E", "\r", " ", ihexEOF+"\r", "", "\r")
	sameImage(t, im, &File{Segments: []Segment{{0x30, []byte{2, 0x33, 0x7A}}}})
}

// The encoder's own lines, checked by hand against the rules of the formats.
func TestEncodedLines(t *testing.T) {
	im := &File{Segments: []Segment{{0xFFFC, []byte("ABCDEFGH")}}}
	file, _ := im.Encode(IHex)
	if want := ":04FFFC0041424344F7\n:020000040001F9\n:0400000045464748E2\n:00000001FF\n"; string(file) != want {
		t.Errorf("ihex:\n%swant\n%s", file, want)
	}
	hello := &File{Segments: []Segment{{0, []byte("Hello, World\n")}}}
	file, _ = hello.Encode(SRec) // srec_motorola(5), EXAMPLE, is the same
	if want := "S00600004844521B\nS110000048656C6C6F2C20576F726C640A9D\nS5030001FB\nS9030000FC\n"; string(file) != want {
		t.Errorf("srec:\n%swant\n%s", file, want)
	}
	for _, c := range []struct {
		address uint64
		start   uint32
		want    []string
	}{
		{0xFFFF, 0, []string{"\nS104FFFF", "\nS9030000FC"}},
		{0x10000, 0, []string{"\nS205010000", "\nS804000000FB"}},
		{0x1000000, 0, []string{"\nS30601000000", "\nS70500000000FA"}},
		{0, 0x12345678, []string{"\nS30600000000", "\nS70512345678"}},
	} {
		im := &File{Segments: []Segment{{c.address, []byte{1}}}}
		if c.start != 0 {
			im.Start = &Start{Address: c.start}
		}
		file, _ := im.Encode(SRec)
		for _, w := range c.want {
			if !strings.Contains(string(file), w) {
				t.Errorf("%#x start %#x: no %q in\n%s", c.address, c.start, w, file)
			}
		}
	}
}

// More data records than S5's 16 bits can count are counted by S6.
func TestSRecCountsPast16Bits(t *testing.T) {
	im := &File{Segments: []Segment{{0, make([]byte, 16*0x10000)}}}
	file, err := im.Encode(SRec)
	if err != nil || !bytes.Contains(file, []byte("\nS604010000FA\n")) {
		t.Fatalf("no S6 record of 65536: %v", err)
	}
	back, err := Decode("f", file, "", 0)
	if err != nil {
		t.Fatal(err)
	}
	sameImage(t, back, im)
}
