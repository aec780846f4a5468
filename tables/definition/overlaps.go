package definition

import (
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
	for _, k := range c.kept {
		c.wrong(c.clear(k))
	}
}

func (c *compiler) clear(k keptOut) error {
	const allowed = "bytes that no table, axis, identity field or other checksum uses"
	for _, f := range c.lay.Identity {
		if f.Range.Start < k.End && k.Start < f.Range.End {
			return c.at.Errorf(k.path, allowed, "%s overlaps identity %q", k.what, f.ID)
		}
	}
	for _, u := range c.used {
		// A sum that lies among learned values is checked all the same, so volatile ranges may hold one.
		if u.path == k.path || k.volatile && strings.HasPrefix(u.path, "checksums") {
			continue
		}
		if u.cells.Touches(k.Range) {
			return c.at.Errorf(k.path, allowed, "%s overlaps %s", k.what, u.what)
		}
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
