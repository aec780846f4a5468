package definition

// Slice is where a slice lies in its block.
type Slice struct {
	Of    *Table // the block
	Index []int  // along each axis beyond y, the fastest first
	At    []Place
}

// Place is a point of an axis.
type Place struct {
	Axis  *Axis
	Point float64
	Label string // of an axis of labels
}

// Slices are those of a block as In returned it, in the order of its axes beyond y, the fastest first: maps of the
// block's id that share its X and Y. Nil for other tables.
func (t *Table) Slices(image []byte) []*Table {
	if t.Kind != "block" {
		return nil
	}
	beyond := t.Axes[2:]
	n := 1
	points := make([][]float64, len(beyond))
	for i, a := range beyond {
		points[i] = a.Breakpoints(image)
		n *= a.Count
	}
	tables, cells, places := make([]Table, n), make([]Cells, n), make([]Slice, n)
	out := make([]*Table, n)
	steps := t.placed.steps(t.used)
	for k := range out {
		s, c := &places[k], &cells[k]
		*c = *t.Cells
		c.NX, c.NY, c.StepX, c.StepY = t.X.Count, t.Y.Count, steps[0], steps[1]
		s.Of, s.Index, s.At = t, make([]int, len(beyond)), make([]Place, len(beyond))
		rest := k
		for i, a := range beyond {
			at := rest % a.Count
			rest /= a.Count
			c.Offset += uint64(int64(at) * steps[2+i])
			s.Index[i], s.At[i] = at, Place{Axis: a, Point: points[i][at]}
			if a.Labels != nil {
				s.At[i].Label = a.Labels[at]
			}
		}
		tables[k] = *t
		out[k] = &tables[k]
		out[k].Kind, out[k].Axes, out[k].Cells, out[k].Slice = "map", t.Axes[:2:2], c, s
		if t.Fed != nil {
			out[k].Fed = t.Fed[:2:2]
		}
	}
	return out
}
