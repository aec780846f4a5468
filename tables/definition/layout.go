// Package definition reads definitions and compiles one into a flat layout:
// addresses, strides and decoders, so that nothing is parsed on the hot path.
package definition

import (
	"fmt"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
)

// Layout is a compiled definition; its ranges are offsets into an image. It is immutable and safe for
// concurrent use.
type Layout struct {
	Source *calibrationv1.Definition
	Name   string
	SHA256 string      // hex, of the file as authored
	Space  image.Space // the addresses of an image
	Size   uint64      // of it, in bytes

	Axes      []*Axis // shared and inline, each once
	Tables    []*Table
	Varying   []*Table // those of them of which In has to be asked
	ByID      map[string]*Table
	Folders   []*calibrationv1.Folder // tables and folders in them are known, and none is in itself
	Segments  []Segment               // sorted
	Identity  []*IdentityField
	Checksums []*Checksum
	Volatile  []image.Range // sorted

	Signals    []*Signal
	SignalByID map[string]*Signal
	Inputs     []*Input // a quantity each

	index func() *Index // made once
}

// Segment is what a range of an image holds.
type Segment struct {
	image.Range
	Content string // calibration, code or data
}

// Axis is the breakpoints along one side of a table.
type Axis struct {
	ID, Quantity, Unit string // Quantity is empty where it pairs with nothing
	KnownAs, UnitText  string // its name where the definition came from; free text in place of a unit
	Index              bool   // never interpolated
	From               string // the signal that it takes its quantity from, where several feed it; empty if not said
	By                 *Table // the curve that it is looked up through: breakpoints are its values; nil if none
	Count              int
	Points             []float64 // physical, of a fixed axis; nil if stored
	Labels             []string  // names of the points, which are then 0, 1, 2, …; nil if none
	Cells              *Cells    // nil if fixed; NX = Count, NY = 1
	Of                 *Axis     // as declared; nil if this is

	placed *placing // nil if fixed
}

// Breakpoints decodes the axis from an image of the layout's space.
// The answer is physical, in stored order, of length Count.
func (a *Axis) Breakpoints(image []byte) []float64 {
	if a.Cells == nil {
		return a.Points
	}
	out := make([]float64, a.Count)
	for i := range out {
		out[i] = a.Cells.Physical(image, 0, i)
	}
	return out
}

// Table is a compiled table.
type Table struct {
	Source                          *calibrationv1.Table
	ID, Title, Quantity, Role, Unit string
	KnownAs, UnitText               string  // its name where the definition came from; free text in place of a unit
	Kind                            string  // scalar, curve, map, block or text
	X, Y                            *Axis   // nil where there is none
	Axes                            []*Axis // all, the fastest first: X and Y are the first two
	Fed                             []*Feed // of each axis, where a signal looks the table up; else nil
	Cells                           *Cells  // of a block: of all slices, as one grid
	UTF8                            bool    // of a text
	Copies                          string
	Feeds                           []string
	Protects                        string // lower, higher, or empty
	MirrorOf                        string // empty if none
	MirrorComplement                bool
	Of                              *Table // as declared; nil if this is
	Slice                           *Slice // of one slice of a block alone

	placed *placing
	used   []int // cells along each axis, of a text its bytes
	varies bool
	record []*placing // of what varies: the parts written out in the table that no pointer leads to
	counts []*Cells   // of what varies: where it stands how many breakpoints of each axis are used; nil if all are
	order  []int      // of counts, by address
	behind [][]int    // of each of counts, the axes whose breakpoints it moves up with
}

// Conversion turns raw into physical; Compile checks it.
type Conversion struct {
	Factor, Offset float64
	Rational       bool
	Num, Den       [3]float64
	Points         *Points // nil if none
	Labels         *Labels // nil if the value is a number
}

// Affine reports whether physical = raw*Factor + Offset.
func (c *Conversion) Affine() bool { return !c.Rational && c.Labels == nil && c.Points == nil }

// TableIDs lists the tables for an error.
func (l *Layout) TableIDs() string {
	ids := make([]string, len(l.Tables))
	for i, t := range l.Tables {
		ids[i] = t.ID
	}
	return listed(ids)
}

// listed joins names for an error, cut where a list would hide the message.
func listed(names []string) string {
	const most = 40
	if len(names) > most {
		return strings.Join(names[:most], ", ") + fmt.Sprintf(" and %d more", len(names)-most)
	}
	return strings.Join(names, ", ")
}
