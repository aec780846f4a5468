package signal

import (
	"errors"
	"fmt"
	"strings"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/surface"
)

// Table is a table by itself, its own axes being the inputs. The error says why it cannot be interpolated.
func (s *Space) Table(d *surface.Decoded) (*Function, error) {
	return s.TableWith(d, func(int) *Function { return nil })
}

// TableWith is a table that takes the place along axes, by number, from functions in the axes' units; where there is none
// the axis itself is an input.
func (s *Space) TableWith(d *surface.Decoded, along func(axis int) *Function) (*Function, error) {
	o := openTable(d, false)
	if o.err != nil {
		return nil, o.err
	}
	t := d.Table
	var at []coordinate
	for i, points := range o.axes() {
		axis := axisOf(t, i)
		if axis == nil {
			at = append(at, coordinate{axis: points})
			continue
		}
		of := along(i)
		if of == nil {
			var err error
			if of, err = s.Input(QuantityOf(t, i), axis.Unit); err != nil {
				return nil, err
			}
		}
		at = append(at, s.coordinate(points, of, axis.Index))
	}
	return s.lookupOf(o, at, new(bool)), nil
}

func axisOf(t *definition.Table, i int) *definition.Axis {
	switch {
	case i == 0:
		return t.X
	case i == 1:
		return t.Y
	}
	return t.Axes[i]
}

// nameless begins the quantity of an input that is an axis without one.
const nameless = "\x00"

// Nameless says that an input is an axis of a table, and no quantity that anything else has.
func (in *Input) Nameless() bool { return strings.HasPrefix(in.Quantity, nameless) }

// QuantityOf is the quantity of the input that an axis of a table is by itself: its own, or one that it shares with nothing.
func QuantityOf(t *definition.Table, i int) string {
	if q := axisOf(t, i).Quantity; q != "" {
		return q
	}
	return fmt.Sprintf("%s%d of %s", nameless, i, t.ID)
}

// RawStep is what one raw step makes of a table's value in a box, in its unit, where its conversion is not affine: the
// greater of those at its least and its greatest raw value; 0 where that is no number, or raw values are no whole ones, or
// the value goes in steps of its own. Of another function it is an error.
func (f *Function) RawStep() (func(box *Box) float64, error) {
	var raw *Function
	var step func(raw bounded.Interval) float64
	switch o := f.op.(type) {
	case *rational:
		raw, step = o.raw, o.rawStep
	case *pointwise:
		raw, step = o.raw, o.rawStep
	default:
		return nil, errors.New("only a table whose conversion is not affine has raw steps of its own")
	}
	return func(box *Box) float64 {
		f.space.spreadTo(box, box)
		return step(raw.over(box, box).Interval)
	}, nil
}

// Step is what a finding on a signal must exceed by half: the definition's own, or the coarsest factor of the tables of
// its unit that its formula names; 0 where there is none.
func Step(lay *definition.Layout, s *definition.Signal) float64 {
	step := s.Step
	if step > 0 {
		return step
	}
	_ = s.Value.Walk(func(n *formula.Node) error {
		if n.Kind == formula.Table {
			if t := lay.ByID[n.Name]; t.Unit == s.Unit && t.Cells.Conv.Affine() {
				step = max(step, t.Cells.Conv.Step())
			}
		}
		return nil
	})
	return step
}
