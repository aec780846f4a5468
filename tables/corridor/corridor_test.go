package corridor

import (
	"bytes"
	"encoding/binary"
	"math"
	"reflect"
	"strings"
	"testing"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// small is a definition that a person can check by hand: 256 bytes from 0x1000.
const small = `
name: small
title: A small controller
byte_order: big
image:
  start: 0x1000
  size: 0x100
  segments: [{start: 0x1000, end: 0x1100, content: calibration}]
identity:
  - {id: frame, address: 0x1000, length: 8, encoding: ascii, vehicle: true, private: true}
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0x1010, type: u16, count: 4}}
tables:
  - id: ignition_base
    quantity: ignition_advance
    unit: deg
    stored: {address: 0x1030, type: u8, not_a_value: [255]}
    conversion: {factor: 0.75, offset: -24}
    x: {axis: rpm}
    y: {id: load, quantity: manifold_pressure, unit: bar, stored: {address: 0x1018, type: u8, count: 3}, conversion: {factor: 0.1}}
  - {id: tenths, quantity: lambda, unit: "1", stored: {address: 0x1040, type: u8}, conversion: {factor: 0.1}}
  - {id: low, unit: "1", stored: {address: 0x1041, type: u8, mask: 0x0F}}
  - {id: high, unit: "1", stored: {address: 0x1041, type: u8, mask: 0x30}}
  - {id: mode, stored: {address: 0x1042, type: u8}, conversion: {labels: {0: "off", 1: "on"}}}
  - {id: real, unit: ms, stored: {address: 0x1044, type: f32}}
  - {id: across, unit: ms, stored: {address: 0x1048, type: u16}}
  - {id: above, unit: ms, stored: {address: 0x1048, type: u8}}
  - {id: boost, unit: kPa, stored: {address: 0x1050, type: u8}, x: {axis: rpm}}
  - id: far
    unit: kPa
    stored: {address: 0x1060, type: u8, pointer: u16}
    x: {id: steps, quantity: gear, unit: "1", stored: {address: 0x1064, type: u8, count: 4, count_at: {address: 0x1062, type: u8}}}
  - id: gears
    quantity: torque
    unit: N.m
    stored: {address: 0x1080, type: u8}
    axes:
      - {axis: rpm}
      - {id: pedal, quantity: pedal, unit: "%", points: [0, 100]}
      - {id: gear, quantity: gear, labels: [first, second]}
  - {id: label, kind: text, encoding: ascii, stored: {address: 0x10A0, length: 8}}
checksums:
  - {id: sum, algorithm: sum-16, over: [{start: 0x1000, end: 0x10E0}], stored: {address: 0x10F0, type: u16}, inverse_at: {address: 0x10F2, type: u16}}
  - {id: again, algorithm: sum-8, over: [{start: 0x1000, end: 0x10E0}], stored: {address: 0x10F4, type: u8}, restamped_on_write: true}
volatile: [{start: 0x10E0, end: 0x10E8, title: learned}]
`

func smallImage() []byte {
	b := make([]byte, 0x100)
	copy(b, "FRAME001")
	for i, v := range []uint16{1500, 3000, 4500, 6000} {
		binary.BigEndian.PutUint16(b[0x10+2*i:], v)
	}
	copy(b[0x18:], []byte{4, 10, 16})
	for i := range 12 {
		b[0x30+i] = byte(50 + i) // 13.5, 14.25, … deg
	}
	b[0x3B] = 255
	b[0x40], b[0x41], b[0x42] = 10, 0x25, 1
	binary.BigEndian.PutUint32(b[0x44:], math.Float32bits(2.5))
	binary.BigEndian.PutUint16(b[0x48:], 0x0110)
	copy(b[0x50:], []byte{140, 150, 160, 170})
	binary.BigEndian.PutUint16(b[0x60:], 0x10B0)
	b[0x62] = 3
	copy(b[0x64:], []byte{1, 2, 3, 4})
	copy(b[0x80:], []byte{10, 11, 12, 13, 14, 15, 16, 17, 20, 21, 22, 23, 24, 25, 26, 27})
	copy(b[0xA0:], "road")
	copy(b[0xB0:], []byte{90, 91, 92, 93})
	return b
}

func layoutOf(t interface {
	Helper()
	Fatal(...any)
}, file string) *definition.Layout {
	t.Helper()
	lay, err := definition.Load("test.yaml", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	return lay
}

// with is the small image with some bytes written at an address.
func with(at int, b ...byte) []byte {
	out := smallImage()
	copy(out[at-0x1000:], b)
	return out
}

func place(what, table string, address uint32, at ...uint32) Place {
	return Place{What: what, Table: table, At: at, Address: address}
}

var bounded = []Bound{{"ignition_base", 2, 1}, {"tenths", 0.3, 0}, {"low", 3, 3}, {"real", 0.5, 0.5}, {"across", 10, 10}, {"far", 5, 5}, {"gears", 2, 2}}

// TestEachStructure changes one thing at a time.
func TestEachStructure(t *testing.T) {
	lay := layoutOf(t, small)
	f32 := func(v float32) []byte { return binary.BigEndian.AppendUint32(nil, math.Float32bits(v)) }
	for _, c := range []struct {
		what string
		now  []byte
		want []Place
		says string
	}{
		{"nothing", smallImage(), nil, ""},
		{"up to the bound", with(0x1032, 54), nil, ""}, // 16.5 of 15 deg, two raw steps of 0.75
		{"beyond it", with(0x1032, 55), []Place{place(Cell, "ignition_base", 0x1032, 0, 0, 2)},
			"ignition_base at 4500 1/min, 0.4 bar: 17.25 deg, 2.25 above the start; the corridor allows 2 up"},
		{"down beyond it, and another cell", with(0x1036, 54, 54), []Place{place(Cell, "ignition_base", 0x1036, 0, 1, 2)},
			"ignition_base at 4500 1/min, 1 bar: 16.5 deg, 1.5 below the start; the corridor allows 1 down (and 1 more cell)"},
		{"three steps of 0.1 are 0.3", with(0x1040, 13), nil, ""},
		{"four are not", with(0x1040, 14), []Place{place(Cell, "tenths", 0x1040, 0, 0, 0)}, "tenths: 1.4, 0.4 above the start; the corridor allows 0.3 up"},
		{"nothing down", with(0x1040, 9), []Place{place(Cell, "tenths", 0x1040, 0, 0, 0)}, "tenths: 0.9, 0.1 below the start; the corridor allows 0 down"},
		{"a code that is no value, and back", with(0x103B, 60), []Place{place(Cell, "ignition_base", 0x103B, 0, 2, 3)},
			"ignition_base at 6000 1/min, 1.6 bar: 21 deg, off (raw 255) at the start; the corridor leaves what is off as it is"},
		{"a cell switched off", with(0x1030, 255), []Place{place(Cell, "ignition_base", 0x1030, 0, 0, 0)},
			"ignition_base at 1500 1/min, 0.4 bar: off (raw 255), 13.5 deg at the start; the corridor leaves what is off as it is"},
		{"bits of a named table", with(0x1041, 0x27), nil, ""},
		{"bits of another in the same byte", with(0x1041, 0x17), []Place{place(Table, "high", 0x1041, 0, 0, 0)}, "high: 1, 2 at the start; the corridor leaves this table as it is"},
		{"bits of none in the same byte", with(0x1041, 0xA7), []Place{place(Bytes, "", 0x1041)},
			"what lies at 0x1041, which no table has, differs from the start; the corridor leaves it as it is"},
		{"a label", with(0x1042, 0), []Place{place(Table, "mode", 0x1042, 0, 0, 0)}, "mode: off, on at the start; the corridor leaves this table as it is"},
		{"a float", with(0x1044, f32(2.9)...), nil, ""},
		{"no number", with(0x1044, f32(float32(math.NaN()))...), []Place{place(Cell, "real", 0x1044, 0, 0, 0)}, "real: NaN ms, 2.5 ms at the start; the corridor is one of numbers"},
		{"where another table shares no changed byte", with(0x1049, 0x12), nil, ""},
		{"where another table shares a byte", with(0x1048, 0x00, 0xFF), []Place{place(Cell, "across", 0x1048, 0, 0, 0), place(Table, "above", 0x1048, 0, 0, 0)},
			"across: 255 ms, 17 below the start; the corridor allows 10 down"},
		{"a table that is not named", with(0x1051, 151, 161), []Place{place(Table, "boost", 0x1051, 0, 0, 1)},
			"boost at 3000 1/min: 151 kPa, 150 kPa at the start; the corridor leaves this table as it is (and 1 more cell)"},
		{"a breakpoint, told once", with(0x1014, 0x11, 0x95), []Place{place(Axis, "ignition_base", 0x1014, 0, 2)},
			"ignition_base: breakpoint 3 of engine speed is 4501 1/min, 4500 1/min at the start; a corridor moves none"},
		{"a breakpoint along y", with(0x1019, 11), []Place{place(Axis, "ignition_base", 0x1019, 1, 1)},
			"ignition_base: breakpoint 2 of manifold pressure is 1.1 bar, 1 bar at the start; a corridor moves none"},
		{"behind a pointer", with(0x10B2, 96), nil, ""},
		{"beyond, behind a pointer", with(0x10B2, 98), []Place{place(Cell, "far", 0x10B2, 0, 0, 2)}, "far at 3: 98 kPa, 6 above the start; the corridor allows 5 up"},
		{"behind its count", with(0x10B3, 94), []Place{place(Bytes, "", 0x10B3)}, ""},
		{"a pointer", with(0x1060, 0x10, 0xB1), []Place{place(Axis, "far", 0x1060)}, "far: a count or pointer at 0x1060 differs from the start; a corridor moves none"},
		{"a count", with(0x1062, 4), []Place{place(Axis, "far", 0x1062)}, "far: a count or pointer at 0x1062 differs from the start; a corridor moves none"},
		{"a count of nothing", with(0x1062, 0), []Place{place(Axis, "far", 0x1062)}, ""},
		{"a slice of a block", with(0x108D, 28), []Place{place(Cell, "gears", 0x108D, 1, 1, 1)},
			"gears at 3000 1/min, 100 %, second: 28 N.m, 3 above the start; the corridor allows 2 up"},
		{"a text", with(0x10A0, 'R'), []Place{place(Table, "label", 0x10A0, 0, 0, 0)}, "label holds another text than at the start; the corridor leaves this table as it is"},
		{"its padding", with(0x10A6, ' '), []Place{place(Table, "label", 0x10A6, 0, 0, 6)}, ""},
		{"sums and an inverse", with(0x10F0, 1, 2, 3, 4, 5), nil, ""},
		{"beside a sum", with(0x10F5, 1), []Place{place(Bytes, "", 0x10F5)}, ""},
		{"learned", with(0x10E1, 1), []Place{place(Bytes, "", 0x10E1)},
			"what lies at 0x10e1, where the controller keeps what it learned, differs from the start; the corridor leaves it as it is"},
		{"the frame number", with(0x1007, '2'), []Place{place(Bytes, "", 0x1007)},
			"what lies at 0x1007, of identity field frame, differs from the start; the corridor leaves it as it is"},
		{"bytes of nothing, one after another and apart", with(0x10C0, 1, 2, 0, 4), []Place{place(Bytes, "", 0x10C0), place(Bytes, "", 0x10C3)}, ""},
		{"in the definition's order", with(0x1040, 20, 0x15, 0), []Place{place(Cell, "tenths", 0x1040, 0, 0, 0), place(Table, "high", 0x1041, 0, 0, 0), place(Table, "mode", 0x1042, 0, 0, 0)}, ""},
	} {
		start, now := image.Whole(0x1000, smallImage()), image.Whole(0x1000, c.now)
		r, err := Check(lay, start, now, bounded)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(r.Outside, c.want) || r.More != 0 {
			t.Errorf("%s: %v and %d more; want %v", c.what, r.Outside, r.More, c.want)
		} else if c.says != "" && Say(lay, start, now, bounded, r.Outside[0]) != c.says {
			t.Errorf("%s: says %q; want %q", c.what, Say(lay, start, now, bounded, r.Outside[0]), c.says)
		}
	}
}

// TestNoMoreThanMost: further places are counted.
func TestNoMoreThanMost(t *testing.T) {
	b := smallImage()
	for i := range 30 {
		b[0xC0+i] = byte(i % 2)
	}
	r, err := Check(layoutOf(t, small), image.Whole(0x1000, smallImage()), image.Whole(0x1000, b), bounded)
	if err != nil || len(r.Outside) != Most || r.More != 15-Most || r.Outside[Most-1].Address != 0x10C1+2*(Most-1) {
		t.Errorf("%v, %v", r, err)
	}
}

// TestUnknownBytes: what an image does not hold is no table's, and a value of which a byte is unknown does not change.
func TestUnknownBytes(t *testing.T) {
	lay := layoutOf(t, small)
	holed := func(b []byte, holes ...image.Range) *image.Image {
		im := image.Whole(0x1000, bytes.Clone(b))
		im.Held = image.Minus(im.Held, holes)
		for _, h := range holes {
			for i := h.Start; i < h.End; i++ {
				im.Bytes[i-0x1000] = 0xFF
			}
		}
		return im
	}
	for _, c := range []struct {
		what string
		hole image.Range
		now  []byte
		want []Place
		says string
	}{
		{"elsewhere", image.Range{Start: 0x10C0, End: 0x10C8}, with(0x1032, 54), nil, ""},
		{"half of a value", image.Range{Start: 0x1048, End: 0x1049}, with(0x1049, 0x11), []Place{place(Cell, "across", 0x1048, 0, 0, 0)}, "across: it differs from the start, and not all of it is known"},
		{"a neighbour's", image.Range{Start: 0x1030, End: 0x1031}, with(0x1032, 54), nil, ""},
		{"a pointer", image.Range{Start: 0x1060, End: 0x1061}, with(0x10B2, 93), []Place{place(Bytes, "", 0x10B2)}, ""},
	} {
		start, now := holed(smallImage(), c.hole), holed(c.now, c.hole)
		r, err := Check(lay, start, now, bounded)
		if err != nil || !reflect.DeepEqual(r.Outside, c.want) {
			t.Errorf("%s: %v, %v; want %v", c.what, r, err, c.want)
		} else if c.says != "" && Say(lay, start, now, bounded, r.Outside[0]) != c.says {
			t.Errorf("%s: says %q", c.what, Say(lay, start, now, bounded, r.Outside[0]))
		}
	}
	if _, err := Check(lay, holed(smallImage()), holed(smallImage(), image.Range{Start: 0x10C0, End: 0x10C8}), bounded); err == nil || !strings.Contains(err.Error(), "other ranges") {
		t.Errorf("one holds less: %v", err)
	}
}

func TestRefused(t *testing.T) {
	lay := layoutOf(t, small)
	im := image.Whole(0x1000, smallImage())
	for _, c := range []struct {
		start, now *image.Image
		bounds     []Bound
		want       string
	}{
		{im, im, []Bound{{"none", 1, 1}}, `definition small has no table "none"; allowed: ignition_base, `},
		{im, im, []Bound{{"mode", 1, 1}}, "table mode holds no numbers"},
		{im, im, []Bound{{"label", 1, 1}}, "table label holds no numbers"},
		{im, im, []Bound{{"boost", -1, 1}}, "table boost: -1 up and 1 down; allowed: finite numbers of at least 0"},
		{im, im, []Bound{{"boost", 1, math.NaN()}}, "table boost: 1 up and NaN down"},
		{im, im, []Bound{{"boost", 1, 1}, {"boost", 2, 1}}, "table boost is named twice"},
		{nil, im, nil, "where the corridor starts: is no image of definition small"},
		{im, image.Whole(0x2000, smallImage()), nil, "the candidate: is no image of definition small"},
		{im, image.Whole(0x1000, smallImage()[:0x80]), nil, "the candidate: is no image of definition small"},
	} {
		if _, err := Check(lay, c.start, c.now, c.bounds); err == nil || !strings.HasPrefix(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v; want %q", err, c.want)
		}
	}
}

// TestSaysAnything: a place that is none of these images' is said without values, and on one line.
func TestSaysAnything(t *testing.T) {
	lay := layoutOf(t, small)
	im := image.Whole(0x1000, smallImage())
	for _, what := range []string{Cell, Table, Axis, Bytes, "", "else"} {
		for _, table := range []string{"", "no\ne", "boost", "ignition_base", "mode", "label", "gears", "far", "real"} {
			for _, at := range [][]uint32{nil, {0}, {0, 0}, {1, 3}, {9, 9}, {0, 0, 0}, {2, 0, 0}, {0, 9, 0}, {0, 0, 9}, {math.MaxUint32, 0, 0}, {0, math.MaxUint32}} {
				for _, now := range []*image.Image{im, nil, image.Whole(0x1000, with(0x1060, 0, 0))} {
					if text := Say(lay, im, now, bounded, Place{what, table, at, 0x1050}); text == "" || strings.ContainsAny(text, "\n\x1b") {
						t.Errorf("%s %s %v: %q", what, table, at, text)
					}
				}
			}
		}
	}
}
