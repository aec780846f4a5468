package surface

import (
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"witnessmark/tables/definition"
)

// structures are tables as controllers keep them, each with its bytes written out by hand in both byte orders. Blanks part what
// belongs together, ee is what nothing reads. The semantics are those of this format's own description; no source.
var structures = []struct {
	name, tables, big, little, want string
}{
	{"codes",
		`- {id: t, unit: deg, stored: {address: 0x100, type: u16, not_a_value: [0xFFFF, 0]}, conversion: {factor: 0.5}, x: {points: [1, 2, 3, 4]}}`,
		"0002 ffff 0000 fffe", "0200 ffff 0000 feff", "t curve x=[1 2 3 4] [[1 - - 32767]]"},
	{"codes of a signed part of a word",
		`- {id: t, unit: deg, stored: {address: 0x100, type: s16, mask: 0x0FF0, not_a_value: [-1, -128]}, x: {points: [1, 2, 3]}}`,
		"0ff0 f80f f01f", "f00f 0ff8 1ff0", "t curve x=[1 2 3] [[- - 1]]"},
	{"cells that run down",
		`- {id: t, unit: deg, stored: {address: 0x104, type: u16, reversed: true}, x: {points: [1, 2, 3]}}`,
		"0003 0002 0001", "0300 0200 0100", "t curve x=[1 2 3] [[1 2 3]]"},
	{"a map that runs down, its axis too",
		`- {id: t, unit: deg, stored: {address: 0x107, type: u8, reversed: true}, x: {stored: {address: 0x101, type: u8, count: 2, reversed: true}}, y: {points: [7, 8, 9]}}`,
		"14 0a  06 05 04 03 02 01", "14 0a  06 05 04 03 02 01", "t map x=[10 20] y=[7 8 9] [[1 2] [3 4] [5 6]]"},
	{"a map that runs down, y fastest, with strides",
		`- {id: t, unit: deg, order: y_fastest, stored: {address: 0x110, type: u16, stride: 3, row_stride: 10, reversed: true}, x: {points: [1, 2]}, y: {points: [7, 8, 9]}}`,
		"0006 ee 0005 ee 0004 ee ee 0003 ee 0002 ee 0001", "0600 ee 0500 ee 0400 ee ee 0300 ee 0200 ee 0100", "t map x=[1 2] y=[7 8 9] [[1 4] [2 5] [3 6]]"},
	{"names along an axis",
		`- {id: t, unit: deg, stored: {address: 0x100, type: u8}, x: {labels: [first, second]}, y: {quantity: gear, labels: [low, high]}}`,
		"01 02 03 04", "01 02 03 04", "t map x=[first second] y=[low high] [[1 2] [3 4]]"},
	{"points, straight between, held outside",
		`- {id: t, unit: Cel, stored: {address: 0x100, type: u8}, conversion: {points: {raw: [10, 110, 210], physical: [-40, 60, 0]}}, x: {points: [1, 2, 3, 4, 5, 6]}}`,
		"00 0a 3c 6e a0 ff", "00 0a 3c 6e a0 ff", "t curve x=[1 2 3 4 5 6] [[-40 -40 10 60 30 0]]"},
	{"points in steps, a number outside",
		`- {id: t, unit: Cel, stored: {address: 0x100, type: u8}, conversion: {points: {raw: [10, 110, 210], physical: [-40, 60, 0], between: step, outside: 150}}, x: {points: [1, 2, 3, 4, 5, 6, 7]}}`,
		"00 0a 6d 6e d1 d2 d3", "00 0a 6d 6e d1 d2 d3", "t curve x=[1 2 3 4 5 6 7] [[150 -40 -40 60 60 0 150]]"},
	{"points along an axis",
		`- {id: t, unit: deg, stored: {address: 0x102, type: u8}, x: {stored: {address: 0x100, type: u8, count: 2}, conversion: {points: {raw: [0, 255], physical: [-40, 215]}}}}`,
		"00 64 01 02", "00 64 01 02", "t curve x=[-40 60] [[1 2]]"},
	{"text",
		`- {id: t, kind: text, encoding: ascii, stored: {address: 0x100, length: 8}}
  - {id: u, kind: text, encoding: utf-8, stored: {address: 0x100, length: 8}}`,
		"41c3a95c 42 20 00 00", "41c3a95c 42 20 00 00", `t text "A\xc3\xa9\\B"; u text "Aé\\B"`},
	{"text behind a pointer",
		`- {id: t, kind: text, encoding: ascii, stored: {address: 0x100, length: 3, pointer: u16}}`,
		"0103 ee 5631 37", "0301 ee 5631 37", `t text "V17"`},
	{"a count, all of it fixed",
		`- {id: t, unit: deg, stored: {address: 0x107, type: u16}, x: {stored: {address: 0x101, type: u16, count: 3, count_at: {address: 0x100, type: u8}}}, y: {points: [7, 8]}}`,
		"02 000a 0014 eeee  0001 0002 eeee 0003 0004 eeee", "02 0a00 1400 eeee  0100 0200 eeee 0300 0400 eeee", "t map x=[10 20] y=[7 8] [[1 2] [3 4]]"},
	{"a count, packed",
		`- {id: t, unit: deg, stored: {address: 0x107, type: u16, layout: packed}, x: {stored: {address: 0x101, type: u16, count: 3, count_at: {address: 0x100, type: u8}}}, y: {points: [7, 8]}}`,
		"02 000a 0014  0001 0002 0003 0004  eeee eeee eeee", "02 0a00 1400  0100 0200 0300 0400  eeee eeee eeee", "t map x=[10 20] y=[7 8] [[1 2] [3 4]]"},
	{"two counts, packed, the axis says so",
		`- {id: t, unit: deg, stored: {address: 0x10A, type: u16},
      x: {stored: {address: 0x102, type: u8, count: 4, count_at: {address: 0x100, type: u8}}},
      y: {stored: {address: 0x106, type: u8, count: 4, layout: packed, count_at: {address: 0x101, type: u8}}}}`,
		"0302 0a141e 0708 0001 0002 0003 0004 0005 0006" + strings.Repeat("ee", 25), "0302 0a141e 0708 0100 0200 0300 0400 0500 0600" + strings.Repeat("ee", 25),
		"t map x=[10 20 30] y=[7 8] [[1 2 3] [4 5 6]]"},
	{"two counts, packed, y fastest",
		`- {id: t, unit: deg, order: y_fastest, stored: {address: 0x10A, type: u8, layout: packed},
      x: {stored: {address: 0x102, type: u8, count: 4, count_at: {address: 0x100, type: u8}}},
      y: {stored: {address: 0x106, type: u8, count: 4, count_at: {address: 0x101, type: u8}}}}`,
		"0302 0a141e 0708 01 04 02 05 03 06" + strings.Repeat("ee", 15), "0302 0a141e 0708 01 04 02 05 03 06" + strings.Repeat("ee", 15),
		"t map x=[10 20 30] y=[7 8] [[1 2 3] [4 5 6]]"},
	{"packed, and all of it runs down",
		`- {id: t, unit: deg, stored: {address: 0x106, type: u8, layout: packed, reversed: true}, x: {stored: {address: 0x103, type: u8, count: 3, reversed: true, count_at: {address: 0x100, type: u8}}}, y: {points: [7]}}`,
		"02 140a 02 01", "02 140a 02 01", "t map x=[10 20] y=[7] [[1 2]]"},
	{"a count of a shared axis",
		`- {id: t, unit: deg, stored: {address: 0x108, type: u8}, x: {axis: counted}}
  - {id: u, unit: deg, stored: {address: 0x10C, type: u8, layout: packed}, x: {points: [1, 2]}, y: {axis: counted}}`,
		"0002 000a 0014 eeee  0102 eeee  0304 0506 eeee", "0200 0a00 1400 eeee  0102 eeee  0304 0506 eeee", "t curve x=[10 20] [[1 2]]; u map x=[1 2] y=[10 20] [[3 4] [5 6]]"},
	{"pointers, the axis' own too",
		`- {id: t, unit: deg, stored: {address: 0x102, type: u16, pointer: u32}, x: {stored: {address: 0x100, type: u16, count: 2, pointer: u16}}}`,
		"0106 0000010c eeee eeee eeee 0001 0002", "0601 0c010000 eeee eeee eeee 0100 0200", "t curve x=[61166 61166] [[1 2]]"},
	{"a pointer to cells that run down",
		`- {id: t, unit: deg, stored: {address: 0x100, type: u16, pointer: u24, reversed: true}, x: {points: [1, 2]}}`,
		"000106 ee 0002 0001", "060100 ee 0200 0100", "t curve x=[1 2] [[1 2]]"},
	{"a block",
		`- {id: t, unit: deg, stored: {address: 0x100, type: u16}, axes: [{points: [1, 2, 3]}, {points: [7, 8]}, {labels: [warm, cold]}]}`,
		"0001 0002 0003 0004 0005 0006  0007 0008 0009 000a 000b 000c", "0100 0200 0300 0400 0500 0600  0700 0800 0900 0a00 0b00 0c00",
		"t block x=[1 2 3] y=[7 8] {warm [[1 2 3] [4 5 6]]} {cold [[7 8 9] [10 11 12]]}"},
	{"a block, y fastest, four axes",
		`- {id: t, unit: deg, order: y_fastest, stored: {address: 0x100, type: u8}, axes: [{points: [1, 2]}, {points: [7, 8]}, {points: [4, 5]}, {labels: [a, b]}]}`,
		"01 03 02 04 05 07 06 08 09 0b 0a 0c 0d 0f 0e 10", "01 03 02 04 05 07 06 08 09 0b 0a 0c 0d 0f 0e 10",
		"t block x=[1 2] y=[7 8] {4 a [[1 2] [3 4]]} {5 a [[5 6] [7 8]]} {4 b [[9 10] [11 12]]} {5 b [[13 14] [15 16]]}"},
	{"a block of which not all is used, fixed",
		`- {id: t, unit: deg, stored: {address: 0x103, type: u8}, axes: [{stored: {address: 0x200, type: u8, count: 3, count_at: {address: 0x100, type: u8}}},
      {stored: {address: 0x200, type: u8, count: 2, count_at: {address: 0x101, type: u8}}}, {stored: {address: 0x200, type: u8, count: 2, count_at: {address: 0x102, type: u8}}}]}`,
		"020102 0102ee eeeeee 0304ee eeeeee", "020102 0102ee eeeeee 0304ee eeeeee", "t block x=[0 0] y=[0] {0 [[1 2]]} {0 [[3 4]]}"},
	{"a block of which not all is used, packed and running down",
		`- {id: t, unit: deg, stored: {address: 0x10E, type: u8, layout: packed, reversed: true, not_a_value: [3]}, axes: [{stored: {address: 0x200, type: u8, count: 3, count_at: {address: 0x100, type: u8}}},
      {stored: {address: 0x200, type: u8, count: 2, count_at: {address: 0x101, type: u8}}}, {stored: {address: 0x200, type: u8, count: 2, count_at: {address: 0x102, type: u8}}}]}`,
		"020102 04 03 02 01 ee eeeeee eeeeee", "020102 04 03 02 01 ee eeeeee eeeeee", "t block x=[0 0] y=[0] {0 [[1 2]]} {0 [[- 4]]}"},
}

const structuresHead = `name: d
byte_order: %s
image: {regions: [{start: 0x100, size: 0x80}, {start: 0x200, size: 0x10}]}
axes:
  - {id: counted, stored: {address: 0x102, type: u16, count: 3, count_at: {address: 0x100, type: u16}}}
tables:
  %s
`

// pack is an image of the definition above whose first region begins with bytes written in hex; ee fills what is left of it,
// 0 the second one.
func pack(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil || len(b) > 0x80 {
		t.Fatalf("%s: %v", text, err)
	}
	return append(append(b, []byte(strings.Repeat("\xee", 0x80-len(b)))...), make([]byte, 0x10)...)
}

func TestStructures(t *testing.T) {
	for _, s := range structures {
		for order, text := range map[string]string{"big": s.big, "little": s.little} {
			lay, err := definition.Load("d", fmt.Appendf(nil, structuresHead, order, s.tables))
			if err != nil {
				t.Errorf("%s: %v", s.name, err)
				continue
			}
			var got []string
			for _, table := range lay.Tables {
				got = append(got, show(Decode(table, pack(t, text))))
			}
			if all := strings.Join(got, "; "); all != s.want {
				t.Errorf("%s, %s:\n%s, want\n%s", s.name, order, all, s.want)
			}
		}
	}
}

// show writes what was decoded; - is a code that is no value.
func show(d *Decoded) string {
	if d.Astray != nil {
		return d.Astray.Error()
	}
	out := d.Table.ID + " " + d.Table.Kind
	if d.Table.Kind == "text" {
		return fmt.Sprintf("%s \"%s\"", out, d.Text)
	}
	for i, points := range [][]float64{d.X, d.Y} {
		if points == nil {
			continue
		}
		out += " " + "xy"[i:i+1] + "="
		if labels := d.Table.Axes[i].Labels; labels != nil {
			out += fmt.Sprint(labels)
		} else {
			out += fmt.Sprint(points)
		}
	}
	if d.Slices == nil {
		return out + " " + rows(d)
	}
	for _, s := range d.Slices {
		out += " {"
		for _, at := range s.Table.Slice.At {
			if at.Label != "" {
				out += at.Label + " "
			} else {
				out += fmt.Sprint(at.Point) + " "
			}
		}
		out += rows(s) + "}"
	}
	return out
}

func rows(d *Decoded) string {
	all := make([][]string, d.NY)
	for i := range d.Bits {
		text := fmt.Sprint(d.Values[i])
		if d.Off != nil && d.Off[i] {
			text = "-"
		}
		all[i/d.NX] = append(all[i/d.NX], text)
	}
	return fmt.Sprint(all)
}
