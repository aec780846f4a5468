package definition

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"witnessmark/tables/image"
)

// record is a map whose parts follow each other as the standard's own record has them: a count, its breakpoints, the other count, its
// breakpoints, the values. With all used they stand at 0x100, 0x101, 0x105, 0x107 and 0x10c.
const record = `name: record
byte_order: big
image: {start: 0x100, size: 0x40}
tables:
  - {id: t, unit: deg, stored: {address: 0x10C, type: u8, layout: packed},
     x: {stored: {address: 0x101, type: u8, count: 4, count_at: {address: 0x100, type: u8}}},
     y: {stored: {address: 0x107, type: u8, count: 5, count_at: {address: 0x105, type: u16}}}}
`

// twoByThree has two columns and three rows: what it does not use leaves the second count two bytes further up, the values four.
var twoByThree = []byte{2, 10, 20, 0, 3, 1, 2, 3, 41, 42, 43, 44, 45, 46}

func compiled(t *testing.T, doc string, bytes ...byte) (*Layout, []byte) {
	t.Helper()
	lay, err := Load("d.yaml", []byte(doc))
	if err != nil {
		t.Fatal(err)
	}
	return lay, append(bytes, make([]byte, int(lay.Size)-len(bytes))...)
}

// offsets are where cells begin.
func offsets(all []*Cells) (out []uint64) {
	for _, c := range all {
		out = append(out, c.Offset)
	}
	return out
}

func TestCountsMoveUp(t *testing.T) {
	lay, b := compiled(t, record, twoByThree...)
	declared := lay.Tables[0]
	in, err := declared.In(b)
	if err != nil {
		t.Fatal(err)
	}
	if got := offsets(declared.Directions()); !slices.Equal(got, []uint64{0, 5}) {
		t.Errorf("with all used the counts stand at %x", got)
	}
	if got := offsets(in.Directions()); !slices.Equal(got, []uint64{0, 3}) {
		t.Errorf("the counts stand at %x", got)
	}
	if x, y := in.X.Breakpoints(b), in.Y.Breakpoints(b); !slices.Equal(x, []float64{10, 20}) || !slices.Equal(y, []float64{1, 2, 3}) {
		t.Errorf("x %v, y %v", x, y)
	}
	if in.Cells.Offset != 8 || in.Cells.Physical(b, 2, 1) != 46 {
		t.Errorf("%+v", in.Cells)
	}
	// With all used it lies as declared; and so does each part of a record that is not packed.
	b[0], b[5], b[6] = 4, 0, 5
	if in, err := declared.In(b); err != nil || in.Cells.Offset != 0xC || in.Directions()[1].Offset != 5 {
		t.Errorf("%v, %v", in, err)
	}
	lay, b = compiled(t, strings.Replace(record, ", layout: packed", "", 1), 2, 10, 20, 0, 0, 0, 3)
	if in, err := lay.Tables[0].In(b); err != nil || in.Cells.Offset != 0xC || in.Y.Count != 3 || in.Directions()[1].Offset != 5 {
		t.Errorf("%v, %v", in, err)
	}
}

// What is told of pointers and counts where one of them leads outside, or is lacking.
func TestCountsAsFarAsTold(t *testing.T) {
	for _, tt := range []struct {
		name    string
		bytes   []byte
		lacking int // offset, or -1
		told    []uint64
		err     string
	}{
		{"all", twoByThree, -1, []uint64{0, 3}, ""},
		{"the first is 0", []byte{0, 10, 20, 0, 3}, -1, []uint64{0}, "axis t.x: its count at 0x100 is 0; allowed: 1 to 4"},
		{"the second is too large", []byte{2, 10, 20, 0, 6}, -1, []uint64{0, 3}, "axis t.y: its count at 0x103 is 6; allowed: 1 to 5"},
		{"the first is lacking", twoByThree, 0, []uint64{0}, ErrUnknown.Error()},
		{"the second is lacking", twoByThree, 4, []uint64{0, 3}, ErrUnknown.Error()},
		{"where the second would stand", twoByThree, 6, []uint64{0, 3}, ""},
	} {
		lay, b := compiled(t, record, tt.bytes...)
		in, told, err := lay.Tables[0].Found(b, func(c *Cells) bool {
			return tt.lacking < 0 || !c.Touches(image.Range{Start: uint64(tt.lacking), End: uint64(tt.lacking) + 1})
		})
		if got := offsets(told); !slices.Equal(got, tt.told) || (in == nil) != (err != nil) || fmt.Sprint(err) == "<nil>" != (tt.err == "") || err != nil && !strings.HasSuffix(err.Error(), tt.err) {
			t.Errorf("%s: told %x, %v", tt.name, got, err)
		}
	}
}

func TestCountsInHoles(t *testing.T) {
	lay, whole := compiled(t, record, twoByThree...)
	for at, lacks := range []bool{true, true, true, true, true, true, true, true, true, true, true, true, true, true, false, false} {
		hole := []image.Range{{Start: 0x100 + uint64(at), End: 0x101 + uint64(at)}}
		im := lay.Space.Whole(slices.Clone(whole))
		im.Held, im.Bytes[at] = image.Minus(im.Held, hole), 0xFF
		if lay.Holds(im, lay.Tables[0]) == lacks {
			t.Errorf("without 0x%x it holds the table: %v", 0x100+at, !lacks)
		}
		if got := lay.Lacks(im); lacks != slices.Equal(got, hole) {
			t.Errorf("without 0x%x it lacks %x", 0x100+at, got)
		}
	}
}

var recordRefusals = []refusal{
	{"count_at: {address: 0x105, type: u16}", "count_at: {address: 0x10B, type: u8}", 7, "tables[0].y.stored.count_at", "it moves up with the breakpoints of axis t.y"},
	{"count_at: {address: 0x100", "count_at: {address: 0x105", 6, "tables[0].x.stored.count_at", "it moves up with the breakpoints of axis t.x, whose number is not known before it is read"},
	{"count_at: {address: 0x100", "count_at: {address: 0x130", 7, "tables[0].y.stored.count_at", "it moves up with the breakpoints of axis t.x"},
	{"stored: {address: 0x10C", "stored: {address: 0x0FF", 5, "tables[0].stored", "outside"},
	{"count_at: {address: 0x105, type: u16}}}}", "count_at: {address: 0x105, type: u16}}}}\nvolatile: [{start: 0x106, end: 0x107}]", 8, "volatile[0]", `overlaps the count of axis "t.y"`},
}

func TestRefusedCounts(t *testing.T) {
	refuseAll(t, record, recordRefusals)
	// The cells before a count: their rows are as long as what it says.
	before := strings.NewReplacer("start: 0x100", "start: 0x100", "0x10C", "0x100", "0x100", "0x11C", "0x101", "0x11D", "0x105", "0x121", "0x107", "0x123").Replace(record)
	refuseAll(t, before, []refusal{{"unit: deg", "unit: ms", 6, "tables[0].x.stored.count_at", "it moves up with the cells"}})
	// Behind all parts, or of an axis that others share, a count stays where it is.
	for _, doc := range []string{
		strings.Replace(record, "address: 0x105, type: u16", "address: 0x130, type: u16", 1),
		strings.Replace(strings.Replace(record, "tables:", "axes: [{id: s, stored: {address: 0x107, type: u8, count: 5, count_at: {address: 0x105, type: u16}}}]\ntables:", 1),
			"y: {stored: {address: 0x107, type: u8, count: 5, count_at: {address: 0x105, type: u16}}}", "y: {axis: s}", 1),
	} {
		lay, b := compiled(t, doc, 2, 10, 20, 0, 0, 0, 3)
		b[0x31] = 3
		if in, err := lay.Tables[0].In(b); err != nil || !slices.Equal(offsets(in.Directions()), offsets(lay.Tables[0].Directions())) || in.Y.Count != 3 {
			t.Errorf("%v, %v", in, err)
		}
	}
}

// A volatile range is kept off all bytes where a count can stand: of three breakpoints two bytes apart one may be used, and nothing
// else comes to lie between the first two.
func TestKeepsWhereCountsCanStand(t *testing.T) {
	apart := strings.NewReplacer("type: u8, count: 4", "type: u8, stride: 2, count: 3", "0x105, type: u16", "0x106, type: u8").Replace(record)
	compiled(t, apart)
	refuseAll(t, apart, []refusal{{"tables:\n", "volatile: [{start: 0x102, end: 0x103}]\ntables:\n", 4, "volatile[0]", `the count of axis "t.y"`}})
}

// Two axes on the same bytes leave more free than lies before a count: it stays in its region.
func TestCountsStayInTheirRegion(t *testing.T) {
	const doc = `{name: d, byte_order: big, image: {regions: [{start: 0xF0, size: 12}, {start: 0x100, size: 0x40}]}, tables: [{id: t, unit: deg, stored: {address: 0x10A, type: u8, layout: packed}, axes: [
  {stored: {address: 0x102, type: u8, count: 5, count_at: {address: 0x100, type: u8}}}, {stored: {address: 0x102, type: u8, count: 5, count_at: {address: 0x101, type: u8}}},
  {stored: {address: 0x109, type: u8, count: 1, count_at: {address: 0x107, type: u8}}}]}]}`
	lay, b := compiled(t, doc)
	b[12], b[13] = 2, 1 // seven bytes further up it is the first axis' count: 2 of 1
	if _, err := lay.Tables[0].In(b); err == nil || !strings.Contains(err.Error(), "axis t.z: its count at 0x100 is 2; allowed: 1 to 1") {
		t.Error(err)
	}
	b[12] = 1 // eight bytes, into what lies between the regions
	if _, err := lay.Tables[0].In(b); err == nil || !strings.Contains(err.Error(), "axis t.z: its count at 0x107 moves up by 8 bytes, out of the region that it stands in; allowed: 0xf0 to 0xfc, 0x100 to 0x140") {
		t.Error(err)
	}
}
