package doubt

import (
	"strings"
	"testing"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// varied is a definition of structures of which nothing is doubtful: pump uses three of four points, packed; idle lies where
// its pointer says.
const varied = `name: varied
byte_order: big
image:
  regions: [{start: 0x100, size: 0x40}, {start: 0x8000, size: 0x10}]
tables:
  - id: pump
    unit: "%"
    stored: {address: 0x109, type: u8, layout: packed}
    x: {id: pump.rpm, quantity: engine_speed, unit: 1/min, conversion: {factor: 50}, stored: {address: 0x105, type: u8, count: 4, count_at: {address: 0x104, type: u8}}}
  - {id: idle, unit: kg/h, stored: {address: 0x110, type: u8, pointer: u16}, x: {id: idle.state, index: true, labels: [cold, warm]}}
  - {id: heat, quantity: coolant_temperature, unit: Cel, stored: {address: 0x112, type: u8, not_a_value: [255]}, conversion: {offset: -40}}
  - id: trim
    unit: "%"
    stored: {address: 0x113, type: u8}
    axes: [{id: trim.x, points: [0, 1]}, {id: trim.y, points: [0, 1]}, {id: trim.z, index: true, labels: [low, high]}]
  - {id: note, kind: text, stored: {address: 0x8000, length: 8}, encoding: ascii}
`

func variedImage() []byte {
	b := make([]byte, 0x50)
	copy(b[4:], []byte{3, 20, 40, 80, 1, 2, 3})
	copy(b[0x10:], []byte{1, 0x20, 255})
	copy(b[0x13:], []byte{1, 2, 3, 4, 5, 6, 7, 8})
	copy(b[0x20:], []byte{7, 8})
	copy(b[0x40:], "HILL")
	return b
}

func TestOfStructures(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{"", "", ""},
		{"address: 0x105", "address: 0x104", "caution d.yaml:9: tables[0].x: axis pump.rpm shares bits with what says where table pump lies"},
		{"address: 0x109", "address: 0x108", "caution d.yaml:6: tables[0]: table pump shares bits with axis pump.rpm"},
		{"address: 0x112", "address: 0x111", "caution d.yaml:11: tables[2]: table heat shares bits with what says where table idle lies"},
		{"labels: [low, high]", "labels: [low, low]", `caution d.yaml:15: tables[3].axes[2].labels[1]: axis trim.z: "low" is the name of place 0 already`},
	} {
		if !strings.Contains(varied, c.old) {
			t.Errorf("%q is not in the definition", c.old)
		}
		_, all := OfDefinition("d.yaml", []byte(strings.Replace(varied, c.old, c.new, 1)))
		var parts []string
		if c.want != "" {
			parts = []string{c.want}
		}
		want(t, c.new, all, parts...)
	}
}

func TestOfStructuresInAnImage(t *testing.T) {
	lay, err := definition.Load("d.yaml", []byte(varied))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what  string
		edit  func(b []byte)
		wants []string
	}{
		{"as it is", func([]byte) {}, nil},
		{"a count beyond the most", func(b []byte) { b[4] = 5 }, []string{
			"caution d.yaml:6: tables[0]: in the image: pointer:pump: its count at 0x104 is 5; allowed: 1 to 4",
			"notice d.yaml:6: tables[0]: 0x105 to 0x110, after what says where table pump lies: 11 bytes"}},
		{"a pointer outside", func(b []byte) { b[0x10] = 7 }, []string{
			"caution d.yaml:10: tables[1]: in the image: pointer:idle: its pointer at 0x110 leads to 0x720",
			"notice d.yaml:12: tables[3]: 0x11b to 0x140, after table trim: 37 bytes"}},
		{"a pointer into another table", func(b []byte) { b[0x11] = 0x12; b[0x20], b[0x21] = 0, 0 }, []string{
			"notice d.yaml:11: tables[2]: table heat shares bits with table idle", "notice d.yaml:12: tables[3]: table trim shares bits with table idle"}},
		{"points in use that do not rise", func(b []byte) { b[7] = 20 }, []string{"caution d.yaml:9: tables[0].x: axis pump.rpm: 1 of 3 breakpoints are out of order"}},
		{"what is no text", func(b []byte) { b[0x41] = 0xE9 }, []string{`caution d.yaml:16: tables[4]: table note holds "H\\xe9LL", which is no text in ascii`}},
		{"empty memory for a text", func(b []byte) { copy(b[0x40:], "\xff\xff\xff\xff\xff\xff\xff\xff") }, []string{`caution d.yaml:16: tables[4]: table note holds`}},
		{"too hot", func(b []byte) { b[0x12] = 254 }, []string{"caution d.yaml:11: tables[2]: table heat holds 214 to 214 Cel"}},
	} {
		b := variedImage()
		c.edit(b)
		all, err := OfImage("d.yaml", []byte(varied), lay, lay.Space.Whole(b))
		if err != nil {
			t.Fatal(err)
		}
		want(t, c.what, all, c.wants...)
	}
	holed := lay.Space.Whole(variedImage())
	holed.Held = image.Minus(holed.Held, []image.Range{{Start: 0x104, End: 0x105}, {Start: 0x8000, End: 0x8008}})
	all, err := OfImage("d.yaml", []byte(varied), lay, holed)
	if err != nil {
		t.Fatal(err)
	}
	want(t, "an image that lacks a count and the text", all, "notice d.yaml:6: tables[0]: not looked at", "notice d.yaml:16: tables[4]: not looked at")
}
