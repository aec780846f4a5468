package definition

import (
	"cmp"
	"fmt"
	"slices"
)

// counts are those of a table's axes, and what they move with: one of an axis written out in the table moves up with what is
// behind breakpoints that are not used, where it stands between parts of a packed record.
func (c *compiler) counts(path string, t *Table) error {
	t.counts, t.behind = make([]*Cells, len(t.Axes)), make([][]int, len(t.Axes))
	for i, a := range t.Axes {
		if t.counts[i] = a.CountedAt(); t.counts[i] != nil {
			t.order = append(t.order, i)
		}
	}
	slices.SortStableFunc(t.order, func(i, j int) int { return cmp.Compare(t.counts[i].Offset, t.counts[j].Offset) })
	for _, i := range t.order {
		at := c.lay.Space.Address(t.counts[i].Offset)
		inRecord := slices.ContainsFunc(t.record, func(p *placing) bool { return at < p.low() && joined(p.space, at, p.low()) })
		if !t.placed.packed || t.said(i).GetAxis() != "" || !inRecord {
			continue
		}
		if hangs := t.hangsOn(i, at); hangs != "" {
			return c.at.Errorf(axisPath(path, t.Source, i)+".stored.count_at", "in a packed record, a count behind those breakpoints alone that are counted before it",
				"it moves up with %s, whose number is not known before it is read", hangs)
		}
	}
	return nil
}

// hangsOn notes what of the record lies before a count, and says what of that is counted there or further behind.
func (t *Table) hangsOn(i int, at uint64) string {
	if t.placed.pointer == nil && t.placed.before(at) {
		return "the cells"
	}
	for k, a := range t.Axes {
		if t.counts[k] == nil || !slices.Contains(t.record, a.placed) || !a.placed.before(at) {
			continue
		}
		if t.counts[k].Offset >= t.counts[i].Offset {
			return "the breakpoints of axis " + a.ID
		}
		t.behind[i] = append(t.behind[i], k)
	}
	return ""
}

// counted is how many breakpoints of each axis an image says are used, and where it says so. Of what hangs on a count that the
// image lacks, or that leads outside, neither is known.
func (t *Table) counted(b []byte, holds func(*Cells) bool) (used []int, counts []*Cells, astray error) {
	used, counts = make([]int, len(t.Axes)), make([]*Cells, len(t.Axes))
	for i, a := range t.Axes {
		if t.counts[i] == nil {
			used[i] = a.Count
		}
	}
	for _, i := range t.order {
		c, problem := t.countIn(i, used)
		if c != nil && problem == "" && holds(c) {
			used[i], problem = t.Axes[i].used(c, b)
		}
		if counts[i] = c; problem != "" && astray == nil {
			astray = &Astray{t, t.Axes[i], problem}
		}
	}
	return used, counts, astray
}

// countIn is where the count of an axis stands in an image; nil where that hangs on a number that is not known, or is outside.
func (t *Table) countIn(i int, used []int) (c *Cells, problem string) {
	if t.behind[i] == nil {
		return t.counts[i], ""
	}
	if slices.ContainsFunc(t.behind[i], func(k int) bool { return used[k] == 0 }) {
		return nil, ""
	}
	moved, space := *t.counts[i], t.placed.space
	at := space.Address(moved.Offset)
	up := t.up(at, used)
	if !joined(space, at-up, at) {
		return nil, fmt.Sprintf("its count at 0x%x moves up by %d bytes, out of the region that it stands in; allowed: %v", at, up, space)
	}
	moved.Offset -= up
	return &moved, ""
}

// used is how many breakpoints a count says are used.
func (a *Axis) used(c *Cells, b []byte) (n int, problem string) {
	says := c.Bits(b, 0, 0)
	if says == 0 || says > uint64(a.Count) {
		return 0, fmt.Sprintf("its count at 0x%x is %d; allowed: 1 to %d", a.placed.space.Address(c.Offset), says, a.Count)
	}
	return int(says), ""
}
