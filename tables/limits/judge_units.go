package limits

import (
	"slices"
	"strings"
	"sync"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/units"
)

// scale turns a number from one unit into another; nil leaves it alone.
type scale func(float64) float64

func (s scale) of(v float64) float64 {
	if s == nil {
		return v
	}
	return s(v)
}

func (s scale) all(vs []float64) []float64 {
	if s == nil || vs == nil {
		return vs
	}
	out := make([]float64, len(vs))
	for i, v := range vs {
		out[i] = s(v)
	}
	return out
}

// free begins what stands for a unit that is free text.
const free = "\x00"

// unitOf is a unit to convert from or to. Free text is a unit of its own.
func unitOf(unit, text string) string {
	if unit == "" && text != "" {
		return free + text
	}
	return unit
}

func valueUnit(t *definition.Table) string { return unitOf(t.Unit, t.UnitText) }

// axisUnit is the unit of an axis that may be missing.
func axisUnit(a *definition.Axis) string {
	if a == nil {
		return ""
	}
	return unitOf(a.Unit, a.UnitText)
}

// convertible says whether two units may be converted at all.
func convertible(from, to string) error {
	for _, u := range []string{to, from} {
		if text, isFree := strings.CutPrefix(u, free); isFree {
			return unjudged("a unit is free text there, %q, which nothing converts", text)
		}
	}
	return nil
}

// resolved are units that were held against each other before: a rule's become a layout's once.
type resolved struct{ sync.Map }

type unitPair struct{ fromQuantity, from, toQuantity, to string }

// levels is the levels of units, which are looked up where limits and layout have met.
func (j *judge) levels(fromQuantity, from, toQuantity, to string) (scale, error) {
	if j.units == nil || from == "" || to == "" || from == to && fromQuantity == toQuantity {
		return levels(fromQuantity, from, toQuantity, to)
	}
	pair := unitPair{fromQuantity, from, toQuantity, to}
	if known, ok := j.units.Load(pair); ok {
		return known.(scale), nil
	}
	s, err := levels(fromQuantity, from, toQuantity, to)
	if err == nil {
		j.units.Store(pair, s)
	}
	return s, err
}

// levels is how a level in one unit is said in another; no unit at all means the other one.
func levels(fromQuantity, from, toQuantity, to string) (scale, error) {
	if from == "" || to == "" || from == to && fromQuantity == toQuantity {
		return nil, nil
	}
	if err := convertible(from, to); err != nil {
		return nil, err
	}
	c, err := units.BetweenQuantities(fromQuantity, from, toQuantity, to)
	if err != nil || c == (units.Converter{Factor: 1}) {
		return nil, err
	}
	return c.Level, nil
}

// spans is the factor by which a difference in one unit is said in another.
func spans(from, to string) (float64, error) {
	if from == "" || to == "" || from == to {
		return 1, nil
	}
	if err := convertible(from, to); err != nil {
		return 1, err
	}
	c, err := units.BetweenDifferences(from, to)
	return c.Factor, err
}

// selects says whether all that a selection gives holds of a table.
func selects(s *calibrationv1.Select, t *definition.Table) bool {
	return len(s.GetSignals()) == 0 && !slices.Contains(s.GetExcept(), t.ID) && (s.GetQuantity() == "" || s.GetQuantity() == t.Quantity) && (s.GetRole() == "" || s.GetRole() == t.Role) &&
		(len(s.GetTables()) == 0 || slices.Contains(s.GetTables(), t.ID))
}
