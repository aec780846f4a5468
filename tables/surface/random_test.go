package surface

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/tables/definition"
)

// drawnTable is a table that was drawn, with what it must be read as.
type drawnTable struct {
	packed
	text  string
	axes  []*packedAxis
	codes []int64
	conv  func(raw float64) float64
}

var conversions = []struct {
	text string
	of   func(raw float64) float64
}{
	{"{factor: 0.75, offset: -48}", func(raw float64) float64 { return raw*0.75 - 48 }},
	{"{rational: {num: [1000], den: [1, 1]}}", func(raw float64) float64 { return 1000 / (1 + raw) }},
	{"{points: {raw: [0, 10, 200], physical: [5, -5, 45], between: step, outside: 99}}", func(raw float64) float64 {
		switch {
		case raw < 0 || raw > 200:
			return 99
		case raw == 200:
			return 45
		case raw >= 10:
			return -5
		}
		return 5
	}},
	{"{points: {raw: [-8, 8], physical: [0, 32]}}", func(raw float64) float64 { return 2 * (min(max(raw, -8), 8) + 8) }},
}

// table draws a table with its axes, and writes them.
func (p *packer) table(id string) *drawnTable {
	t := &drawnTable{packed: p.word("u8", "s8", "u16", "s16", "u24", "s32", "u64", "s64")}
	t.yFastest = p.yes("y fastest")
	compact := p.yes("compact")
	var most, used []int
	var parts []*packed
	var said []string
	counts := 0 // parts up to the last count
	for range []int{0, 1, 2, 2, 3, 4}[p.of("axes", 0, 5)] {
		a := &packedAxis{}
		if len(p.axes) > 0 && p.yes("shared") {
			k := p.of("which", 0, len(p.axes)-1)
			a = p.axes[k]
			said = append(said, fmt.Sprintf("{axis: s%d}", k))
		} else {
			if a = p.axis(true); a.count != nil && a.pointer { // it says nothing of where the others lie
				parts, counts = slices.Insert(parts, 0, a.count), counts+1
			} else if a.count != nil {
				parts = append(parts, a.count)
				counts = len(parts)
			}
			if a.size > 0 && !a.pointer {
				parts = append(parts, &a.packed)
			}
			said = append(said, "")
		}
		t.axes, most, used = append(t.axes, a), append(most, a.most[0]), append(used, a.used[0])
	}
	t.yFastest = t.yFastest && len(most) > 1
	if len(most) > 1 && p.yes("row stride") {
		fast := most[0]
		if t.yFastest {
			fast = most[1]
		}
		t.row = fast*t.step + p.of("row stride", 0, 3)
	}
	p.along(&t.packed, most, used)
	room := most
	if compact {
		room = used
	}
	if t.pointer = p.yes("pointer"); t.pointer {
		t.follow(p, room)
	} else {
		first := 0
		if compact { // where its rows end hangs on all counts
			first = counts
		}
		parts = slices.Insert(parts, p.of("place", first, len(parts)), &t.packed)
	}
	p.record(parts, compact)
	for i, a := range t.axes {
		if said[i] == "" {
			said[i] = a.said(p)
		}
	}
	return p.say(id, t, said, compact)
}

// say draws what the raw values mean, and writes the table into the definition.
func (p *packer) say(id string, t *drawnTable, said []string, compact bool) *drawnTable {
	more := ""
	if compact {
		more = ", layout: packed"
	}
	if p.yes("codes") {
		t.codes = []int64{number(&t.packed, t.bits[0])}
		if t.codes[0] < 0 && t.kind[0] == 'u' { // beyond what a code can be
			t.codes = nil
		} else {
			more += fmt.Sprintf(", not_a_value: %v", t.codes)
		}
	}
	conv := conversions[p.of("conversion", 0, len(conversions)-1)]
	t.conv = conv.of
	t.text = fmt.Sprintf("{id: %s, unit: deg, conversion: %s, stored: %s", id, conv.text, t.stored(p, more))
	if t.yFastest {
		t.text += ", order: y_fastest"
	}
	switch n := len(said); {
	case n > 2:
		t.text += ", axes: [" + strings.Join(said, ", ") + "]"
	case n > 1:
		t.text += ", x: " + said[0] + ", y: " + said[1]
	case n > 0:
		t.text += ", x: " + said[0]
	}
	t.text += "}"
	return t
}

// TestRandomStructures reads what was written of random definitions over all structures, and compares each cell and breakpoint.
// A failure prints the seed that replays it.
func TestRandomStructures(t *testing.T) {
	for range 10 {
		rapid.Check(t, randomStructures)
	}
}

func randomStructures(t *rapid.T) {
	p := &packer{T: t}
	file := "name: d\nbyte_order: big\naxes:\n"
	for k := range p.of("shared axes", 0, 2) {
		a := p.axis(false)
		p.axes = append(p.axes, a)
		file += fmt.Sprintf("  - {id: s%d, %s\n", k, a.said(p)[1:])
	}
	if len(p.axes) == 0 {
		file = strings.TrimSuffix(file, "axes:\n")
	}
	file += "tables:\n"
	var tables []*drawnTable
	for k := range p.of("tables", 1, 3) {
		if p.border == 0 && p.yes("border") {
			p.border = len(p.bytes)
		}
		tables = append(tables, p.table(fmt.Sprintf("t%d", k)))
		file += "  - " + tables[k].text + "\n"
	}
	p.room(1 << 13) // for what there could be at the most behind a pointer
	file += p.image()
	lay, err := definition.Load("d", []byte(file))
	if err != nil {
		t.Fatalf("%v\n%s", err, file)
	}
	for k, want := range tables {
		d := Decode(lay.Tables[k], p.bytes)
		if d.Astray != nil {
			t.Fatalf("%v\n%s", d.Astray, file)
		}
		want.compare(t, d, p.bytes, file)
	}
}

func (w *drawnTable) compare(t *rapid.T, d *Decoded, b []byte, file string) {
	if !slices.Equal(d.Bits, w.bits) {
		t.Fatalf("%s holds %x, want %x\n%s", d.Table.ID, d.Bits, w.bits, file)
	}
	for i, bits := range w.bits {
		raw := float64(number(&w.packed, bits))
		if w.kind == "u64" {
			raw = float64(bits)
		}
		off := len(w.codes) > 0 && bits == w.bits[0]
		want := w.conv(raw)
		if got := d.Values[i]; off != (d.Off != nil && d.Off[i]) || off != (math.IsNaN(got) && !math.IsNaN(want)) || !off && got != want && !(math.Abs(got-want) <= 1e-15*math.Abs(want)) {
			t.Fatalf("%s cell %d, raw %v, is %v (off %v), want %v (off %v)\n%s", d.Table.ID, i, raw, got, d.Off, want, off, file)
		}
	}
	all := d.Table.Slices(b)
	if (len(w.axes) > 2) != (all != nil) || len(all) != len(d.Slices) {
		t.Fatalf("%d axes, %d slices\n%s", len(w.axes), len(all), file)
	}
	for i, a := range w.axes {
		got := d.Table.Axes[i]
		if !slices.Equal(got.Breakpoints(b), a.points) || !slices.Equal(got.Labels, a.labels) {
			t.Fatalf("%s axis %d is %v %v, want %v %v\n%s", d.Table.ID, i, got.Breakpoints(b), got.Labels, a.points, a.labels, file)
		}
	}
	w.accounts(t, d, b, file)
}

// accounts holds the cells of all slices, as one grid, against where the bytes of each slice lie.
func (w *drawnTable) accounts(t *rapid.T, d *Decoded, b []byte, file string) {
	if d.Slices == nil {
		return
	}
	in := map[uint64]bool{}
	for _, s := range d.Slices {
		for _, r := range s.Table.Cells.Ranges() {
			for at := r.Start; at < r.End; at++ {
				in[at] = true
			}
		}
	}
	covered := 0
	for _, r := range d.Table.Cells.Ranges() {
		for at := r.Start; at < r.End; at++ {
			if covered++; !in[at] && w.row == 0 && slices.Equal(w.most, w.used) {
				t.Fatalf("%s: the byte at offset 0x%x belongs to no slice\n%s", d.Table.ID, at, file)
			}
			delete(in, at)
		}
	}
	if len(in) > 0 {
		t.Fatalf("%s: %d bytes of slices belong to no cell of the block\n%s", d.Table.ID, len(in), file)
	}
}
