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
	m := &calibrationv1.ChangedCells{Skipped: skipped(c.cells)}
	for k := range c.axes {
		m.Axes = append(m.Axes, c.axis(&c.axes[k]))
	}
	was, is := c.baseTable.Cells, c.candTable.Cells
	if !was.Float {
		m.BaseRaw, m.BaseUnsigned = make([]int64, n), wide(was)
		for k := range m.BaseRaw {
			b, _ := c.bits(k)
			m.BaseRaw[k] = was.Int(b)
		}
	}
	if !is.Float {
		m.Rise, m.CandidateUnsigned = make([]int64, n), wide(is)
		for k := range m.Rise {
			_, v := c.bits(k)
			if m.Rise[k] = is.Int(v); m.BaseRaw != nil {
				m.Rise[k] -= m.BaseRaw[k]
			}
		}
	}
	switch {
	case is.Conv.Labels != nil:
		c.words(m)
		return m
	case c.one && !is.Float && is.Conv.Affine():
		m.Affine = &calibrationv1.Affine{Factor: is.Conv.Factor, Offset: is.Conv.Offset}
	default:
		m.Base, m.Candidate = make([]float64, n), make([]float64, n)
		for k := range m.Base {
			m.Base[k], m.Candidate[k] = c.values(k)
		}
	}
	m.BaseOff, m.CandidateOff = c.offs()
	return m
}

// wide says that raw values are of an unsigned 64-bit type.
func wide(c *definition.Cells) bool { return !c.Signed && c.Bytes == 8 }

// skipped is how many cells lie before each and after the one before it; nil where none do.
func skipped(cells []uint32) []uint32 {
	if int(cells[len(cells)-1]) == len(cells)-1 {
		return nil
	}
	out, next := make([]uint32, len(cells)), uint32(0)
	for k, i := range cells {
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

// axis is an axis of the candidate, and where its breakpoints were. Of two definitions those that are alike to their raw steps
// are one.
func (c *change) axis(a *along) *calibrationv1.ChangedAxis {
	out := &calibrationv1.ChangedAxis{Count: uint32(len(a.is)), Points: a.is}
	if a.cand.Labels != nil {
		return &calibrationv1.ChangedAxis{Count: out.Count, Labels: a.cand.Labels[:len(a.is)]}
	}
	if !a.moved {
		return out
	}
	for _, p := range a.both() {
		if was, is := p[0], p[1]; !same(a.was[was], a.is[is]) && (c.one || !a.alike(was, is)) {
			out.Moved, out.Before = append(out.Moved, uint32(is)), append(out.Before, a.was[was])
		}
	}
	return out
}
