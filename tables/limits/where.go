package limits

import (
	"fmt"
	"maps"
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// where checks the stretches that a rule is confined to, by themselves.
func (c *ruleCheck) where() error {
	w := c.rule.GetWhere()
	if len(w) > 0 && !c.kind.where {
		return c.bad("where", "where beside "+kindNames(func(k *kind) bool { return k.where }), "%s holds everywhere", c.kind.name)
	}
	for _, q := range slices.Sorted(maps.Keys(w)) {
		s, field := w[q], whereField(q)
		switch {
		case q == "":
			return c.bad("where", "quantities, as in engine_speed", "the quantity is empty")
		case s.From == nil && s.To == nil:
			return c.bad(field, "from, to or both", "neither from nor to is given")
		case s.From != nil && s.To != nil && *s.From > *s.To:
			return c.bad(field+".from", fmt.Sprintf("at most to, %v", *s.To), "from %v is above to", *s.From)
		}
		if err := c.unit(field+".unit", s.GetUnit()); err != nil {
			return err
		}
	}
	return nil
}

func whereField(quantity string) string { return "where[" + quantity + "]" }

// whereFits asks that a table that is named has every quantity of where, in a unit that converts.
func (c *ruleCheck) whereFits(t *definition.Table) error {
	for _, q := range slices.Sorted(maps.Keys(c.rule.GetWhere())) {
		of, axis := t, axisFor(t, q)
		if other := c.lay.ByID[c.kind.against(c.rule)]; axis == nil && other != nil {
			of, axis = other, axisFor(other, q)
		}
		if axis == nil {
			if err := c.cannot(t, "tables with every quantity of where", "has no axis of quantity %q, which where confines", q); err != nil {
				return err
			}
			continue
		}
		if err := c.convert(whereField(q)+".unit", q, c.rule.GetWhere()[q].GetUnit(), q, axisUnit(axis), fmt.Sprintf("axis %q of table %q", axis.ID, of.ID)); err != nil {
			return err
		}
	}
	return nil
}

// stretch is a part of an axis in the axis' unit, ends included; nil is all of it.
type stretch struct{ from, to float64 }

func (s *stretch) holds(v float64) bool { return s == nil || v >= s.from && v <= s.to }

func (s *stretch) meets(a, b float64) bool {
	return s == nil || min(a, b) <= s.to && max(a, b) >= s.from
}

// ends are those of it that are breakpoints.
func (s *stretch) ends() []float64 {
	var out []float64
	if s != nil && !math.IsInf(s.from, 0) {
		out = append(out, s.from)
	}
	if s != nil && !math.IsInf(s.to, 0) && s.to != s.from {
		out = append(out, s.to)
	}
	return out
}

// stretchIn is a stretch in a unit of its quantity.
func stretchIn(quantity string, w *calibrationv1.Stretch, unit string) (*stretch, error) {
	to, err := levels(quantity, w.GetUnit(), quantity, unit)
	if err != nil {
		return nil, err
	}
	s := &stretch{math.Inf(-1), math.Inf(1)}
	if w.From != nil {
		s.from = to.of(*w.From)
	}
	if w.To != nil {
		s.to = to.of(*w.To)
	}
	return s, nil
}
