package imported

import (
	"fmt"
	"math"
	"strconv"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
)

const (
	source  = "the definition's own limits"
	noLimit = 1e37 // a float beyond it says that there is none
	level   = "caution"
)

// declared are the bounds of an object, physical; nil where the type has no other values.
type declared struct {
	min, max *float64
	empty    bool // the upper one is no more than the lower one
}

// declaredBy leaves away a bound that no raw value can break.
func declaredBy(c *a2l.Characteristic, m *means, r raw) *declared {
	if c.Lower >= c.Upper {
		return &declared{empty: true}
	}
	low, high, half := span(m, r)
	d := &declared{}
	if c.Lower > low+half && c.Lower > -noLimit {
		d.min = &c.Lower
	}
	if c.Upper < high-half && c.Upper < noLimit {
		d.max = &c.Upper
	}
	if d.min == nil && d.max == nil {
		return nil
	}
	return d
}

// span is what a type can mean, and half a raw step, by which bounds may be rounded; boundless where that is not simple.
func span(m *means, r raw) (low, high, half float64) {
	if p := m.conv.GetPoints(); p != nil {
		low, high = math.Inf(1), math.Inf(-1)
		for _, v := range p.GetPhysical() {
			low, high = min(low, v), max(high, v)
		}
		if p.GetOutside() != nil {
			low, high = min(low, p.GetOutside().GetNumberValue()), max(high, p.GetOutside().GetNumberValue())
		}
		return low, high, 0
	}
	if m.fn == nil {
		return r.low, r.high, 0
	}
	factor, offset, ok := m.fn.straight()
	if !ok {
		return math.Inf(-1), math.Inf(1), 0
	}
	f, _ := factor.Float64()
	o, _ := offset.Float64()
	a, b := float64(r.low*f)+o, float64(r.high*f)+o
	if !r.float {
		half = math.Abs(f) / 2
	}
	return min(a, b), max(a, b), half
}

// limits makes a rule of bounds that tables have in common.
func (im *importer) limits() {
	type bounds struct {
		unit, low, high string
	}
	out := &calibrationv1.Limits{Name: im.out.Definition.GetName() + "-declared", Title: "What the author of the definition declared", AppliesTo: []string{im.out.Definition.GetName()}}
	rules := map[bounds]*calibrationv1.Rule{}
	kept := map[string]*calibrationv1.Table{}
	for _, t := range im.out.Definition.Tables {
		kept[t.GetId()] = t
	}
	for _, c := range im.m.Characteristics {
		b := im.built[c.Name]
		if b == nil || b.why != nil || kept[b.table.GetId()] == nil || b.limits == nil {
			continue
		}
		d := b.limits
		switch {
		case d.empty:
			im.say(c.Place, c.Name, true, "its limits %v to %v say nothing", c.Lower, c.Upper)
			continue
		case b.table.GetUnit() == "":
			im.say(c.Place, c.Name, true, "its limits are left away, since no rule converts the unit %q", b.table.GetUnitText())
			continue
		}
		key := bounds{b.table.GetUnit(), bound(d.min), bound(d.max)}
		r := rules[key]
		if r == nil {
			r = &calibrationv1.Rule{Id: fmt.Sprintf("declared.%d", len(rules)+1), Severity: level, Select: &calibrationv1.Select{}, Declared: true, Source: source,
				Reason: fmt.Sprintf("The definition's author declared %s%s.", stretch(key.low, key.high), unitAfter(key.unit)),
				Kind:   &calibrationv1.Rule_Range{Range: &calibrationv1.Range{Unit: key.unit, Min: d.min, Max: d.max}}}
			rules[key] = r
			out.Rules = append(out.Rules, r)
		}
		r.Select.Tables = append(r.Select.Tables, b.table.GetId())
	}
	im.dependents(out, kept)
	im.out.Limits = out
}

func bound(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}

func stretch(low, high string) string {
	switch {
	case low == "":
		return "at most " + high
	case high == "":
		return "at least " + low
	}
	return low + " to " + high
}

func unitAfter(unit string) string {
	if unit == "1" {
		return ""
	}
	return " " + unit
}
