package limits

import (
	"math"

	"witnessmark/tables/definition"
)

var lumpKind = &kind{name: "lump", parse: (*ruleCheck).lump, fits: (*ruleCheck).lumpFits, judge: (*subject).lump, where: true}

func (c *ruleCheck) lump() error {
	r := c.rule.GetLump()
	if err := c.unit("lump.unit", r.GetUnit()); err != nil {
		return err
	}
	if r.GetAlong() != "" {
		if err := c.word("lump.along", r.GetAlong(), "x", "y"); err != nil {
			return err
		}
	}
	return c.atLeastZero("lump.max", r.Max)
}

func (c *ruleCheck) lumpFits(t *definition.Table) error {
	r := c.rule.GetLump()
	if err := c.differenceOf("lump.unit", r.GetUnit(), t); err != nil {
		return err
	}
	usable := false
	for _, along := range []string{"x", "y"} {
		if axis := axisAlong(t, along); axis != nil && !axis.Index && (r.GetAlong() == "" || r.GetAlong() == along) {
			usable = true
		}
	}
	if usable {
		return nil
	}
	if r.GetAlong() == "" {
		return c.cannot(t, "curves and maps with an axis that measures something", "has no axis to go along")
	}
	return c.cannot(t, "tables with the axis that along names, measuring something", "has no such %s axis", r.GetAlong())
}

// lump judges how far an inner cell lies off the straight line through its two neighbours.
func (s *subject) lump() error {
	r := s.rule.GetLump()
	limit, err := spans(r.GetUnit(), valueUnit(s.t))
	if err != nil {
		return err
	}
	limit *= r.GetMax()
	along := []string{"x", "y"}
	if r.GetAlong() != "" {
		along = []string{r.GetAlong()}
	}
	return s.neighbours(along, false, opinion{ceiling: true, all: lumpsWithin(limit), of: func(t *track, i, cell int) (value, most float64, by int, ok bool) {
		if i < 1 || i+1 >= len(t.points) || t.points[i-1] == t.points[i+1] || t.off(cell, -1, 0, 1) {
			return 0, 0, 0, false
		}
		a, b, c := t.f.values[cell-t.stride], t.f.values[cell], t.f.values[cell+t.stride]
		part := (t.points[i] - t.points[i-1]) / (t.points[i+1] - t.points[i-1])
		straight := a + float64(part*(c-a))
		return math.Abs(b - straight), limit, 0, true
	}})
}

// lumpsWithin is the rule at a glance.
func lumpsWithin(limit float64) func(t *track) (int, bool) {
	return func(t *track) (int, bool) {
		n, apart := t.lines()
		inner := max(len(t.points)-2, 0)
		for i := 1; i <= inner; i++ {
			if t.points[i-1] == t.points[i+1] || !(limit <= math.MaxFloat64) {
				return 0, false
			}
			part := (t.points[i] - t.points[i-1]) / (t.points[i+1] - t.points[i-1])
			for line, at := 0, i*t.stride; line < n; line, at = line+1, at+apart {
				a, b, c := t.f.values[at-t.stride], t.f.values[at], t.f.values[at+t.stride]
				if straight := a + float64(part*(c-a)); !(math.Abs(b-straight) <= limit) {
					return 0, false
				}
			}
		}
		return n * inner, true
	}
}
