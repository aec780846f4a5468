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
	return s.neighbours(along, false, opinion{false, true, func(t *track, i, cell int) (value, most float64, by int, ok bool) {
		if i < 1 || i+1 >= len(t.points) || t.points[i-1] == t.points[i+1] || t.off(cell, -1, 0, 1) {
			return 0, 0, 0, false
		}
		a, b, c := t.f.values[cell-t.stride], t.f.values[cell], t.f.values[cell+t.stride]
		part := (t.points[i] - t.points[i-1]) / (t.points[i+1] - t.points[i-1])
		straight := a + float64(part*(c-a))
		return math.Abs(b - straight), limit, 0, true
	}})
}
