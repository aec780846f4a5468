package definition

import (
	"fmt"
	"slices"

	"witnessmark/tables/image"
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

// In is the table as it lies in an image of the layout's space: itself if it does not vary. The error is an *Astray.
func (t *Table) In(b []byte) (*Table, error) {
	if !t.varies {
		return t, nil
	}
	r := *t
	r.varies, r.Of, r.Axes = false, t, make([]*Axis, len(t.Axes))
	used := make([]int, len(t.Axes))
	for i, a := range t.Axes {
		n, problem := a.used(b)
		if problem != "" {
			return nil, &Astray{t, a, problem}
		}
		used[i] = n
	}
	for i, a := range t.Axes {
		var problem string
		if r.Axes[i], problem = a.in(b, used[i], t.before(a.placed, used)); problem != "" {
			return nil, &Astray{t, a, problem}
		}
	}
	r.X, r.Y = nth(r.Axes, 0), nth(r.Axes, 1)
	if t.Kind == "text" {
		used = t.placed.most
	}
	at, problem := t.placed.in(b, used, t.before(t.placed, used))
	if problem != "" {
		return nil, &Astray{t, nil, problem}
	}
	r.Cells, r.used = t.placed.cells(at, used), used
	return &r, nil
}

func nth(axes []*Axis, n int) *Axis {
	if n < len(axes) {
		return axes[n]
	}
	return nil
}

// used is how many breakpoints an image says are used.
func (a *Axis) used(b []byte) (n int, problem string) {
	if a.placed == nil || a.placed.count == nil {
		return a.Count, ""
	}
	c := a.placed.count
	if says := c.Bits(b, 0, 0); says > 0 && says <= uint64(a.Count) {
		return int(says), ""
	} else {
		return 0, fmt.Sprintf("its count at 0x%x is %d; allowed: 1 to %d", a.placed.space.Address(c.Offset), says, a.Count)
	}
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

// before is how many bytes what lies before a part of the table's record, in the same region, leaves free.
func (t *Table) before(part *placing, used []int) uint64 {
	up := uint64(0)
	if part == nil || !slices.Contains(t.record, part) {
		return 0
	}
	for _, p := range t.record {
		if _, joined := p.space.Within(image.Range{Start: p.low(), End: part.low()}); joined && p.low() < part.low() {
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

// Directions are the cells that hold the pointers and counts of a table and of its axes.
func (t *Table) Directions() []*Cells {
	all := t.Pointers()
	for _, a := range t.Axes {
		if a.placed != nil && a.placed.count != nil {
			all = append(all, a.placed.count)
		}
	}
	return all
}

// Pointers are those of Directions that hold addresses.
func (t *Table) Pointers() []*Cells {
	var all []*Cells
	for _, a := range t.Axes {
		if a.placed != nil && a.placed.pointer != nil {
			all = append(all, a.placed.pointer)
		}
	}
	if t.placed != nil && t.placed.pointer != nil {
		all = append(all, t.placed.pointer)
	}
	return all
}
