// Package corridor says whether an image lies inside a corridor: each cell of the tables that it names within so much of where
// the corridor starts, and everything else as it is there. Entries hold its answers for ever, and no number says by which rules
// they are: for the same inputs they stay the same.
package corridor

import (
	"fmt"
	"slices"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/surface"
)

// Bound is how far each cell of a table may be from the start, in the table's own unit; both at least 0.
type Bound struct {
	Table    string
	Up, Down float64
}

// What a place is.
const (
	Cell  = "cell"  // of a table that is named, further from the start than it may be
	Table = "table" // a cell of another table
	Axis  = "axis"  // a breakpoint, a count or a pointer
	Bytes = "bytes" // what no table has, or what is no table's to change: identity and learned values
)

// Most is how many places a Result names.
const Most = 8

// Place is where an image is not what a corridor lets it be. A table has one for its cells, one for each axis and one for its
// counts and pointers: the first of each, as the table lies in the start. What several tables have is told of the first alone.
type Place struct {
	What  string
	Table string // empty of bytes
	// Of a cell its slice, row and column; of a breakpoint the number of its axis, 0 for x, and its own; else nothing. From 0.
	At      []uint32
	Address uint32 // of its first byte; of bytes, of the first of those that differ one after another
}

// Result is what lies outside: tables in the definition's order, then bytes as they lie. Nothing: the image is inside.
type Result struct {
	Outside []Place // Most at most
	More    int     // further ones
}

// Check finds what of a candidate lies outside. The error says which image, table or bound cannot be used.
func Check(lay *definition.Layout, start, candidate *image.Image, bounds []Bound) (*Result, error) {
	c := &check{pair: pair{lay: lay, start: start, candidate: candidate}, bounds: map[string]Bound{}, told: map[uint64]bool{}, out: &Result{}}
	if err := c.fits(); err != nil {
		return nil, err
	}
	for _, b := range bounds {
		if err := Fits(lay, b); err != nil {
			return nil, err
		}
		if _, twice := c.bounds[b.Table]; twice {
			return nil, fmt.Errorf("table %s is named twice; allowed: each table once", b.Table)
		}
		c.bounds[b.Table] = b
	}
	c.difference = differenceOf(start.Bytes, candidate.Bytes)
	if len(c.runs) == 0 {
		return c.out, nil
	}
	for _, t := range lay.Tables {
		c.table(t)
	}
	c.rest()
	return c.out, nil
}

// Fits says whether a table can be bounded so: it is there and holds numbers.
func Fits(lay *definition.Layout, b Bound) error {
	t := lay.ByID[b.Table]
	switch {
	case t == nil:
		return fmt.Errorf("definition %s has no table %.60q; allowed: %s", lay.Name, b.Table, lay.TableIDs())
	case t.Kind == "text" || t.Cells.Conv.Labels != nil:
		return fmt.Errorf("table %s holds no numbers; allowed: tables whose cells can lie so far up or down", t.ID)
	case !surface.Finite(b.Up, b.Down) || b.Up < 0 || b.Down < 0:
		return fmt.Errorf("table %s: %v up and %v down; allowed: finite numbers of at least 0", t.ID, b.Up, b.Down)
	}
	return nil
}

// pair is the two images, of one definition.
type pair struct {
	lay              *definition.Layout
	start, candidate *image.Image
	gaps             []image.Range // offsets of what both do not hold
	scratch          [2][]uint64
}

// fits says whether the two can be held against each other, and what of them is unknown.
func (p *pair) fits() error {
	for _, side := range []struct {
		name string
		im   *image.Image
	}{{"where the corridor starts", p.start}, {"the candidate", p.candidate}} {
		if side.im == nil || !slices.Equal(side.im.Space, p.lay.Space) || uint64(len(side.im.Bytes)) != p.lay.Size {
			return fmt.Errorf("%s: is no image of definition %s; allowed: %d bytes, %v", side.name, p.lay.Name, p.lay.Size, p.lay.Space)
		}
	}
	if !slices.Equal(p.start.Held, p.candidate.Held) {
		return fmt.Errorf("the candidate holds other ranges than the image that the corridor starts from; allowed: the same ones")
	}
	p.gaps = p.lay.Space.Offsets(p.start.Gaps())
	return nil
}

// check is one Result in the making.
type check struct {
	pair
	difference
	bounds map[string]Bound
	told   map[uint64]bool // breakpoints, counts and pointers, by offset
	out    *Result
}

func (c *check) outside(what string, t *definition.Table, offset uint64, at ...uint32) {
	if len(c.out.Outside) == Most {
		c.out.More++
		return
	}
	p := Place{What: what, At: at, Address: uint32(c.lay.Space.Address(offset))}
	if t != nil {
		p.Table = t.ID
	}
	c.out.Outside = append(c.out.Outside, p)
}

// axis is outside for what several tables may have.
func (c *check) axis(t *definition.Table, offset uint64, at ...uint32) {
	if !c.told[offset] {
		c.told[offset] = true
		c.outside(Axis, t, offset, at...)
	}
}

// rest is what differs and is no cell, breakpoint, count or pointer of a table, but for sums, which are put right; and what is
// nobody's to change, whoever has it.
func (c *check) rest() {
	for _, sum := range c.lay.Checksums {
		for _, cells := range sum.Stamped() {
			c.claim(cells)
		}
	}
	for _, f := range c.lay.Identity {
		c.give(f.Range)
	}
	for _, r := range c.lay.Volatile {
		c.give(r)
	}
	for _, r := range c.runs {
		for at := r.Start; at < r.End; at++ {
			if c.left[at] != 0 && (at == 0 || c.left[at-1] == 0) {
				c.outside(Bytes, nil, at)
			}
		}
	}
}
