package definition

import (
	"fmt"
	"slices"
	"strings"

	"witnessmark/tables/units"
)

// lookup is an axis that is looked up through a curve.
type lookup struct {
	path, curve string
	axis        *Axis
}

// curves ties axes to the curves that they are looked up through, once all tables are known.
func (c *compiler) curves() {
	path := map[*Axis]string{}
	for _, l := range c.lookups {
		if path[l.axis] = l.path; c.wrong(c.curve(l)) || l.axis.By == nil {
			c.lost["by "+l.axis.ID] = true
		}
	}
	for _, l := range c.lookups {
		var trail []string
		for a := l.axis; a.By != nil; a = a.By.X {
			trail = append(trail, a.ID)
			if c.wrong(named(c.circle(path[a], trail, a.By.X.ID), "axis", a.ID)) {
				a.By, c.lost["by "+a.ID] = nil, true
				break
			}
		}
	}
}

func (c *compiler) curve(l lookup) error {
	t := c.lay.ByID[l.curve]
	switch {
	case t == nil && c.lost["table "+l.curve]:
		return nil
	case t == nil:
		return named(c.at.Errorf(l.path, "the id of a curve", "%.60q is no table", l.curve), "axis", l.axis.ID)
	case t.Kind != "curve" || t.Cells.Conv.Labels != nil:
		return named(c.at.Errorf(l.path, "a curve of numbers", "table %s is none", l.curve), "axis", l.axis.ID)
	}
	l.axis.By = t
	if _, err := throughCurve(l.axis); err != nil {
		l.axis.By = nil
		problem, allowed, _ := strings.Cut(err.Error(), "; allowed: ")
		return named(c.at.Errorf(l.path, allowed, "%s", problem), "axis", l.axis.ID)
	}
	return nil
}

// maxThrough is how many curves may be looked up through each other.
const maxThrough = 16

// circle refuses a trail of axes, each looked up through a curve over the next one, that leads back into itself.
func (c *compiler) circle(path string, trail []string, next string) error {
	if i := slices.Index(trail, next); i >= 0 {
		return c.at.Errorf(path, "no circles", "it is looked up through itself: %s", strings.Join(append(trail[i:], next), ", "))
	}
	if len(trail) > maxThrough {
		return c.at.Errorf(path, fmt.Sprintf("at most %d curves, each looked up through the next", maxThrough), "there are more")
	}
	return nil
}

// throughCurve turns the values of the curve that an axis is looked up through into the axis's unit. Where one of them has
// none, numbers are what they are.
func throughCurve(axis *Axis) (units.Converter, error) {
	if axis.Unit == "" || axis.By.Unit == "" {
		return units.Converter{Factor: 1}, nil
	}
	return units.BetweenQuantities(axis.By.Quantity, axis.By.Unit, axis.Quantity, axis.Unit)
}
