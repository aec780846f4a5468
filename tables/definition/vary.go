package definition

import (
	"errors"
	"fmt"
	"slices"
)

// Astray is a pointer or a count of a table that leads outside.
type Astray struct {
	Table   *Table
	Axis    *Axis // or nil
	Problem string
}

func (e *Astray) Error() string {
	if e.Axis != nil {
		return fmt.Sprintf("table %s: axis %s: %s", e.Table.ID, e.Axis.ID, e.Problem)
	}
	return fmt.Sprintf("table %s: %s", e.Table.ID, e.Problem)
}

// Varies says that something of where the table lies stands in the image itself: counts, pointers, its own or its axes'.
func (t *Table) Varies() bool { return t.varies }

// ErrUnknown is that an image lacks bytes which say where a table lies in it.
var ErrUnknown = errors.New("bytes of it are unknown")

// In is the table as it lies in an image of the layout's space: itself if it does not vary. The error is an *Astray.
func (t *Table) In(b []byte) (*Table, error) {
	in, _, err := t.Found(b, func(*Cells) bool { return true })
	return in, err
}

// Found is In of an image that holds some bytes; the error may then be ErrUnknown. Also told are the cells of the table's pointers
// and counts, as far as is known where they stand. Of a table that does not vary there are none.
func (t *Table) Found(b []byte, holds func(*Cells) bool) (in *Table, told []*Cells, err error) {
	if !t.varies {
		return t, nil, nil
	}
	used, counts, astray := t.counted(b, holds)
	told = t.directions(counts)
	switch {
	case slices.ContainsFunc(told, func(c *Cells) bool { return !holds(c) }):
		return nil, told, ErrUnknown
	case astray != nil:
		return nil, told, astray
	}
	r := *t
	r.varies, r.Of, r.Axes, r.counts = false, t, make([]*Axis, len(t.Axes)), counts
	for i, a := range t.Axes {
		var problem string
		if r.Axes[i], problem = a.in(b, used[i], t.moved(a.placed, used)); problem != "" {
			return nil, told, &Astray{t, a, problem}
		}
	}
	r.X, r.Y = nth(r.Axes, 0), nth(r.Axes, 1)
	if t.Kind == "text" {
		used = t.placed.most
	}
	at, problem := t.placed.in(b, used, t.moved(t.placed, used))
	if problem != "" {
		return nil, told, &Astray{t, nil, problem}
	}
	r.Cells, r.used = t.placed.cells(at, used), used
	return &r, told, nil
}

func nth(axes []*Axis, n int) *Axis {
	if n < len(axes) {
		return axes[n]
	}
	return nil
}

// in is the axis as it lies in an image: itself where it is as declared.
func (a *Axis) in(b []byte, used int, up uint64) (_ *Axis, problem string) {
	if a.placed == nil || a.placed.pointer == nil && used == a.Count && up == 0 {
		return a, ""
	}
	at, problem := a.placed.in(b, []int{used}, up)
	if problem != "" {
		return nil, problem
	}
	r := *a
	r.Of, r.Count, r.Cells = a, used, a.placed.cells(at, []int{used})
	return &r, ""
}

// In is the axis as it lies in an image by itself, as one that tables share does.
func (a *Axis) In(b []byte) (*Axis, error) {
	used, problem := a.Count, ""
	if c := a.CountedAt(); c != nil {
		used, problem = a.used(c, b)
	}
	in := a
	if problem == "" {
		in, problem = a.in(b, used, 0)
	}
	if problem != "" {
		return nil, fmt.Errorf("axis %s: %s", a.ID, problem)
	}
	return in, nil
}

// moved is by how many bytes a part of the table moves up: none of what is not in its record.
func (t *Table) moved(part *placing, used []int) uint64 {
	if part == nil || !slices.Contains(t.record, part) {
		return 0
	}
	return t.up(part.low(), used)
}

// up is how many bytes the parts of the record before an address, in its region, leave free.
func (t *Table) up(address uint64, used []int) (up uint64) {
	for _, p := range t.record {
		if p.before(address) {
			up += p.freed(t.usedOf(p, used))
		}
	}
	return up
}

// usedOf is how much is used of a part of the record, of what is used along each axis.
func (t *Table) usedOf(p *placing, used []int) []int {
	for i, a := range t.Axes {
		if a.placed == p {
			return used[i : i+1]
		}
	}
	return used
}

// Count is where the number of the i-th axis's breakpoints that are used stands, the fastest axis first; nil where the image has none.
func (t *Table) Count(i int) *Cells {
	if t.counts == nil {
		return nil
	}
	return t.counts[i]
}

// Directions are the cells that hold the pointers and counts of a table and of its axes: where they stand with every axis at
// its most, of a table that In returned where they stand in that image.
func (t *Table) Directions() []*Cells { return t.directions(t.counts) }

func (t *Table) directions(counts []*Cells) []*Cells {
	return append(t.Pointers(), slices.DeleteFunc(slices.Clone(counts), func(c *Cells) bool { return c == nil })...)
}

// Pointers are those of Directions that hold addresses.
func (t *Table) Pointers() []*Cells {
	var all []*Cells
	for _, a := range t.Axes {
		if p := a.Pointer(); p != nil {
			all = append(all, p)
		}
	}
	if p := t.Pointer(); p != nil {
		all = append(all, p)
	}
	return all
}

// Pointer is where the address of the table's cells stands; nil where the definition says it.
func (t *Table) Pointer() *Cells {
	if t.placed == nil {
		return nil
	}
	return t.placed.pointer
}

// Pointer is where the address of the breakpoints stands; nil where the definition says it.
func (a *Axis) Pointer() *Cells {
	if a.placed == nil {
		return nil
	}
	return a.placed.pointer
}

// CountedAt is where it is declared that the number of breakpoints used stands, nil if all are; see Table.Count.
func (a *Axis) CountedAt() *Cells {
	if a.placed == nil {
		return nil
	}
	return a.placed.count
}
