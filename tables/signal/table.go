package signal

import (
	"errors"

	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/surface"
)

// Table is a table by itself, its own axes being the inputs. The error says why it cannot be interpolated.
func (s *Space) Table(d *surface.Decoded) (*Function, error) {
	g, err := enclosed(d)
	if err != nil {
		return nil, err
	}
	t := d.Table
	var at [2]coordinate
	for i, side := range []struct {
		axis   *definition.Axis
		points []float64
	}{{t.X, g.X}, {t.Y, g.Y}} {
		at[i] = coordinate{axis: side.points}
		if side.axis == nil {
			continue
		}
		of, err := s.Input(side.axis.Quantity, side.axis.Unit)
		if err != nil {
			return nil, err
		}
		at[i] = s.coordinate(side.points, of, side.axis.Index)
	}
	return s.converted(t, s.lookup(g, at[0], at[1], new(bool))), nil
}

// RawStep is what one raw step makes of a rational table's value in a box, in its unit: the greater of those at its least
// and its greatest raw value; 0 where that is no number, or raw values are no whole ones. Of another function it is an error.
func (f *Function) RawStep() (func(box *Box) float64, error) {
	o, ok := f.op.(*rational)
	if !ok {
		return nil, errors.New("only a table with a rational conversion has raw steps of its own")
	}
	return func(box *Box) float64 {
		f.space.epoch++
		return o.rawStep(o.raw.over(box, box).Interval)
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
