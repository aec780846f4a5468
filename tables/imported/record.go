package imported

import (
	"fmt"
	"math"

	"witnessmark/tables/a2l"
	"witnessmark/tables/image"
)

// record is where the parts of an object lie where every axis is at its most.
type record struct {
	layout *a2l.Layout
	at     []uint64 // of each element, an address
	counts [5]uint64
}

// defaults are borders where neither the layout nor the module says one. For doubles readers of the standard disagree.
var defaults = a2l.Align{"BYTE": 1, "WORD": 2, "LONG": 4, "INT64": 8, "FLOAT16_IEEE": 2, "FLOAT32_IEEE": 4, "FLOAT64_IEEE": 4}

// border is the alignment of an element; sure is false where it is not said and readers disagree.
func (im *importer) border(l *a2l.Layout, e a2l.Element) (n uint64, sure bool) {
	key := dataTypes[e.Type].border
	if e.Address != "" && e.Address != "DIRECT" {
		key = pointers[e.Address].border
	}
	for _, said := range []a2l.Align{l.Align, im.m.Align} {
		if n, sure = said[key]; sure {
			return n, true
		}
	}
	return defaults[key], key != "FLOAT64_IEEE"
}

// record lays an object out. Its first part lies at its address as it is written, every other one at its own border.
func (im *importer) record(l *a2l.Layout, start uint64, counts [5]uint64, cells uint64) (*record, error) {
	r := &record{layout: l, counts: counts}
	at := start
	for i, e := range l.Elements {
		if i > 0 {
			if e.Position == l.Elements[i-1].Position {
				return nil, fmt.Errorf("record layout %s has two parts at position %d", l.Name, e.Position)
			}
			border, sure := im.border(l, e)
			aligned := up(at, border)
			switch {
			case !sure && aligned != up(at, 8):
				return nil, fmt.Errorf("how doubles are aligned is not said, and readers disagree; allowed: ALIGNMENT_FLOAT64_IEEE in record layout %s or MOD_COMMON", l.Name)
			case aligned != start+up(at-start, border):
				return nil, fmt.Errorf("it begins at 0x%x, where its parts are not aligned by %d bytes as record layout %s asks", start, border, l.Name)
			}
			at = aligned
		}
		r.at = append(r.at, at)
		if at += elementSize(e, counts, cells); at > math.MaxUint32+1 {
			return nil, fmt.Errorf("it reaches beyond the address 0xffffffff")
		}
	}
	im.used = append(im.used, image.Range{Start: start, End: at})
	return r, nil
}

func up(at, border uint64) uint64 { return (at + border - 1) / border * border }

// elementSize is in bytes. Counts are bounded, so nothing overflows.
func elementSize(e a2l.Element, counts [5]uint64, cells uint64) uint64 {
	if e.Address != "" && e.Address != "DIRECT" {
		return pointers[e.Address].size
	}
	size := dataTypes[e.Type].size
	switch e.What {
	case "FNC_VALUES":
		return size * cells
	case "AXIS_PTS":
		return size * counts[max(e.Axis, 0)]
	case "AXIS_RESCALE":
		return size * 2 * min(e.Most, maxPoints)
	}
	return size
}

// find is an element of a layout, -1 where it has none.
func find(l *a2l.Layout, what string, axis int) int {
	for i, e := range l.Elements {
		if e.What == what && (axis < 0 || e.Axis == axis) {
			return i
		}
	}
	return -1
}

// moves asks whether parts behind what is not used move as packed records say: by the bytes of that, and a number of
// breakpoints behind those alone whose own stands before it.
func (im *importer) moves(l *a2l.Layout, counted [5]bool) error {
	if l.Static || l.StaticAt || counted == [5]bool{} {
		return nil
	}
	size := uint64(0) // of what the image says the number of, before this part: 0 for nothing
	open := ""        // the first such part whose number is not all said before it
	var said [5]bool
	for _, e := range l.Elements {
		if border, _ := im.border(l, e); size%border != 0 {
			return fmt.Errorf("%s is aligned by %d bytes behind parts of %d bytes each, whose number the image says", e.What, border, size)
		}
		varies := e.What == "FNC_VALUES" || e.What == "AXIS_PTS" && e.Axis >= 0 && counted[e.Axis]
		switch {
		case e.What == "NO_AXIS_PTS" && open != "":
			return countBehind(open)
		case e.What == "NO_AXIS_PTS" && e.Axis >= 0:
			said[e.Axis] = true
		case e.What == "AXIS_PTS" && e.Address != "DIRECT" && size > 0:
			return fmt.Errorf("a pointer to breakpoints lies behind parts whose number the image says, and moves with them")
		case varies && e.Address == "DIRECT":
			size = least(size, dataTypes[e.Type].size)
			if open == "" && (e.What == "FNC_VALUES" || !said[e.Axis]) {
				open = e.What
			}
		}
	}
	return nil
}

func countBehind(what string) error {
	return fmt.Errorf("a number of breakpoints lies behind %s, whose own number is not known before it is read; allowed: STATIC_RECORD_LAYOUT, or each number in front of what it counts", what)
}

// least is the smaller of two sizes, both powers of two, so that what divides it divides both; 0 is none.
func least(a, b uint64) uint64 {
	if a == 0 {
		return b
	}
	return min(a, b)
}
