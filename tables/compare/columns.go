package compare

import (
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// columns is the changed cells as the report keeps them; nil where none changed. Values are told once: by raw ones where one
// conversion makes them, else as numbers or words.
func (c *change) columns() *calibrationv1.ChangedCells {
	n := len(c.cells)
	if n == 0 {
		return nil
	}
	if c.candTable.Kind == textKind {
		return &calibrationv1.ChangedCells{Words: []string{c.base.Text, c.cand.Text}, BaseWord: []uint32{0}, CandidateWord: []uint32{1}}
	}
	m, was, is := c.of.columns.One(), c.baseTable.Cells, c.candTable.Cells
	m.Skipped, m.Axes = c.skipped(), c.of.shared.Take(len(c.axes))
	for k, a := range c.axes {
		m.Axes[k] = a.message
	}
	before := c.were
	if before == nil {
		before = c.cells
	}
	if !was.Float {
		m.BaseRaw, m.BaseUnsigned = c.of.raws.Take(n), wide(was)
		gather(was, c.base.Bits, before, m.BaseRaw)
	}
	if !is.Float {
		m.Rise, m.CandidateUnsigned = c.of.raws.Take(n), wide(is)
		gather(is, c.cand.Bits, c.cells, m.Rise)
		for k, raw := range m.BaseRaw {
			m.Rise[k] -= raw
		}
	}
	switch {
	case is.Conv.Labels != nil:
		c.words(m)
		return m
	case c.one && !is.Float && is.Conv.Affine():
		m.Affine = c.of.affine.One()
		m.Affine.Factor, m.Affine.Offset = is.Conv.Factor, is.Conv.Offset
	default:
		m.Base, m.Candidate = c.of.numbers.Take(n), c.of.numbers.Take(n)
		for k, i := range c.cells {
			m.Base[k], m.Candidate[k] = c.base.Values[before[k]], c.cand.Values[i]
		}
	}
	m.BaseOff, m.CandidateOff = c.offs()
	return m
}

// gather is the raw values of some cells.
func gather(c *definition.Cells, bits []uint64, at []uint32, out []int64) {
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

// offs are the changed cells that hold a code which is no value, on either side.
func (c *change) offs() (base, cand []uint32) {
	if c.base.Off == nil && c.cand.Off == nil {
		return nil, nil
	}
	for k := range c.cells {
		was, is := c.off(k)
		if was {
			base = append(base, uint32(k))
		}
		if is {
			cand = append(cand, uint32(k))
		}
	}
	return base, cand
}

// words tells labels.
func (c *change) words(m *calibrationv1.ChangedCells) {
	numbers := map[string]uint32{}
	number := func(d *surface.Decoded, i int) uint32 {
		cells := d.Table.Cells
		word := cells.Conv.Label(cells.Int(d.Bits[i]))
		n, known := numbers[word]
		if !known {
			n = uint32(len(m.Words))
			numbers[word], m.Words = n, append(m.Words, word)
		}
		return n
	}
	for k := range c.cells {
		was, is := c.index(k)
		m.BaseWord, m.CandidateWord = append(m.BaseWord, number(c.base, was)), append(m.CandidateWord, number(c.cand, is))
	}
}
