package imported

import (
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/tables/surface"
)

// element is a part of a record as the standard describes one: n values of a size, each part at its border.
type element struct {
	text   string
	size   int
	values []int
}

// TestRandomRecords writes records part by part, at their borders and as long as what is used, and reads them by what was imported
// of their description. What cannot be said is left out, never read as something else; each number in front of what it counts, with
// no borders, can always be said.
func TestRandomRecords(t *testing.T) { rapid.Check(t, randomRecord) }

func randomRecord(t *rapid.T) {
	of := func(name string, lo, hi int) int { return rapid.IntRange(lo, hi).Draw(t, name) }
	sizes := map[string]int{"UBYTE": 1, "UWORD": 2, "ULONG": 4}
	kind := func(name string) string { return rapid.SampledFrom([]string{"UBYTE", "UWORD", "ULONG"}).Draw(t, name) }
	borders := map[int]int{1: 1, 2: of("word border", 1, 2), 4: 1 << of("long border", 0, 2)}
	var parts []element
	var axes string
	var points [][]float64
	cells := 1
	letters, n := []string{"X", "Y", "Z"}, of("axes", 1, 3)
	for i := range n {
		most := of("most", 1, 4)
		used := most
		if of("counted", 0, 2) > 0 {
			used = of("used", 1, most)
			k := kind("number")
			parts = append(parts, element{"NO_AXIS_PTS_" + letters[i] + " %d " + k, sizes[k], []int{used}})
		}
		k, e := kind("breakpoints"), element{}
		var said []float64
		for range used {
			e.values = append(e.values, of("point", 0, 255))
			said = append(said, float64(e.values[len(e.values)-1]))
		}
		e.text, e.size = "AXIS_PTS_"+letters[i]+" %d "+k+" INDEX_INCR DIRECT", sizes[k]
		parts, points, cells = append(parts, e), append(points, said), cells*used
		axes += std(fmt.Sprint("n", i), "NO_COMPU_METHOD", most)
	}
	k, values := kind("values"), element{}
	var want []float64
	for range cells {
		values.values = append(values.values, of("value", 0, 255))
		want = append(want, float64(values.values[len(values.values)-1]))
	}
	values.text, values.size = "FNC_VALUES %d "+k+" ROW_DIR DIRECT", sizes[k]
	parts = append(parts, values)
	ordered := of("another order", 0, 3) > 0
	if !ordered {
		parts = rapid.Permutation(parts).Draw(t, "order")
	}
	var layout strings.Builder
	var b []byte
	for i, e := range parts {
		fmt.Fprintf(&layout, e.text+" ", i+1)
		b = append(b, make([]byte, (borders[e.size]-len(b)%borders[e.size])%borders[e.size])...)
		for _, v := range e.values {
			b = append(b, binary.LittleEndian.AppendUint32(nil, uint32(v))[:e.size]...)
		}
	}
	text := fmt.Sprintf(`/begin MOD_COMMON "" BYTE_ORDER MSB_LAST ALIGNMENT_BYTE 1 ALIGNMENT_WORD %d ALIGNMENT_LONG %d /end MOD_COMMON
		/begin RECORD_LAYOUT L %s /end RECORD_LAYOUT /begin CHARACTERISTIC t "" %s 0x1000 L 0 NO_COMPU_METHOD 0 255 %s /end CHARACTERISTIC
		/begin CHARACTERISTIC end "" VALUE 0x1400 B 0 NO_COMPU_METHOD 0 9 /end CHARACTERISTIC `,
		borders[2], borders[4], layout.String(), []string{"CURVE", "MAP", "CUBOID"}[n-1], axes)
	r, err := A2L(module(t, text+layouts), Options{})
	if err != nil {
		t.Fatal(err)
	}
	lay := loaded(t, r)
	table := lay.ByID["t"]
	if table == nil {
		if ordered && borders[2]*borders[4] == 1 {
			t.Fatalf("left out: %v\n%s", r.Said, text)
		}
		return
	}
	d := surface.Decode(table, imageOf(lay, 0x1000, fmt.Sprintf("%x", b)))
	if d.Astray != nil {
		t.Fatalf("%v\n%s", d.Astray, text)
	}
	image := imageOf(lay, 0x1000, fmt.Sprintf("%x", b))
	for i, a := range d.Table.Axes {
		if got := a.Breakpoints(image); !slices.Equal(got, points[i]) {
			t.Fatalf("axis %d is %v, want %v\n%s", i, got, points[i], text)
		}
	}
	if !slices.Equal(d.Values, want) {
		t.Fatalf("got %v, want %v\n%s", d.Values, want, text)
	}
}
