package changed

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Of reads a table's report, also one by rules before number 3, which held an object a cell. There are no cells where the table
// could not be compared, or where breakpoints alone changed. The error says which columns do not fit each other, or the table.
func Of(t *calibrationv1.TableReport) (*Cells, error) {
	m := t.GetChangedCells()
	c, problem := &Cells{}, ""
	switch {
	case m != nil && len(t.Changes) > 0:
		problem = "they are there twice, in columns and as objects; allowed: either"
	case m != nil:
		c.m, c.n = m, int(t.GetChanged())
		problem = c.fits(uint64(t.GetCells()))
	default:
		problem = c.objects(t.GetChanges())
	}
	if problem != "" {
		return nil, fmt.Errorf("report: table %q: changed cells: %s", t.GetId(), problem)
	}
	return c, nil
}

// fits says what is wrong with the columns of a table of so many cells; empty if nothing is. Whatever indexes them later is safe.
func (c *Cells) fits(cells uint64) (problem string) {
	for _, check := range []func() string{c.columns, c.kinds, func() string { return c.places(cells) }, c.words, c.codes} {
		if problem = check(); problem != "" {
			break
		}
	}
	return problem
}

// columns asks that each list has an item a cell, or none.
func (c *Cells) columns() string {
	m := c.m
	for _, list := range []struct {
		name string
		n    int
	}{
		{"skipped", len(m.Skipped)}, {"base_raw", len(m.BaseRaw)}, {"rise", len(m.Rise)}, {"base", len(m.Base)},
		{"candidate", len(m.Candidate)}, {"base_word", len(m.BaseWord)}, {"candidate_word", len(m.CandidateWord)},
	} {
		if list.n != 0 && list.n != c.n {
			return fmt.Sprintf("%s has %d items; allowed: %d, one a cell, or none", list.name, list.n, c.n)
		}
	}
	return ""
}

// kinds asks that values are told in one way: by a conversion, as numbers, or as words.
func (c *Cells) kinds() string {
	m, ways := c.m, 0
	for _, told := range []bool{m.Affine != nil, len(m.Base)+len(m.Candidate) > 0, len(m.Words)+len(m.BaseWord)+len(m.CandidateWord) > 0} {
		if told {
			ways++
		}
	}
	switch {
	case c.n == 0:
		return "there are none, and their columns are there; allowed: neither or both"
	case ways != 1,
		m.Affine != nil && (len(m.BaseRaw) == 0 || len(m.Rise) == 0),
		len(m.Base) != len(m.Candidate),
		len(m.BaseWord) != len(m.CandidateWord) || len(m.BaseWord) == 0 != (len(m.Words) == 0):
		return "what both sides hold is not told in one way; allowed: affine with base_raw and rise, or base and candidate, or words with base_word and candidate_word"
	case m.Affine != nil && m.BaseUnsigned != m.CandidateUnsigned:
		return "one conversion is of two types; allowed: base_unsigned as candidate_unsigned"
	}
	return ""
}

// places reads the axes, and asks that all cells lie within the table.
func (c *Cells) places(cells uint64) string {
	product, counts, any := uint64(1), [2]int{1, 1}, false
	c.moved = make([][]int32, len(c.m.Axes))
	for k, a := range c.m.Axes {
		n := uint64(a.GetCount())
		if product *= n; product == 0 || product > cells {
			return fmt.Sprintf("axis %d has %d breakpoints; allowed: as many as %d cells have along it", k, n, cells)
		}
		if k < 2 {
			counts[k] = int(n)
		}
		var problem string
		if c.moved[k], problem = movedOf(a); problem != "" {
			return fmt.Sprintf("axis %d: %s", k, problem)
		}
		any = any || c.moved[k] != nil
	}
	if !any {
		c.moved = nil
	}
	c.nx, c.ny = counts[0], counts[1]
	if product != cells {
		return fmt.Sprintf("the axes make %d cells; allowed: the table's %d", product, cells)
	}
	end := uint64(c.n)
	for _, skipped := range c.m.Skipped {
		end += uint64(skipped)
	}
	if end > cells {
		return fmt.Sprintf("skipped leads to cell %d; allowed: below %d", end-1, cells)
	}
	return ""
}

// movedOf is an axis's part of Cells.moved.
func movedOf(a *calibrationv1.ChangedAxis) (moved []int32, problem string) {
	n := int(a.Count)
	if len(a.Points)+len(a.Labels) != n || len(a.Points) != 0 && len(a.Labels) != 0 {
		return nil, fmt.Sprintf("%d points and %d labels; allowed: %d of either", len(a.Points), len(a.Labels), n)
	}
	if len(a.Moved) == 0 && len(a.Before) == 0 {
		return nil, ""
	}
	if len(a.Moved) != len(a.Before) || len(a.Labels) > 0 {
		return nil, fmt.Sprintf("%d breakpoints moved from %d places; allowed: as many, and none of labels", len(a.Moved), len(a.Before))
	}
	moved = make([]int32, n)
	for i, at := range a.Moved {
		if int(at) >= n || i > 0 && at <= a.Moved[i-1] {
			return nil, fmt.Sprintf("moved has %d; allowed: ascending, below %d", at, n)
		}
		moved[at] = int32(i + 1)
	}
	return moved, ""
}

func (c *Cells) words() string {
	for _, list := range [][]uint32{c.m.BaseWord, c.m.CandidateWord} {
		for _, word := range list {
			if int(word) >= len(c.m.Words) {
				return fmt.Sprintf("word %d; allowed: below %d", word, len(c.m.Words))
			}
		}
	}
	return ""
}

// codes reads which cells hold codes that are no value.
func (c *Cells) codes() string {
	for i, list := range [][]uint32{c.m.BaseOff, c.m.CandidateOff} {
		for k, at := range list {
			if int(at) >= c.n || k > 0 && at <= list[k-1] || len(c.m.Words) > 0 {
				return fmt.Sprintf("cell %d holds a code that is no value; allowed: ascending, below %d, and none among words", at, c.n)
			}
			if c.off == nil {
				c.off = make([]side, c.n)
			}
			c.off[at] |= []side{base, candidate}[i]
		}
	}
	return ""
}
