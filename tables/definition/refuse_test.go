package definition

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
	"witnessmark/tables/yamldoc"
)

// sound is a definition with nothing wrong; the refusals below each change one line of it.
// The numbers at the left are its lines.
const sound = `name: dx
byte_order: big
image:
  start: 0x1000
  size: 0x1000
  segments:
    - {start: 0x1000, end: 0x1800, content: code}
    - {start: 0x1800, end: 0x2000, content: calibration}
identity:
  - {id: software, address: 0x1F00, length: 4, encoding: ascii, expect: "V107"}
  - {id: serial, address: 0x1F10, length: 2, encoding: hex, expect: "0AfF", private: true}
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0x1800, type: u16, count: 4}}
  - {id: gear, quantity: gear, unit: "1", points: [1, 2, 3], index: true}
tables:
  - {id: base, quantity: advance, role: target, unit: deg, stored: {address: 0x1820, type: s8}, x: {axis: rpm}, y: {axis: gear}}
  - {id: cut, quantity: engine_speed, unit: 1/min, stored: {address: 0x1840, type: u16}, conversion: {factor: 0.25}}
  - {id: fan, quantity: fan, stored: {address: 0x1850, type: u8}, conversion: {labels: {0: off, 1: on}}}
  - {id: copy, quantity: engine_speed, unit: 1/min, stored: {address: 0x1842, type: u16}, mirror: {of: cut, as: complement}}
checksums:
  - {id: main, algorithm: crc-32/iso-hdlc, over: [{start: 0x1000, end: 0x1E00}], stored: {address: 0x1FFC, type: u32}}
volatile:
  - {start: 0x1E00, end: 0x1E10, title: trims}
`

func TestSound(t *testing.T) {
	lay, err := Load("d.yaml", []byte(sound))
	if err != nil {
		t.Fatal(err)
	}
	if lay.Name != "dx" || lay.Space.Address(0) != 0x1000 || lay.Size != 0x1000 || len(lay.SHA256) != 64 {
		t.Errorf("%+v", lay)
	}
	if got := lay.Segments[1]; got != (Segment{image.Range{Start: 0x800, End: 0x1000}, "calibration"}) {
		t.Errorf("segment %v", got)
	}
	base := lay.ByID["base"]
	if base.Kind != "map" || base.Cells.NX != 4 || base.Cells.NY != 3 || base.Cells.Offset != 0x820 || base.X != lay.Axes[0] || !base.Y.Index {
		t.Errorf("%+v %+v", base, base.Cells)
	}
	if c := lay.ByID["copy"]; c.MirrorOf != "cut" || !c.MirrorComplement {
		t.Errorf("%+v", c)
	}
	if lay.ByID["fan"].Cells.Conv.Affine() || lay.ByID["cut"].Cells.Conv.Labels != nil {
		t.Error("labels and numbers are mixed up")
	}
	if lay.Checksums[0].Over[0] != (image.Range{Start: 0, End: 0xE00}) || lay.Checksums[0].Stored.Offset != 0xFFC || lay.Volatile[0] != (image.Range{Start: 0xE00, End: 0xE10}) {
		t.Errorf("%+v %v", lay.Checksums[0], lay.Volatile)
	}
	if *lay.Identity[1].Expect != "0aff" {
		t.Errorf("expected hex is %q", *lay.Identity[1].Expect)
	}
}

// refusal replaces old by new in a sound definition.
type refusal struct {
	old, new string
	line     int
	path     string
	says     string
}

var refusals = []refusal{
	{"name: dx", "name: DX 1", 1, "name", "a-z, 0-9, dot"},
	{"name: dx", "title: dx", 1, "name", "cannot be a name"},
	{"byte_order: big", "byte_order: middle", 2, "byte_order", "allowed: big, little"},
	{"byte_order: big", "title: t", 1, "byte_order", "missing"},
	{"size: 0x1000", "size: 0", 5, "image.size", "1 to"},
	{"size: 0x1000", "size: 0xffffffff", 5, "image.size", "1 to"},
	{"start: 0x1000\n", "start: 0xfffff001\n", 5, "image.size", "0x100000000"},
	{"end: 0x1800, content: code", "end: 0x1000, content: code", 7, "image.segments[0].end", "above the start"},
	{"end: 0x1800, content: code", "end: 0x1801, content: code", 8, "image.segments[1]", "overlaps image.segments[0]"},
	{"end: 0x2000, content", "end: 0x2001, content", 8, "image.segments[1]", "outside the image"},
	{"content: code", "content: program", 7, "image.segments[0].content", "allowed: calibration, code, data"},
	{"id: serial", "id: software", 11, "identity[1].id", "already used by identity[0]"},
	{"length: 4", "length: 0", 10, "identity[0].length", "1 to"},
	{"length: 2", "length: 0xf1", 11, "identity[1]", "outside the image"},
	{"encoding: ascii", "encoding: utf", 10, "identity[0].encoding", "allowed: ascii, hex"},
	{`expect: "V107"`, `expect: "V107a"`, 10, "identity[0].expect", "at most 4 bytes"},
	{`expect: "0AfF"`, `expect: "0AfG"`, 11, "identity[1].expect", "4 hex digits"},
	{`expect: "0AfF"`, `expect: "0A"`, 11, "identity[1].expect", "4 hex digits"},
	{"id: gear", "id: rpm", 14, "axes[1].id", "already used by axes[0]"},
	{"id: gear", "id: 'a:b'", 14, "axes[1].id", "letters, digits"},
	{"quantity: gear", "title: gear", 14, "axes[1]", "unknown field"},
	{`unit: "1", points`, `points`, 14, "axes[1].unit", "missing"},
	{"count: 4", "count: 0", 13, "axes[0].stored.count", "1 to"},
	{"count: 4", "count: 4294967295", 13, "axes[0].stored.count", "1 to"},
	{"count: 4", "count: 0x401", 13, "axes[0].stored", "outside the image"},
	{"count: 4}", "count: 4}, points: [1]", 13, "axes[0].points", "allowed: stored, points or labels"},
	{"count: 4}", "count: 4, row_stride: 8}", 13, "axes[0].stored.row_stride", "no rows"},
	{"count: 4}", "count: 4}, conversion: {labels: {0: a}}", 13, "axes[0].conversion.labels", "breakpoints are numbers"},
	{"points: [1, 2, 3]", "points: [1, 2, 1]", 14, "axes[1].points[2]", "already points[0]"},
	{"points: [1, 2, 3]", "points: []", 14, "axes[1]", "no breakpoints"},
	{"points: [1, 2, 3]", "points: [1], conversion: {factor: 2}", 14, "axes[1].conversion", "physical already"},
	{"axis: gear", "axis: gaer", 16, "tables[0].y.axis", `table base: no axis "gaer" in axes; allowed: rpm, gear`},
	{"x: {axis: rpm}, ", "", 16, "tables[0].y", "without an x axis"},
	{"y: {axis: gear}", "y: {axis: gear, unit: '1'}", 16, "tables[0].y", "axis alone"},
	{"y: {axis: gear}", "y: {axis: rpm}", 16, "tables[0].y", `two axes are of quantity "engine_speed"`},
	{"y: {axis: gear}", "y: {id: rpm, quantity: gear, unit: '1', points: [1]}", 16, "tables[0].y.id", "already used by axes[0]"},
	{"y: {axis: gear}", "y: {}", 16, "tables[0].y", "table base: axis base.y: the axis has no breakpoints"},
	{"y: {axis: gear}", "y: {axis: gear}, order: rows", 16, "tables[0].order", "allowed: x_fastest, y_fastest"},
	{"role: target", "role: map", 16, "tables[0].role", "allowed: target, limit"},
	{"unit: deg, ", "", 16, "tables[0].unit", "missing"},
	{"id: cut", "id: base", 17, "tables[1].id", "already used by tables[0]"},
	{"type: s8", "type: s7", 16, "tables[0].stored.type", "allowed: u8, s8"},
	{"type: s8", "type: 'u8, s8, u16, s16, u24, s24, u32, s32, u64, s64, f32, f64'", 16, "tables[0].stored.type", "is not a type"},
	{"type: s8", "type: s8, byte_order: x", 16, "tables[0].stored.byte_order", "allowed: big, little"},
	{"type: s8", "type: s8, sign: ones", 16, "tables[0].stored.sign", "allowed: magnitude"},
	{"type: s8", "type: u8, sign: magnitude", 16, "tables[0].stored.sign", "signed whole type"},
	{"type: s8", "type: f32, sign: magnitude", 16, "tables[0].stored.sign", "signed whole type"},
	{"type: s8", "type: f32, mask: 1", 16, "tables[0].stored.mask", "is a float"},
	{"type: s8", "type: s8, mask: 0x100", 16, "tables[0].stored.mask", "wider than type s8"},
	{"type: s8", "type: s8, mask: 0", 16, "tables[0].stored.mask", "unbroken"},
	{"type: s8", "type: s8, mask: 0x5", 16, "tables[0].stored.mask", "unbroken"},
	{"type: s8", "type: s8, stride: 0", 16, "tables[0].stored.stride", "1 or more"},
	{"type: s8", "type: s16, stride: 1", 16, "tables[0].stored.stride", "2 or more"},
	{"type: s8", "type: s8, row_stride: 3", 16, "tables[0].stored.row_stride", "share bytes"},
	{"type: s8", "type: s8, row_stride: 0", 16, "tables[0].stored.row_stride", "share bytes"},
	{"type: s8", "type: s8, stride: 0xffffffff, row_stride: 0xfffffff0", 16, "tables[0].stored", "outside the image"},
	{"type: s8", "type: s8, count: 11", 16, "tables[0].stored.count", "12"},
	{"address: 0x1820", "address: 0xfff", 16, "tables[0].stored", "outside the image"},
	{"address: 0x1820", "address: 0x1ff5", 16, "tables[0].stored", "outside the image"},
	{"address: 0x1840, type: u16", "address: 0x1840, type: u16, row_stride: 2", 17, "tables[1].stored.row_stride", "no rows"},
	{"stored: {address: 0x1840, type: u16}, ", "", 17, "tables[1].stored", "missing"},
	{"factor: 0.25", "factor: 0", 17, "tables[1].conversion.factor", "any number but 0"},
	{"factor: 0.25", "factor: 1, labels: {0: a}", 17, "tables[1].conversion", "more than one kind"},
	{"factor: 0.25", "rational: {num: [], den: [1]}", 17, "tables[1].conversion.rational.num", "1 to 3"},
	{"factor: 0.25", "rational: {num: [0, 1], den: [1, 2, 3, 4]}", 17, "tables[1].conversion.rational.den", "1 to 3"},
	{"factor: 0.25", "rational: {num: [0, 1], den: [0]}", 17, "tables[1].conversion.rational.den", "not 0"},
	{"factor: 0.25", "rational: {num: [1], den: [2]}", 17, "tables[1].conversion.rational", "means the same"},
	{"0: off, 1: on", "0: off, 256: on", 18, "tables[2].conversion.labels[256]", "0 to 255"},
	{"0: off, 1: on", "0: off, -1: on", 18, "tables[2].conversion.labels[-1]", "0 to 255"},
	{"0: off, 1: on", `0: ""`, 18, "tables[2].conversion.labels[0]", "empty"},
	{"type: u8}, conversion", "type: f32}, conversion", 18, "tables[2].conversion.labels", "whole numbers only"},
	{"of: cut", "of: cat", 19, "tables[3].mirror.of", "the id of another table"},
	{"of: cut", "of: copy", 19, "tables[3].mirror.of", "the id of another table"},
	{"of: cut", "of: base", 19, "tables[3].mirror.of", "4x3 cells of 8 bits"},
	{"as: complement", "as: opposite", 19, "tables[3].mirror.as", "allowed: same, complement"},
	{"crc-32/iso-hdlc", "crc-32/none", 21, "checksums[0].algorithm", "allowed: crc-32/aixm, crc-32/autosar"},
	{"crc-32/iso-hdlc", "adler", 21, "checksums[0].algorithm", "names of crc-10, crc-11"},
	{"over: [{start: 0x1000, end: 0x1E00}]", "over: []", 21, "checksums[0].over", "at least one range"},
	{"end: 0x1E00}]", "end: 0x2001}]", 21, "checksums[0].over[0]", "outside the image"},
	{"type: u32}}", "type: u16}}", 21, "checksums[0].stored.type", "32 bits or more"},
	{"type: u32}}", "type: s32}}", 21, "checksums[0].stored.type", "unsigned"},
	{"type: u32}}", "type: f32}}", 21, "checksums[0].stored.type", "unsigned"},
	{"type: u32}}", "type: u32, count: 2}}", 21, "checksums[0].stored.count", "one value"},
	{"address: 0x1FFC", "address: 0x1FFD", 21, "checksums[0].stored", "outside the image"},
	{"address: 0x1FFC", "address: 0x183E", 21, "checksums[0].stored", `overlaps table "cut"`},
	{"address: 0x1FFC", "address: 0x1804", 21, "checksums[0].stored", `overlaps axis "rpm"`},
	{"address: 0x1FFC", "address: 0x1F03", 21, "checksums[0].stored", `overlaps identity "software"`},
	{"start: 0x1E00, end: 0x1E10", "start: 0x1E00, end: 0x1E00", 23, "volatile[0].end", "above the start"},
	{"start: 0x1E00, end: 0x1E10", "start: 0x1F03, end: 0x1F04", 23, "volatile[0]", `overlaps identity "software"`},
	{"start: 0x1E00, end: 0x1E10", "start: 0x182B, end: 0x1830", 23, "volatile[0]", `overlaps table "base"`},
	{"start: 0x1E00, end: 0x1E10", "start: 0x1700, end: 0x1801", 23, "volatile[0]", `overlaps axis "rpm"`},
	{"start: 0x1800, end: 0x2000, content", "start: 0x1000, end: 0x1800, content", 8, "image.segments[1]", "overlaps image.segments[0]"},
	{"role: target", "feeds: [a, '']", 16, "tables[0].feeds[1]", "the quantity is empty"},
	{"id: main", "id: m n", 21, "checksums[0].id", "letters, digits"},
	{", stored: {address: 0x1FFC, type: u32}", "", 21, "checksums[0].stored", "missing"},
	{"over: [{start: 0x1000, end: 0x1E00}]", "over: [" + strings.Repeat("{start: 0x1000, end: 0x2000}, ", maxSummed+1) + "]", 21, "checksums[0].over", "at most 16 times the image"},
	{"over: [{start: 0x1000, end: 0x1E00}]", "over: [{start: 0x1001, end: 0x1000}]", 21, "checksums[0].over[0].end", "above the start"},
	{"title: trims}", "title: trims}\n  - {start: 0x1E00, end: 0x1E10}", 24, "volatile[1]", "overlaps volatile[0]"},
	{"title: trims}", "title: trims}" + strings.Repeat("\n  - {start: 0x1E00, end: 0x1E10}", maxVolatile), 22, "volatile", "at most 4096"},
	{"count: 4}", "count: 4, stride: 0x10000000}", 13, "axes[0].stored", "outside the image"},
	{"count: 4}", "count: 3000, stride: 1}", 13, "axes[0].stored.stride", "2 or more"},
	{"title: trims}", "title: trims}\n  - {start: 0x1E0F, end: 0x1E20}", 24, "volatile[1]", "overlaps volatile[0]"},
}

func TestRefusals(t *testing.T) { refuseAll(t, sound, refusals) }

func refuseAll(t *testing.T, sound string, refusals []refusal) {
	t.Helper()
	for _, tt := range refusals {
		if strings.Count(sound, tt.old) < 1 {
			t.Errorf("%q is not in the sound definition", tt.old)
			continue
		}
		_, err := Load("d.yaml", []byte(strings.Replace(sound, tt.old, tt.new, 1)))
		var e *yamldoc.Error
		if !errors.As(err, &e) {
			t.Errorf("%q for %q: %v, want a refusal", tt.new, tt.old, err)
			continue
		}
		if e.Line != tt.line || e.Path != tt.path || !strings.Contains(err.Error(), tt.says) || e.File != "d.yaml" {
			t.Errorf("%q for %q:\n%v\nwant line %d, %s, and %q", tt.new, tt.old, err, tt.line, tt.path, tt.says)
		}
		if strings.Contains(err.Error(), "\n") {
			t.Errorf("%v has more than one line", err)
		}
	}
}

// What looks like a fault and is none.
func TestAccepted(t *testing.T) {
	for _, tt := range []struct{ old, new string }{
		{"address: 0x1840", "address: 0x1820"}, // tables may overlap each other
		{"start: 0x1E00, end: 0x1E10", "start: 0x1844, end: 0x1850"},
		{"start: 0x1E00, end: 0x1E10", "start: 0x1FF0, end: 0x2000"}, // a sum among learned values
		{"type: u32}}", "type: u64, byte_order: little, mask: 0xffffffff00}}"},
		{"type: s8", "type: s8, count: 12"},
		{"type: s8", "type: s8, stride: 3, row_stride: 1"},
		{"points: [1, 2, 3]", "points: [3, 1, 2]"},
		{"factor: 0.25", "rational: {num: [0, 1], den: [2]}"},
		{"x: {axis: rpm}, y: {axis: gear}", "x: {quantity: engine_speed, unit: 1/min, points: [1]}"},
	} {
		file := strings.Replace(sound, tt.old, tt.new, 1)
		if tt.new[0] == 'a' {
			file = strings.Replace(file, "0x1842", "0x1822", 1)
		}
		if strings.Contains(tt.new, "u64") {
			file = strings.Replace(file, "0x1FFC", "0x1FF8", 1)
		}
		if _, err := Load("d.yaml", []byte(file)); err != nil {
			t.Errorf("%q for %q: %v", tt.new, tt.old, err)
		}
	}
}

// A definition may not ask for more cells than there can be, whoever wrote it and however.
func TestTooManyCells(t *testing.T) {
	axis := func(id string) string {
		return fmt.Sprintf("{id: %s, quantity: %s, unit: '1', stored: {address: 0, type: u8, count: 3000}}", id, id)
	}
	head := "name: d\nbyte_order: big\nimage: {size: 0x1000000}\naxes: [" + axis("a") + ", " + axis("b") + "]\ntables:\n"
	table := "  - {id: %s, unit: '1', stored: {address: 0, type: u8}, x: {axis: a}%s}\n"
	_, err := Load("d", []byte(head+fmt.Sprintf(table, "t", ", y: {axis: b}")))
	if err == nil || !strings.Contains(err.Error(), "d:6: tables[0]: table t: the axes give 9000000 cells") {
		t.Errorf("one table: %v", err)
	}
	var many strings.Builder
	many.WriteString(head)
	for i := range 3000 {
		fmt.Fprintf(&many, table, fmt.Sprint("t", i), "")
	}
	if _, err := Load("d", []byte(many.String())); err == nil || !strings.Contains(err.Error(), "there are too many cells") {
		t.Errorf("many tables: %v", err)
	}
	d := &calibrationv1.Definition{Name: "d", ByteOrder: "big", Image: &calibrationv1.ImageLayout{Size: 1},
		Axes: []*calibrationv1.Axis{{Id: "a", Quantity: "a", Unit: "1", Points: []float64{1, math.NaN()}}}}
	if _, err := Compile("made", nil, d); err == nil || !strings.Contains(err.Error(), "NaN is not finite") {
		t.Errorf("made by hand: %v", err)
	}
	d.Axes[0].Points = make([]float64, MaxCells+1)
	if _, err := Compile("made", nil, d); err == nil || !strings.Contains(err.Error(), "too many cells") {
		t.Errorf("made by hand: %v", err)
	}
}

func TestCompileByHand(t *testing.T) {
	parsed, err := Load("d.yaml", []byte(sound))
	if err != nil {
		t.Fatal(err)
	}
	d := parsed.Source
	lay, err := Compile("d.yaml", []byte(sound), d)
	if err != nil || lay.Source != d {
		t.Fatal(err)
	}
	d.Tables[0].X.Axis = "none"
	if _, err := Compile("d.yaml", []byte(sound), d); err == nil || !strings.HasPrefix(err.Error(), "d.yaml:16: tables[0].x.axis: ") {
		t.Errorf("%v", err)
	}
	if _, err := Compile("made", nil, &calibrationv1.Definition{}); err == nil || !strings.HasPrefix(err.Error(), "made: name: ") {
		t.Errorf("%v", err)
	}
}

func TestIdentify(t *testing.T) {
	lay, err := Load("d.yaml", []byte(sound))
	if err != nil {
		t.Fatal(err)
	}
	image := make([]byte, lay.Size)
	copy(image[0xF00:], "V107")
	copy(image[0xF10:], []byte{0x0a, 0xff})
	if err := lay.Identify(image); err != nil {
		t.Error(err)
	}
	copy(image[0xF00:], "V10\x00")
	copy(image[0xF10:], []byte{0x0b, 0xab})
	err = lay.Identify(image)
	if err == nil || !strings.Contains(err.Error(), `identity software is "V10"; definition dx expects "V107"`) {
		t.Errorf("%v", err)
	}
	if err == nil || !strings.Contains(err.Error(), "serial") || strings.Contains(err.Error(), "0bab") || strings.Contains(err.Error(), "0aff") {
		t.Errorf("a private field: %v", err)
	}
	if err := lay.Identify(image[1:]); err == nil || !strings.Contains(err.Error(), "4095 bytes; allowed: 4096") {
		t.Errorf("%v", err)
	}
}

func TestText(t *testing.T) {
	for _, tt := range []struct{ in, want string }{
		{"DX1 \x00\x00", "DX1"}, {"\x00 \x00", ""}, {" A\\\x1b\xff~", ` A\\\x1b\xff~`}, {"\xff\xff", `\xff\xff`},
	} {
		f := &IdentityField{Range: image.Range{Start: 1, End: 1 + uint64(len(tt.in))}}
		if got := f.Text([]byte("x" + tt.in + "x")); got != tt.want {
			t.Errorf("%q reads %q, want %q", tt.in, got, tt.want)
		}
		f.Hex = true
		if got := f.Text([]byte(tt.in)); got != "" {
			t.Errorf("a field outside the image reads %q", got)
		}
	}
}

// FuzzLoad: no file makes it panic; a file that is accepted survives protobuf's JSON; every
// cell of the layout can be read from an image of the stated size.
func FuzzLoad(f *testing.F) {
	f.Add([]byte(sound))
	f.Add([]byte(computed))
	for _, tt := range signalRefusals {
		f.Add([]byte(strings.Replace(computed, tt.old, tt.new, 1)))
	}
	for _, tt := range refusals {
		f.Add([]byte(strings.Replace(sound, tt.old, tt.new, 1)))
	}
	f.Add([]byte(rich))
	for _, tt := range richRefusals {
		f.Add([]byte(strings.Replace(rich, tt.old, tt.new, 1)))
	}
	for _, tt := range sumRefusals {
		f.Add([]byte(sumFile(tt.base)))
		f.Add([]byte(sumFile(strings.Replace(tt.base, tt.from, tt.to, 1))))
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		lay, err := Load("f", file)
		if err != nil {
			return
		}
		text, err := protojson.Marshal(lay.Source)
		if err != nil {
			t.Fatal(err)
		}
		again := &calibrationv1.Definition{}
		if err := protojson.Unmarshal(text, again); err != nil || !proto.Equal(lay.Source, again) {
			t.Fatalf("%v\n%v\n%v", err, lay.Source, again)
		}
		if _, err := Compile("f", file, again); err != nil {
			t.Fatalf("accepted and then refused: %v", err)
		}
		readAll(lay)
	})
}

func readAll(lay *Layout) {
	if lay.Size > 1<<16 {
		return
	}
	for _, fill := range []byte{0, 1, 0x80, 0xFF} { // counts and pointers that lead to different places
		image := bytes.Repeat([]byte{fill}, int(lay.Size))
		readTables(lay, image)
		im := lay.Space.Whole(image)
		lay.WrongSums(im)
		if right, _, err := lay.Restamp(im, nil); err == nil && len(lay.WrongSums(right)) > 0 {
			panic("put right, and wrong")
		}
	}
	image := make([]byte, lay.Size)
	for _, f := range lay.Identity {
		f.Text(image)
	}
	for _, r := range lay.Volatile {
		_ = image[r.Start:r.End]
	}
}

func readTables(lay *Layout, image []byte) {
	for _, a := range lay.Axes {
		a.Breakpoints(image)
	}
	im := lay.Space.Whole(image)
	im.Held = im.Held[:0]
	lay.Lacks(im)
	for _, t := range lay.Tables {
		lay.Holds(im, t)
		for _, c := range t.Directions() {
			c.Bits(image, 0, 0)
		}
		r, err := t.In(image)
		if err != nil {
			r = t
		}
		for _, t := range append(r.Slices(image), t, r) {
			for row := range t.Cells.NY {
				for col := range t.Cells.NX {
					t.Cells.Physical(image, row, col)
				}
			}
		}
	}
}

// The demo's own definition loads, and its image says that it is the one.
func TestDemoDefinition(t *testing.T) {
	const name = "../../testdata/demo/dx1-1.8t.yaml"
	file, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	lay, err := Load(name, file)
	if err != nil {
		t.Fatal(err)
	}
	image, err := os.ReadFile("../../testdata/demo/asfound.bin")
	if err != nil {
		t.Fatal(err)
	}
	if err := lay.Identify(image); err != nil {
		t.Error(err)
	}
}
