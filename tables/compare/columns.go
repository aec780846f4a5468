package compare

import (
	"math"

	"witnessmark/tables/definition"
)

// tell puts the changed cells in columns, as the report keeps them, out of the raw bits of both sides, and adds up what differs.
// Values are told once: by raw ones where one conversion makes them, else as numbers or words.
func (c *change) tell(was, is []uint64) {
	p, n, before := c.of, len(c.cells), c.were
	if before == nil {
		before = c.cells
	}
	from, to := c.was.t.Cells, c.is.t.Cells
	m := p.columns.One()
	c.columns = m
	m.Skipped, m.Axes = c.skipped(), p.shared.Take(len(c.axes))
	for k, a := range c.axes {
		m.Axes[k] = a.message
	}
	if !from.Float {
		m.BaseRaw, m.BaseUnsigned = p.raws.Take(n), wide(from)
		raws(from, was, before, m.BaseRaw)
	}
	if !to.Float {
		m.Rise, m.CandidateUnsigned = p.raws.Take(n), wide(to)
		raws(to, is, c.cells, m.Rise)
		for k, raw := range m.BaseRaw {
			m.Rise[k] -= raw
		}
	}
	if to.Conv.Labels != nil {
		c.words(was, is, before)
		return
	}
	m.BaseOff, m.CandidateOff = codes(from, was, before), codes(to, is, c.cells)
	if !c.one || to.Float || !to.Conv.Affine() {
		m.Base, m.Candidate = p.numbers.Take(n), p.numbers.Take(n)
		physical(from, was, before, m.BaseOff, m.Base)
		physical(to, is, c.cells, m.CandidateOff, m.Candidate)
	} else {
		m.Affine = p.affine.One()
		m.Affine.Factor, m.Affine.Offset = to.Conv.Factor, to.Conv.Offset
	}
	c.addUp(was, is, before)
}

// addUp adds up the deltas of what was told.
func (c *change) addUp(was, is []uint64, before []uint32) {
	m, cells := c.columns, c.is.t.Cells
	off := len(m.BaseOff)+len(m.CandidateOff) > 0
	switch {
	case m.Affine != nil && !off && exact(cells):
		c.byCell.rises(m.Rise, m.Affine.Factor)
	case m.Affine == nil && !off:
		for k, v := range m.Candidate {
			c.byCell.add(v - m.Base[k])
		}
	default:
		for k, i := range c.cells {
			b, v := was[before[k]], is[i]
			switch {
			case c.was.t.Cells.Off(b) || cells.Off(v):
			case m.Affine != nil:
				c.byCell.add(cells.Delta(b, v))
			default:
				c.byCell.add(m.Candidate[k] - m.Base[k])
			}
		}
	}
}

// raws are the raw values of some cells.
func raws(c *definition.Cells, bits []uint64, at []uint32, out []int64) {
	up := uint(0)
	switch {
	case c.Magnitude:
		for k, i := range at {
			out[k] = c.Int(bits[i])
		}
		return
	case c.Signed:
		up = 64 - c.Width
	}
	for k, i := range at {
		out[k] = int64(bits[i]<<up) >> up
	}
}

// physical are the values of some cells; what is off is no number.
func physical(c *definition.Cells, bits []uint64, at, off []uint32, out []float64) {
	for k, i := range at {
		out[k] = c.Conv.Apply(c.Number(bits[i]))
	}
	for _, k := range off {
		out[k] = math.NaN()
	}
}

// codes are those of some cells, counted among them, that hold a code which is no value.
func codes(c *definition.Cells, bits []uint64, at []uint32) (off []uint32) {
	if len(c.NotAValue) == 0 {
		return nil
	}
	for k, i := range at {
		if c.Off(bits[i]) {
			off = append(off, uint32(k))
		}
	}
	return off
}

// wide says that raw values are of an unsigned 64-bit type.
func wide(c *definition.Cells) bool { return !c.Signed && c.Bytes == 8 }

// skipped is how many cells lie before each changed one and after the one before it; nil where none do.
func (c *change) skipped() []uint32 {
	n := len(c.cells)
	if int(c.cells[n-1]) == n-1 {
		return nil
	}
	out, next := c.of.indices.Take(n), uint32(0)
	for k, i := range c.cells {
		out[k], next = i-next, i+1
	}
	return out
}

// words tells labels.
func (c *change) words(was, is []uint64, before []uint32) {
	m, numbers := c.columns, map[string]uint32{}
	number := func(cells *definition.Cells, bits uint64) uint32 {
		word := cells.Conv.Label(cells.Int(bits))
		n, known := numbers[word]
		if !known {
			n = uint32(len(m.Words))
			numbers[word], m.Words = n, append(m.Words, word)
		}
		return n
	}
	m.BaseWord, m.CandidateWord = c.of.indices.Take(len(before)), c.of.indices.Take(len(before))
	for k, i := range c.cells {
		m.BaseWord[k], m.CandidateWord[k] = number(c.was.t.Cells, was[before[k]]), number(c.is.t.Cells, is[i])
	}
}
