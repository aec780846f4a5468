package doubt

import (
	"slices"
	"strings"
	"testing"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// A packed record with a count in front of each axis' breakpoints: with all used they stand at 0x100, 0x101, 0x105, 0x106 and 0x10a.
const counts = `name: record
byte_order: big
image: {start: 0x100, size: 0x40}
tables:
  - {id: t, unit: deg, stored: {address: 0x10A, type: u8, layout: packed},
     x: {id: t.x, stored: {address: 0x101, type: u8, count: 4, count_at: {address: 0x100, type: u8}}},
     y: {id: t.y, stored: {address: 0x106, type: u8, count: 4, count_at: {address: 0x105, type: u8}}}}
  - {id: end, unit: deg, stored: {address: 0x120, type: u8}}
`

// What belongs to nothing begins where the record ends in the image; where a count leads outside, behind what is told.
func TestCountsInAnImage(t *testing.T) {
	_, all := OfDefinition("d.yaml", []byte(counts))
	want(t, "the definition", all)
	lay, err := definition.Load("d.yaml", []byte(counts))
	if err != nil {
		t.Fatal(err)
	}
	b := make([]byte, 0x40)
	copy(b, []byte{2, 10, 20, 2, 1, 2, 41, 42, 43, 44, 7, 8})
	seen := func(edit func(b []byte), holes ...image.Range) []Doubt {
		im := lay.Space.Whole(slices.Clone(b))
		im.Held = image.Minus(im.Held, holes)
		edit(im.Bytes)
		all, err := OfImage("d.yaml", []byte(counts), lay, im)
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	want(t, "as it is", seen(func([]byte) {}), "notice d.yaml:5: tables[0]: 0x10a to 0x120, after table t: 22 bytes belong to nothing")
	want(t, "the second count is too large", seen(func(b []byte) { b[3] = 5 }), "caution d.yaml:5: tables[0]: in the image: pointer:t: its count at 0x103 is 5",
		"notice d.yaml:5: tables[0]: 0x104 to 0x120, after what says where table t lies: 28 bytes belong to nothing", "notice d.yaml:5: tables[0]: 0x101 to 0x103")
	want(t, "breakpoints that fall and rise", seen(func(b []byte) { copy(b, []byte{3, 10, 20, 10, 1, 1, 41, 42, 43}) }),
		"notice d.yaml:5: tables[0]: 0x109 to 0x120", "caution d.yaml:6: tables[0].x: axis t.x: 1 of 3 breakpoints are out of order")
	// The second count is not held: nothing is asked of what hangs on it.
	lacking := lines(seen(func(b []byte) { b[3], b[2] = 1, 10 }, image.Range{Start: 0x103, End: 0x104}))
	if text := strings.Join(lacking, "\n"); !strings.Contains(text, "not looked at: 0x103 to 0x104 of it are unknown") || strings.Contains(text, "out of order") {
		t.Error(text)
	}
}
