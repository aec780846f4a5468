package definition

import "fmt"

// Astray is a pointer or a count of a table that leads outside.
type Astray struct {
	Table   *Table
	Axis    *Axis // or nil
	Problem string
}

func (e *Astray) Error() string { return fmt.Sprintf("table %s: %s", e.Table.ID, e.Problem) }

// Varies says that something of where the table lies stands in the image itself: counts, pointers, its own or its axes'.
func (t *Table) Varies() bool { return false }

// In is the table as it lies in an image of the layout's space: itself if it does not vary. The error is an *Astray.
func (t *Table) In(image []byte) (*Table, error) { return t, nil }

// Slices are those of a block as In returned it, in the order of its axes beyond y, the fastest first: maps of the
// block's id that share its X and Y. Nil for other tables.
func (t *Table) Slices(image []byte) []*Table { return nil }

// Directions are the cells that hold the pointers and counts of a table and of its axes.
func (t *Table) Directions() []*Cells { return nil }
