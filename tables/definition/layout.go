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
	SHA256 string // hex, of the file as authored
	Start  uint64 // address of an image's first byte
	Size   uint64 // bytes

	Axes      []*Axis // shared and inline, each once
	Tables    []*Table
	ByID      map[string]*Table
	Segments  []Segment // sorted
	Identity  []*IdentityField
	Checksums []*Checksum
	Volatile  []image.Range // sorted

	Signals    []*Signal
	SignalByID map[string]*Signal
	Inputs     []*Input // a quantity each
}

// Segment is what a range of an image holds.
type Segment struct {
	image.Range
	Content string // calibration, code or data
}

// Axis is the breakpoints along one side of a table.
type Axis struct {
	ID, Quantity, Unit string
	Index              bool   // never interpolated
	From               string // the signal that it takes its quantity from, where several feed it; empty if not said
	Count              int
	Points             []float64 // physical, of a fixed axis; nil if stored
	Cells              *Cells    // nil if fixed; NX = Count, NY = 1
}

// Breakpoints decodes the axis from image, whose first byte is the layout's Start.
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

// Table is a compiled scalar, curve or map.
type Table struct {
	Source                          *calibrationv1.Table
	ID, Title, Quantity, Role, Unit string
	Kind                            string // scalar, curve or map
	X, Y                            *Axis  // nil where there is none
	XFeed, YFeed                    *Feed  // of the axes of a table that a signal looks up; else nil
	Cells                           *Cells
	Copies                          string
	Feeds                           []string
	Protects                        string // lower, higher, or empty
	MirrorOf                        string // empty if none
	MirrorComplement                bool
}

// Conversion turns raw into physical; Compile checks it.
type Conversion struct {
	Factor, Offset float64
	Rational       bool
	Num, Den       [3]float64
	Labels         *Labels // nil if the value is a number
}

// Affine reports whether physical = raw*Factor + Offset.
func (c *Conversion) Affine() bool { return !c.Rational && c.Labels == nil }

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
