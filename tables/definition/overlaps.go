package definition

import (
	"cmp"
	"slices"
	"sort"
	"strings"

	"witnessmark/tables/image"
)

// keptOut is a range that nothing which is compared may share.
type keptOut struct {
	written
	what     string
	volatile bool
}

// overlaps refuses a volatile range or a stored checksum that shares bytes with a table, an
// axis, an identity field or another stored checksum. Strides count: bytes between cells are free.
func (c *compiler) overlaps() {
	first := make([]int, len(c.kept)) // of what is used, the first that shares bytes with each
	for i := range first {
		first[i] = len(c.used)
	}
	at := make([]int, len(c.kept)) // by where they begin
	for i := range at {
		at[i] = i
	}
	slices.SortFunc(at, func(a, b int) int { return cmp.Compare(c.kept[a].Start, c.kept[b].Start) })
	reach := make([]uint64, len(at)) // how far those up to here go
	for i, k := range at {
		if reach[i] = c.kept[k].End; i > 0 {
			reach[i] = max(reach[i], reach[i-1])
		}
	}
	for n, u := range c.used {
		lies := u.cells.Extent()
		i := sort.Search(len(at), func(i int) bool { return c.kept[at[i]].Start >= lies.End }) - 1
		for ; i >= 0 && reach[i] > lies.Start; i-- {
			k := c.kept[at[i]]
			// A sum that lies among learned values is checked all the same, so volatile ranges may hold one.
			own := u.path == k.path || k.volatile && strings.HasPrefix(u.path, "checksums")
			if n < first[at[i]] && !own && u.cells.Touches(k.Range) {
				first[at[i]] = n
			}
		}
	}
	for i, k := range c.kept {
		c.wrong(c.clear(k, first[i]))
	}
}

func (c *compiler) clear(k keptOut, first int) error {
	const allowed = "bytes that no table, axis, identity field or other checksum uses"
	for _, f := range c.lay.Identity {
		if f.Range.Start < k.End && k.Start < f.Range.End {
			return c.at.Errorf(k.path, allowed, "%s overlaps identity %q", k.what, f.ID)
		}
	}
	if first < len(c.used) {
		return c.at.Errorf(k.path, allowed, "%s overlaps %s", k.what, c.used[first].what)
	}
	return nil
}

// Touches reports whether a byte of a cell lies in r. It goes along the shorter side of the
// grid and reckons the other one, so that a long table costs little.
func (c *Cells) Touches(r image.Range) bool {
	from := c.Extent()
	if from.End <= r.Start || r.End <= from.Start {
		return false
	}
	n, step, m, along := c.NY, uint64(max(c.StepY, -c.StepY)), c.NX, uint64(max(c.StepX, -c.StepX))
	if n > m {
		n, step, m, along = m, along, n, step
	}
	size := uint64(c.Bytes)
	for i := range uint64(n) {
		first := from.Start + i*step
		if first >= r.End {
			continue
		}
		// The last cell of this line that begins before r ends is the only one to ask.
		k := min((r.End-1-first)/along, uint64(m-1))
		if first+k*along+size > r.Start {
			return true
		}
	}
	return false
}
