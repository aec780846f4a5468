package definition

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// maxPoints is the most pairs of a table of points.
const maxPoints = 1 << 16

// Points turns raw into physical by pairs; raws rise strictly.
type Points struct {
	Raw, Physical []float64
	Step          bool     // the pair at or below counts; else straight lines between them
	Outside       *float64 // beyond the first and the last; nil: the nearest pair's

	steepest float64 // what coarsest gives, once it is known: it is asked for at every cell
}

// Apply converts a raw number.
func (p *Points) Apply(raw float64) float64 {
	last := len(p.Raw) - 1
	switch i := sort.Search(last+1, func(i int) bool { return p.Raw[i] > raw }) - 1; {
	case math.IsNaN(raw):
		return raw
	case i < 0 || raw > p.Raw[last]:
		if p.Outside != nil {
			return *p.Outside
		}
		return p.Physical[max(i, 0)]
	case p.Step || raw == p.Raw[i]:
		return p.Physical[i]
	default:
		a, b, t := p.Physical[i], p.Physical[i+1], (raw-p.Raw[i])/(p.Raw[i+1]-p.Raw[i])
		if a == b {
			return a
		}
		return float64((1-t)*a) + float64(t*b)
	}
}

// coarsest is the most that one raw step makes: the steepest line, or the highest step.
func (p *Points) coarsest() float64 {
	if p.steepest > 0 {
		return p.steepest
	}
	most := 0.0
	for i := 1; i < len(p.Raw); i++ {
		rise := math.Abs(p.Physical[i] - p.Physical[i-1])
		if !p.Step {
			rise /= p.Raw[i] - p.Raw[i-1]
		}
		most = max(most, rise)
	}
	return most
}

func (c *compiler) points(path string, t *calibrationv1.PointTable, conv *Conversion) error {
	p := &Points{Raw: t.GetRaw(), Physical: t.GetPhysical(), Step: t.GetBetween() == "step"}
	if n := len(p.Raw); n < 2 || n > maxPoints {
		return c.at.Errorf(path+".raw", fmt.Sprintf("2 to %d numbers", maxPoints), "%d numbers", n)
	}
	if len(p.Physical) != len(p.Raw) {
		return c.at.Errorf(path+".physical", fmt.Sprintf("%d numbers, one for each of raw", len(p.Raw)), "%d numbers", len(p.Physical))
	}
	if err := c.finite(path, slices.Concat(p.Raw, p.Physical)...); err != nil {
		return err
	}
	for i := 1; i < len(p.Raw); i++ {
		if p.Raw[i] <= p.Raw[i-1] {
			return c.at.Errorf(fmt.Sprintf("%s.raw[%d]", path, i), "raw values that rise", "%v follows %v", p.Raw[i], p.Raw[i-1])
		}
	}
	if t.GetBetween() != "" {
		if err := c.oneOf(path+".between", t.GetBetween(), "linear", "step"); err != nil {
			return err
		}
	}
	var err error
	if p.Outside, err = c.outside(path+".outside", t.GetOutside()); err != nil {
		return err
	}
	same := func(v float64) bool { return v == p.Physical[0] }
	if !slices.ContainsFunc(p.Physical, func(v float64) bool { return !same(v) }) && (p.Outside == nil || same(*p.Outside)) {
		return c.at.Errorf(path+".physical", "at least two different numbers", "every raw value means the same")
	}
	if c.cells += uint64(len(p.Raw)); c.cells > MaxCells {
		return c.tooMany(path)
	}
	p.steepest = p.coarsest()
	conv.Points = p
	return nil
}

func (c *compiler) outside(path string, v *structpb.Value) (*float64, error) {
	switch kind := v.GetKind().(type) {
	case nil:
		return nil, nil
	case *structpb.Value_NumberValue:
		return &kind.NumberValue, c.finite(path, kind.NumberValue)
	case *structpb.Value_StringValue:
		if kind.StringValue == "hold" {
			return nil, nil
		}
		return nil, c.at.Errorf(path, "hold, or a number", "%.60q is neither", kind.StringValue)
	}
	return nil, c.at.Errorf(path, "hold, or a number", "it is neither")
}
