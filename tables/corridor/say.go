package corridor

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/surface"
)

// Say is one line for a person about a place that Check told of the same things. It shows no byte that no table has.
func Say(lay *definition.Layout, start, candidate *image.Image, bounds []Bound, p Place) string {
	s, t := pair{lay: lay, start: start, candidate: candidate}, lay.ByID[p.Table]
	if t == nil {
		return s.bare(p.Address)
	}
	if s.fits() == nil {
		if in, _, err := s.found(t); err == nil {
			if text := s.say(in, bounds, p); text != "" {
				return text
			}
		}
	}
	if p.What == Axis {
		return fmt.Sprintf("%s: a count or pointer at 0x%x differs from the start; a corridor moves none", t.ID, p.Address)
	}
	return fmt.Sprintf("%s differs from the start at 0x%x", t.ID, p.Address)
}

// bare says bytes of no table without their values.
func (s *pair) bare(address uint32) string {
	what := "which no table has"
	at, inside := s.lay.Space.Offset(uint64(address))
	holds := func(r image.Range) bool { return inside && r.Start <= at && at < r.End }
	if slices.ContainsFunc(s.lay.Volatile, holds) {
		what = "where the controller keeps what it learned"
	}
	for _, f := range s.lay.Identity {
		if holds(f.Range) {
			what = "of identity field " + f.ID
		}
	}
	return fmt.Sprintf("what lies at 0x%x, %s, differs from the start; the corridor leaves it as it is", address, what)
}

// say is a place with its values; empty where the images have none such.
func (s *pair) say(t *definition.Table, bounds []Bound, p Place) string {
	switch {
	case p.What == Axis && len(p.At) == 2 && int(p.At[0]) < len(t.Axes):
		return s.breakpoint(t, t.Axes[p.At[0]], int(p.At[1]))
	case p.What != Cell && p.What != Table || len(p.At) != 3:
		return ""
	case t.Kind == "text":
		return fmt.Sprintf("%s holds another text than at the start; the corridor leaves this table as it is", t.ID)
	}
	maps := s.maps(t)
	n, row, col := int(p.At[0]), int(p.At[1]), int(p.At[2])
	if n >= len(maps) || row >= maps[n].Cells.NY || col >= maps[n].Cells.NX {
		return ""
	}
	v := s.cell(maps[n].Cells, n, row, col)
	text := t.ID + s.where(maps[n], row, col) + ": "
	if p.What == Table {
		return text + said(t, v.is) + ", " + said(t, v.was) + " at the start; the corridor leaves this table as it is" + s.more(t, v, nil)
	}
	for _, b := range bounds {
		if b.Table == t.ID {
			return text + s.beyond(t, v, b) + s.more(t, v, &b)
		}
	}
	return ""
}

// beyond says how far a cell lies from the start, and how far it may.
func (s *pair) beyond(t *definition.Table, v cell, b Bound) string {
	c := v.cells
	from, to := c.Conv.Apply(c.Number(v.was)), c.Conv.Apply(c.Number(v.is))
	both := said(t, v.is) + ", " + said(t, v.was) + " at the start; "
	switch {
	case c.Off(v.was) || c.Off(v.is):
		return both + "the corridor leaves what is off as it is"
	case !s.knows(v.one()):
		return "it differs from the start, and not all of it is known"
	case !surface.Finite(from, to):
		return both + "the corridor is one of numbers"
	}
	by, way, most, word := c.Delta(v.was, v.is), "above", b.Up, "up"
	if by < 0 {
		way, most, word = "below", b.Down, "down"
	}
	return fmt.Sprintf("%s, %s %s the start; the corridor allows %s %s", said(t, v.is), number(math.Abs(by)), way, number(most), word)
}

// more counts the other cells of a table that lie outside; of one that is not named, b is nil.
func (s *pair) more(t *definition.Table, than cell, b *Bound) string {
	n := 0
	s.changed(t, func(v cell) {
		if (v.slice != than.slice || v.row != than.row || v.col != than.col) && (b == nil || !s.within(*b, v)) {
			n++
		}
	})
	switch n {
	case 0:
		return ""
	case 1:
		return " (and 1 more cell)"
	}
	return fmt.Sprintf(" (and %d more cells)", n)
}

func (s *pair) breakpoint(t *definition.Table, a *definition.Axis, k int) string {
	if a.Cells == nil || k >= a.Count {
		return ""
	}
	at := func(im *image.Image) string {
		return counted(number(a.Cells.Physical(im.Bytes, 0, k)), a.Unit, a.UnitText)
	}
	return fmt.Sprintf("%s: breakpoint %d of %s is %s, %s at the start; a corridor moves none",
		t.ID, k+1, strings.ReplaceAll(cmp.Or(a.Quantity, a.ID), "_", " "), at(s.candidate), at(s.start))
}

// where is a cell's place on the axes of its table, with a blank before it; empty where it has none.
func (s *pair) where(t *definition.Table, row, col int) string {
	var at []string
	for i, a := range t.Axes {
		at = append(at, point(a, a.Breakpoints(s.start.Bytes)[[]int{col, row}[i]]))
	}
	if t.Slice != nil {
		for _, p := range t.Slice.At {
			at = append(at, point(p.Axis, p.Point))
		}
	}
	if len(at) == 0 {
		return ""
	}
	return " at " + strings.Join(at, ", ")
}

func point(a *definition.Axis, v float64) string {
	if a.Labels != nil {
		return a.Labels[int(v)]
	}
	return counted(number(v), a.Unit, a.UnitText)
}

// said is raw bits of a table's cell in words.
func said(t *definition.Table, bits uint64) string {
	c := t.Cells
	switch {
	case c.Off(bits):
		return "off (raw " + c.Raw(bits) + ")"
	case c.Conv.Labels != nil:
		return c.Conv.Label(c.Int(bits))
	}
	return counted(number(c.Conv.Apply(c.Number(bits))), t.Unit, t.UnitText)
}

// counted puts a unit behind a number, but for a ratio's.
func counted(number, unit, text string) string {
	if u := cmp.Or(unit, text); u != "" && u != "1" {
		return number + " " + u
	}
	return number
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
