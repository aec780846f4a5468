package definition

import (
	"cmp"
	"maps"
	"slices"

	"witnessmark/tables/image"
)

// Index is what is found in a layout without going through all of it. Tables and axes are told by their places in Layout.Tables
// and Layout.Axes.
type Index struct {
	Parts   []Part           // what stands in every image where it is declared, by where it begins
	Users   [][]int          // by axis, the tables that have it
	Varying []int            // tables of which In has to be asked
	Lapping []int            // tables that do not, whose extents reach into another one's
	Mirrors []*Table         // those that repeat another one
	Copies  [][]*Table       // groups of copies, by their first ones
	On      map[string][]int // tables, by the quantity of an axis of theirs
	Curves  map[*Table]bool  // those that axes are looked up through
}

// Part is the cells of a table that does not vary, or of an axis that such a table has, or that none has.
type Part struct {
	image.Range     // offsets
	Table, Axis int // the place of either, and -1
}

// Index is made when it is first asked for.
func (l *Layout) Index() *Index { return l.index() }

func newIndex(l *Layout) *Index {
	x := &Index{Users: make([][]int, len(l.Axes)), On: map[string][]int{}, Curves: map[*Table]bool{}}
	places, standing := make(map[*Axis]int, len(l.Axes)), make([]bool, len(l.Axes))
	for i, a := range l.Axes {
		if places[a] = i; a.By != nil {
			x.Curves[a.By] = true
		}
	}
	groups := map[string]int{}
	for i, t := range l.Tables {
		if t.varies {
			x.Varying = append(x.Varying, i)
		} else {
			x.Parts = append(x.Parts, Part{t.Cells.Extent(), i, -1})
		}
		for _, a := range t.Axes {
			k := places[a]
			x.Users[k], standing[k] = append(x.Users[k], i), standing[k] || !t.varies
			if a.Quantity != "" {
				x.On[a.Quantity] = append(x.On[a.Quantity], i)
			}
		}
		if t.MirrorOf != "" {
			x.Mirrors = append(x.Mirrors, t)
		}
		if t.Copies != "" {
			n, known := groups[t.Copies]
			if !known {
				n = len(x.Copies)
				groups[t.Copies], x.Copies = n, append(x.Copies, nil)
			}
			x.Copies[n] = append(x.Copies[n], t)
		}
	}
	for i, a := range l.Axes {
		if a.Cells != nil && a.Pointer() == nil && (standing[i] || x.Users[i] == nil) {
			x.Parts = append(x.Parts, Part{a.Cells.Extent(), -1, i})
		}
	}
	slices.SortStableFunc(x.Parts, func(a, b Part) int { return cmp.Compare(a.Start, b.Start) })
	x.lap()
	return x
}

// lap finds the tables whose extents reach into another one's.
func (x *Index) lap() {
	laps := map[int]bool{}
	far := Part{Table: -1}
	for _, p := range x.Parts {
		if p.Table < 0 {
			continue
		}
		if far.Table >= 0 && p.Start < far.End {
			laps[p.Table], laps[far.Table] = true, true
		}
		if p.End > far.End || far.Table < 0 {
			far = p
		}
	}
	x.Lapping = slices.Sorted(maps.Keys(laps))
}
