package definition

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"witnessmark/tables/image"
)

// rich is a definition with every structure that controllers hold, and nothing wrong; the refusals below each change a line.
const rich = `name: rich
byte_order: big
image:
  regions: [{start: 0x80000000, size: 0x1000}, {start: 0xAF000000, size: 0x100}]
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0x80000002, type: u16, count: 4, count_at: {address: 0x80000000, type: u8}}}
  - {id: gear, labels: [first, second, third], index: true}
  - {id: place, unit: kPa, stored: {address: 0x80000010, type: u8, count: 3, reversed: true}, by: {curve: sensor}}
tables:
  - {id: sensor, known_as: "SNS[0]", quantity: manifold_pressure, unit: hPa, stored: {address: 0x80000100, type: u16}, x: {quantity: sensor_voltage, unit: V, points: [0, 5]}}
  - {id: flow, quantity: fuel_flow, unit_text: "U / min", stored: {address: 0x80000110, type: u16, not_a_value: [0xFFFF]}, x: {axis: rpm}, y: {axis: gear}}
  - {id: far, unit: kPa, stored: {address: 0x80000130, type: u16, pointer: u32}, x: {axis: place}}
  - {id: cube, unit: "1", stored: {address: 0x80000140, type: u8}, axes: [{points: [1, 2, 3]}, {axis: gear}, {labels: [a, b]}]}
  - {id: lag, unit: ms, stored: {address: 0x80000168, type: u16, layout: packed}, x: {id: lag.x, stored: {address: 0x80000162, type: u8, count: 6, count_at: {address: 0x80000160, type: u16}}}}
  - {id: note, kind: text, encoding: ascii, stored: {address: 0xAF000000, length: 16}}
  - {id: warm, unit: Cel, stored: {address: 0x80000180, type: u8}, conversion: {points: {raw: [0, 128, 255], physical: [-40, 20, 150], between: linear, outside: hold}}}
  - {id: mode, stored: {address: 0x80000181, type: u8}, conversion: {labels: {0: off, "1..3": part, else: full}}}
folders:
  - {id: air, title: Air, tables: [sensor, far], folders: [deep]}
  - {id: deep, tables: [note]}
volatile:
  - {start: 0x80000200, end: 0x80000210, title: trims}
`

func TestRich(t *testing.T) {
	lay, err := Load("d.yaml", []byte(rich))
	if err != nil {
		t.Fatal(err)
	}
	if lay.Size != 0x1100 || len(lay.Space) != 2 || lay.Space.Address(0x1000) != 0xAF000000 || len(lay.Folders) != 2 {
		t.Errorf("%v of %d bytes, %d folders", lay.Space, lay.Size, len(lay.Folders))
	}
	var varying []string
	for _, table := range lay.Varying {
		varying = append(varying, fmt.Sprintf("%s %d %d", table.ID, len(table.Directions()), len(table.Pointers())))
	}
	if got := strings.Join(varying, ", "); got != "flow 1 0, far 1 1, lag 1 0" {
		t.Errorf("varying: %s", got)
	}
	cube, flow, far := lay.ByID["cube"], lay.ByID["flow"], lay.ByID["far"]
	if cube.Kind != "block" || len(cube.Axes) != 3 || cube.X != cube.Axes[0] || cube.Y != cube.Axes[1] || cube.Axes[2].ID != "cube.z" || cube.Cells.NX*cube.Cells.NY != 18 {
		t.Errorf("%+v %+v", cube, cube.Cells)
	}
	if flow.UnitText != "U / min" || flow.Unit != "" || flow.Y.Labels[2] != "third" || !flow.Y.Index || flow.Y.Points[2] != 2 || lay.ByID["sensor"].KnownAs != "SNS[0]" {
		t.Errorf("%+v", flow)
	}
	if far.X.By != lay.ByID["sensor"] || lay.ByID["note"].Kind != "text" || lay.ByID["note"].Cells.NX != 16 || lay.ByID["warm"].Cells.Conv.Points == nil {
		t.Errorf("%+v", far)
	}
	for raw, want := range map[int64]string{0: "off", 1: "part", 3: "part", 4: "full"} {
		if got := lay.ByID["mode"].Cells.Conv.Label(raw); got != want {
			t.Errorf("raw %d is %s, want %s", raw, got, want)
		}
	}
}

const stored, word = "stored: {address: 0x80000110, type: u16, not_a_value: [0xFFFF]}", "type: u16, not_a_value: [0xFFFF]"

var richRefusals = []refusal{
	{"  regions: [{", "  start: 1\n  regions: [{", 4, "image.start", "start and size, or regions"},
	{"  regions: [{", "  size: 1\n  regions: [{", 4, "image.size", "start and size, or regions"},
	{"size: 0x1000}", "size: 0}", 4, "image.regions[0].size", "1 to"},
	{"start: 0xAF000000, size", "start: 0x80001000, size", 4, "image.regions[1]", "above 0x80001000; regions ascend, and those that touch are one"},
	{"start: 0xAF000000, size", "start: 0x7F000000, size", 4, "image.regions[1]", "begins at 0x7f000000"},
	{"start: 0xAF000000, size: 0x100", "start: 0xFFFFFFF0, size: 0x100", 4, "image.regions[1].size", "0x100000000"},
	{"start: 0xAF000000, size: 0x100", "start: 0xAF000000, size: 0x4000000", 4, "image.regions[1]", "too large together"},
	{"size: 0x100}]", "size: 0x100}" + strings.Repeat(", {size: 1}", maxRegions) + "]", 4, "image.regions", "at most 256"},
	{"0x80000002, type: u16, count: 4, ", "0x80000002, type: u16, count: 4, not_a_value: [1], ", 6, "axes[0].stored.not_a_value", "tables only"},
	{"0x80000002, type: u16, count: 4, ", "0x80000002, type: u16, count: 4, length: 4, ", 6, "axes[0].stored.length", "tables only"},
	{"0x80000000, type: u8", "0x80000000, type: s8", 6, "axes[0].stored.count_at.type", "allowed: u8, u16, u32"},
	{"0x80000000, type: u8", "0x80001000, type: u8", 6, "axes[0].stored.count_at", "outside the image"},
	{"0x80000000, type: u8", "0x80000000, type: u8, byte_order: up", 6, "axes[0].stored.count_at.byte_order", "big, little"},
	{"count: 4, ", "count: 4, layout: loose, ", 6, "axes[0].stored.layout", "allowed: packed, fixed"},
	{"count: 4, ", "count: 4, pointer: s16, ", 6, "axes[0].stored.pointer", "allowed: u16, u24, u32"},
	{"0x80000002, type: u16, count: 4, ", "0x80000FFD, type: u16, count: 4, pointer: u32, ", 6, "axes[0].stored", "outside the image"},
	{"count: 4, ", "count: 0x1001, pointer: u16, ", 6, "axes[0].stored", "8194 bytes fit nowhere"},
	{"unit: 1/min, stored", "unit: 1/min, unit_text: rpm, stored", 6, "axes[0].unit_text", "unit or unit_text"},
	{"unit: 1/min, stored", "stored", 6, "axes[0].unit", "missing"},
	{"labels: [first, second, third]", "labels: [first, '']", 7, "axes[1].labels[1]", "empty"},
	{"labels: [first, second, third]", "labels: [first], points: [1]", 7, "axes[1].labels", "points is given too"},
	{"labels: [first, second, third]", "labels: [first], conversion: {factor: 2}", 7, "axes[1].conversion", "labels are physical"},
	{"labels: [first, second, third]", "labels: [first], by: {curve: sensor}", 7, "axes[1].by", "no values of a curve"},
	{"labels: [first, second, third]", "points: [1], from: s", 7, "axes[1].from", "an axis of a quantity"},
	{"0x80000010, type: u8, count: 3", "0x80000001, type: u8, count: 3", 8, "axes[2].stored", "outside the image"},
	{"0x80000010, type: u8, count: 3", "0x1, type: u8, count: 3", 8, "axes[2].stored", "3 bytes do not fit below 0x1"},
	{"curve: sensor", "curve: censor", 8, "axes[2].by.curve", `axis place: "censor" is no table`},
	{"curve: sensor", "curve: note", 8, "axes[2].by.curve", "a curve of numbers"},
	{"curve: sensor", "curve: flow", 8, "axes[2].by.curve", "a curve of numbers"},
	{"curve: sensor", "curve: far", 8, "axes[2].by.curve", "looked up through itself: place, place"},
	{"unit: kPa", "unit: V", 8, "axes[2].by.curve", "do not convert"},
	{"unit: hPa", "unit: hPa, unit_text: u", 10, "tables[0].unit_text", "unit or unit_text"},
	{"unit: hPa", "unit_text: u, observed: {channel: manifold_pressure}", 10, "tables[0].observed", "does not convert"},
	{"unit: hPa", "unit: hPa, carried: same bytes", 10, "tables[0].carried", "the definition says nothing of it"},
	{"unit: hPa", "unit: hPa, carried: guessed", 10, "tables[0].carried", "allowed: same bytes, same axes"},
	{"unit: hPa", "unit: hPa, kind: map", 10, "tables[0].kind", "allowed: text"},
	{"unit: hPa", "unit: hPa, encoding: ascii", 10, "tables[0].encoding", "of a text"},
	{word, "type: u16, not_a_value: [0x10000]", 11, "tables[1].stored.not_a_value[0]", "0 to 65535"},
	{word, "type: u16, not_a_value: [-1]", 11, "tables[1].stored.not_a_value[0]", "0 to 65535"},
	{word, "type: u16, mask: 0xFF0, not_a_value: [0x100]", 11, "tables[1].stored.not_a_value[0]", "0 to 255"},
	{word, "type: u16, not_a_value: [1, 2, 1]", 11, "tables[1].stored.not_a_value[2]", "each code once"},
	{word, "type: f32, not_a_value: [1]", 11, "tables[1].stored.not_a_value", "whole numbers only"},
	{word, "type: u32, not_a_value: [" + strings.Repeat("1, ", maxCodes) + "1]", 11, "tables[1].stored.not_a_value", "at most 256"},
	{word + "}", word + "}, conversion: {labels: {0: a}}", 11, "tables[1].stored.not_a_value", "holds labels"},
	{word, "type: u16, count_at: {address: 0x80000000, type: u8}", 11, "tables[1].stored.count_at", "of an axis"},
	{word, "type: u16, length: 4", 11, "tables[1].stored.length", "of a text"},
	{"pointer: u32}", "pointer: u32}, mirror: {of: sensor, as: same}", 12, "tables[2].mirror.of", "3x1 cells"},
	{"axes: [{points: [1, 2, 3]}, ", "x: {axis: gear}, axes: [{points: [1, 2, 3]}, ", 13, "tables[3].axes", "x and y, or axes"},
	{"axes: [{points: [1, 2, 3]}, ", "axes: [", 13, "tables[3].axes", "3 to 8 axes; fewer as x and y"},
	{"{labels: [a, b]}]", "{labels: [a, b]}" + strings.Repeat(", {points: [1]}", 6) + "]", 13, "tables[3].axes", "9 axes"},
	{"{labels: [a, b]}]", "{quantity: q, unit: V, points: [1]}, {quantity: q, unit: V, points: [2]}]", 13, "tables[3].axes[3]", `two axes are of quantity "q"`},
	{"{labels: [a, b]}]", "{labels: [a, b], stride: 2}]", 13, "tables[3].axes[2]", "unknown field"},
	{"{labels: [a, b]}]", "{axis: gear, labels: [a]}]", 13, "tables[3].axes[2]", "axis alone"},
	{"{labels: [a, b]}]", "{axis: gear, known_as: a}]", 13, "tables[3].axes[2]", "axis alone"},
	{"{labels: [a, b]}]", "{stored: {address: 0x80000000, type: u8, count: 0x200}}, {stored: {address: 0x80000000, type: u8, count: 33}}]", 13, "tables[3]", "the axes beyond y give"},
	{"0x80000140, type: u8}", "0x80000140, type: u8, row_stride: 2}", 13, "tables[3].stored.row_stride", "share bytes"},
	{"0x80000140, type: u8}", "0x80000FEF, type: u8}", 13, "tables[3].stored", "outside the image"},
	{"0x80000140, type: u8}", "0x80000010, type: u8, reversed: true}", 13, "tables[3].stored", "outside the image"},
	{"length: 16}", "length: 0}", 15, "tables[5].stored.length", "1 to 1024"},
	{"length: 16}", "length: 1025}", 15, "tables[5].stored.length", "1 to 1024"},
	{"length: 16}", "length: 16, type: u8}", 15, "tables[5].stored.type", "of a text"},
	{"length: 16}", "length: 0x101}", 15, "tables[5].stored", "outside the image"},
	{"encoding: ascii", "encoding: latin", 15, "tables[5].encoding", "allowed: ascii, utf-8"},
	{"encoding: ascii", "encoding: ascii, unit: V", 15, "tables[5].unit", "of a text"},
	{"encoding: ascii", "encoding: ascii, x: {axis: gear}", 15, "tables[5].x", "of a text"},
	{"encoding: ascii", "encoding: ascii, conversion: {factor: 2}", 15, "tables[5].conversion", "of a text"},
	{", stored: {address: 0xAF000000, length: 16}", "", 15, "tables[5].stored", "missing"},
	{"raw: [0, 128, 255]", "raw: [0, 128, 128]", 16, "tables[6].conversion.points.raw[2]", "128 follows 128"},
	{"raw: [0, 128, 255]", "raw: [0]", 16, "tables[6].conversion.points.raw", "2 to"},
	{"raw: [0, 128, 255]", "raw: [0, 1]", 16, "tables[6].conversion.points.physical", "2 numbers, one for each of raw"},
	{"[-40, 20, 150]", "[7, 7, 7]", 16, "tables[6].conversion.points.physical", "means the same"},
	{"between: linear", "between: spline", 16, "tables[6].conversion.points.between", "allowed: linear, step"},
	{"outside: hold", "outside: keep", 16, "tables[6].conversion.points.outside", "hold, or a number"},
	{"outside: hold}", "outside: hold}, factor: 2", 16, "tables[6].conversion", "more than one kind"},
	{`"1..3": part`, `"0..3": part`, 17, "tables[7].conversion.labels", `raw 0 has the labels "off" and "part"`},
	{`"1..3": part`, `"3..1": part`, 17, "tables[7].conversion.labels[3..1]", "the lower first"},
	{`"1..3": part`, `"1..256": part`, 17, "tables[7].conversion.labels[1..256]", "cannot hold 1..256"},
	{`"1..3": part`, `"one": part`, 17, "tables[7].conversion.labels[one]", "or else"},
	{`else: full`, `else: ""`, 17, "tables[7].conversion.labels[else]", "empty"},
	{"tables: [sensor, far]", "tables: [sensor, near]", 19, "folders[0].tables[1]", `"near" is none`},
	{"folders: [deep]", "folders: [deeper]", 19, "folders[0].folders[0]", `"deeper" is none`},
	{"tables: [note]", "tables: [note], folders: [air]", 19, "folders[0].folders", "inside itself: air, deep, air"},
	{"id: deep", "id: air", 20, "folders[1].id", "already used by folders[0]"},
	{"start: 0x80000200, end: 0x80000210", "start: 0x80000200, end: 0x80001001", 22, "volatile[0]", "outside the image"},
	{"start: 0x80000200, end: 0x80000210", "start: 0x80000FF0, end: 0xAF000010", 22, "volatile[0]", "outside the image"},
	{"start: 0x80000200, end: 0x80000210", "start: 0x80000000, end: 0x80000001", 22, "volatile[0]", `the count of axis "rpm"`},
	{"start: 0x80000200, end: 0x80000210", "start: 0x8000000E, end: 0x80000010", 22, "volatile[0]", `overlaps axis "place"`}, // it runs down
	{"start: 0x80000200, end: 0x80000210", "start: 0x80000133, end: 0x80000134", 22, "volatile[0]", `the pointer of table "far"`},
	{"start: 0x80000200, end: 0x80000210", "start: 0x80000151, end: 0x80000152", 22, "volatile[0]", `overlaps table "cube"`},
	{"name: rich", "name: rich\ncarried: {definition: other}", 2, "carried.definition_sha256", "64 lower-case hex digits"},
	{"name: rich", "name: rich\ncarried: {}", 2, "carried.definition", "cannot be a name"},
}

func TestRichRefusals(t *testing.T) { refuseAll(t, rich, richRefusals) }

// Alone, each fault of a structure is told as Load tells it, and nothing beside it that only follows from it.
func TestExamineRich(t *testing.T) {
	follows := map[string]int{"id: air": 1, "name: rich\ncarried: {definition: other}": 2, "name: rich\ncarried: {}": 3, "curve: far": 0} // further faults of their own
	for _, tt := range richRefusals {
		doc := strings.Replace(rich, tt.old, tt.new, 1)
		_, err := Load("d.yaml", []byte(doc))
		if got := faultsOf(t, doc); !slices.Contains(got, err.Error()) || len(got) > 1+follows[tt.new] {
			t.Errorf("%q for %q: %q", tt.new, tt.old, got)
		}
	}
}

// What a packed record can take in some image is refused to a volatile range: with one breakpoint of three used, the cells begin
// where the second one was.
func TestKeepsWhatVaries(t *testing.T) {
	apart := strings.Replace(rich, "type: u8, count: 6, count_at: {address: 0x80000160", "type: u8, stride: 2, count: 3, count_at: {address: 0x80000160", 1)
	for _, tt := range []struct {
		at   int
		fits bool
	}{{0x161, false}, {0x162, false}, {0x163, true}, {0x165, false}, {0x168, false}, {0x16D, false}, {0x16E, true}} {
		doc := strings.Replace(apart, "start: 0x80000200, end: 0x80000210", fmt.Sprintf("start: 0x80000%x, end: 0x80000%x", tt.at, tt.at+1), 1)
		if _, err := Load("d", []byte(doc)); (err == nil) != tt.fits {
			t.Errorf("%#x: %v", tt.at, err)
		}
	}
	// Two axes on the same bytes leave more free than lies before the cells: no further than to the region's beginning.
	const twice = `{name: d, byte_order: big, image: {regions: [{start: 0x10, size: 8}, {start: 0x100, size: 0x20}]}, tables: [{id: t, unit: deg, stored: {address: 0x106, type: u8, layout: packed},
  x: {stored: {address: 0x102, type: u8, count: 4, count_at: {address: 0x100, type: u8}}}, y: {stored: {address: 0x102, type: u8, count: 4, count_at: {address: 0x101, type: u8}}}}],
  volatile: [{start: 0x10, end: 0x18}]}`
	lay, err := Load("d", []byte(twice))
	if err != nil {
		t.Fatal(err)
	}
	b := make([]byte, lay.Size)
	b[8], b[9] = 1, 1
	if _, err := lay.Tables[0].In(b); err != nil { // 0x106 - 3 - 3
		t.Error(err)
	}
	if _, err := Load("d", []byte(strings.Replace(strings.Replace(twice, "0x106", "0x104", 1), "end: 0x18", "end: 0x14", 1))); err != nil {
		t.Error(err)
	}
}

// Of all that a volatile range overlaps the first in the file is named, however ranges lie in each other.
func TestFirstOverlap(t *testing.T) {
	doc := strings.Replace(sound, "start: 0x1E00, end: 0x1E10", "start: 0x1820, end: 0x1852", 1)
	if _, err := Load("d", []byte(doc)); err == nil || !strings.Contains(err.Error(), `overlaps table "base"`) {
		t.Errorf("%v", err)
	}
	doc = strings.Replace(sound, "start: 0x1E00, end: 0x1E10", "start: 0x1E00, end: 0x1F00", 1)
	doc = strings.Replace(doc, "address: 0x1FFC", "address: 0x1E80", 1) // a sum among them
	if _, err := Load("d", []byte(doc)); err != nil {
		t.Error(err)
	}
	doc = strings.Replace(doc, "address: 0x1840", "address: 0x1EF0", 1)
	if _, err := Load("d", []byte(doc)); err == nil || !strings.Contains(err.Error(), `volatile range overlaps table "cut"`) {
		t.Errorf("%v", err)
	}
}

// mended is an image of rich in which all counts and pointers lead inside.
func mended(b []byte) []byte {
	b[0] = 3
	copy(b[0x130:], []byte{0xAF, 0, 0, 0x20})
	copy(b[0x160:], []byte{0, 2})
	return b
}

func TestAstray(t *testing.T) {
	lay, err := Load("d.yaml", []byte(rich))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		id    string
		at    int
		bytes []byte
		want  string
	}{
		{"flow", 0, []byte{0}, "table flow: axis rpm: its count at 0x80000000 is 0; allowed: 1 to 4"},
		{"flow", 0, []byte{5}, "table flow: axis rpm: its count at 0x80000000 is 5; allowed: 1 to 4"},
		{"flow", 0, []byte{4}, ""},
		{"far", 0x130, []byte{0, 0, 0, 0}, "table far: its pointer at 0x80000130 leads to 0x0, where its 6 bytes do not lie in the image; allowed: 0x80000000 to 0x80001000, 0xaf000000 to 0xaf000100"},
		{"far", 0x130, []byte{0x80, 0, 0x0F, 0xFB}, "leads to 0x80000ffb"},
		{"far", 0x130, []byte{0x80, 0, 0x0F, 0xFA}, ""},
		{"far", 0x130, []byte{0xFF, 0xFF, 0xFF, 0xFF}, "leads to 0xffffffff"},
		{"lag", 0x160, []byte{1, 0}, "table lag: axis lag.x: its count at 0x80000160 is 256; allowed: 1 to 6"},
	} {
		b := mended(make([]byte, lay.Size))
		copy(b[tt.at:], tt.bytes)
		table := lay.ByID[tt.id]
		r, err := table.In(b)
		if tt.want == "" {
			if err != nil || r.Of != table || r.Varies() || len(r.Directions()) != len(table.Directions()) {
				t.Errorf("%s: %+v, %v", tt.id, r, err)
			}
			continue
		}
		if r != nil || err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %s", tt.id, err, tt.want)
		}
	}
	b := mended(make([]byte, lay.Size))
	far, _ := lay.ByID["far"].In(b)
	lag, _ := lay.ByID["lag"].In(b)
	if far.Cells.Offset != 0x1020 || far.X != lay.Axes[2] || far.X.Of != nil {
		t.Errorf("%+v", far)
	}
	// Four of six breakpoints are not used: the cells lie four bytes further up, and there are two.
	if lag.Cells.Offset != 0x164 || lag.Cells.NX != 2 || lag.X.Count != 2 || lag.X.Of != lay.ByID["lag"].X || lay.ByID["lag"].Cells.NX != 6 {
		t.Errorf("%+v %+v", lag.Cells, lag.X)
	}
	if cube := lay.ByID["cube"]; cube.Varies() || len(cube.Directions()) != 0 {
		t.Error("cube varies")
	} else if same, err := cube.In(b); same != cube || err != nil {
		t.Error("what does not vary is itself in every image")
	}
}

// What a hole takes from a table that varies: its count or pointer, or bytes of where it then lies, and not of where it does not.
func TestHoldsWhatVaries(t *testing.T) {
	lay, err := Load("d.yaml", []byte(rich))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		hole  uint64 // offset
		lacks string // tables
	}{
		{0x0, "flow"}, {0x2, "flow"}, {0x7, "flow"}, {0x8, ""}, {0xE, "far"}, {0x110, "flow"}, {0x116, ""}, {0x118, "flow"}, // rows are as long as the most: the fourth cell is not used
		{0x130, "far"}, {0x133, "far"}, {0x1020, "far"}, {0x1025, "far"}, {0x1026, ""},
		{0x160, "lag"}, {0x162, "lag"}, {0x163, "lag"}, {0x164, "lag"}, {0x167, "lag"}, {0x168, ""}, {0x1000, "note"}, {0x151, "cube"},
	} {
		im := lay.Space.Whole(mended(make([]byte, lay.Size)))
		im.Format = image.IHex
		at := lay.Space.Addresses([]image.Range{{Start: tt.hole, End: tt.hole + 1}})
		im.Held = image.Minus(im.Held, at)
		im.Bytes[tt.hole] = 0xFF
		var lacks []string
		for _, table := range lay.Tables {
			if !lay.Holds(im, table) {
				lacks = append(lacks, table.ID)
			}
		}
		if got := strings.Join(lacks, " "); got != tt.lacks {
			t.Errorf("without 0x%x it lacks %q, want %q", tt.hole, got, tt.lacks)
		}
		if got := lay.Lacks(im); (len(got) > 0) != (tt.lacks != "") || len(got) > 0 && !slices.Equal(got, at) {
			t.Errorf("without 0x%x it lacks %x", tt.hole, got)
		}
	}
}

// What hangs on a count or a pointer that an image lacks is not known: it lacks that, and of what stands at its own address the most.
func TestLacksWhatVaries(t *testing.T) {
	lay, err := Load("d.yaml", []byte(strings.Replace(rich, "axes: [{points: [1, 2, 3]}", "axes: [{stored: {address: 0x80000190, type: u8, count: 3, pointer: u32}}", 1)))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		holes []uint64 // offsets that nothing else is at
		lacks []uint64
	}{
		{[]uint64{0x0, 0x116, 0x128}, []uint64{0x0, 0x116}},            // flow's count, and its fourth column
		{[]uint64{0x1, 0x130, 0x1020}, []uint64{0x130}},                // far's pointer, and where it led
		{[]uint64{0x1, 0x190, 0x1021}, []uint64{0x190, 0x1021}},        // the pointer of an axis, and the cells of far
		{[]uint64{0x160, 0x168, 0x172}, []uint64{0x160, 0x168, 0x172}}, // lag's count, and what was not used of its cells
		{[]uint64{0x1, 0xFFF}, nil},
	} {
		b := mended(make([]byte, lay.Size))
		copy(b[0x190:], []byte{0xAF, 0, 0, 0x30})
		im := lay.Space.Whole(b)
		im.Held = image.Minus(im.Held, lay.Space.Addresses(single(tt.holes)))
		for _, at := range tt.holes {
			b[at] = 0xFF
		}
		if got := lay.Lacks(im); !slices.Equal(got, lay.Space.Addresses(single(tt.lacks))) {
			t.Errorf("without %x it lacks %x, want %x", tt.holes, got, tt.lacks)
		}
	}
}

func single(offsets []uint64) (out []image.Range) {
	for _, at := range offsets {
		out = append(out, image.Range{Start: at, End: at + 1})
	}
	return out
}
