package proposed

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/units"
)

// mostLimits is how many limits of a quantity its targets are held against.
const mostLimits = 20

// against keeps what is asked for under what cuts it off: only where the limit varies along nothing that the target does not know.
func (p *proposer) against() {
	for _, q := range []struct{ id, quantity string }{{"boost", "manifold_pressure"}, {"torque", "engine_torque"}} {
		limits := p.among(func(t *definition.Table) bool {
			return t.Quantity == q.quantity && t.Role == "limit" && numeric(t) && t.Protects != "higher"
		})
		for i, limit := range limits[:min(mostLimits, len(limits))] {
			p.add(&calibrationv1.Rule{Id: fmt.Sprintf("%s-below-limit-%d", q.id, i+1), Reason: "What is asked for beyond " + limit.ID + " makes it come in normal driving.",
				Kind: &calibrationv1.Rule_Below{Below: &calibrationv1.Against{Table: limit.ID}}},
				p.among(func(t *definition.Table) bool {
					return t.Quantity == q.quantity && t.Role == "target" && numeric(t) && under(t, limit)
				})...)
		}
	}
}

// under says whether a limit can be held against a target point by point.
func under(t, limit *definition.Table) bool {
	if _, err := units.BetweenQuantities(t.Quantity, t.Unit, limit.Quantity, limit.Unit); err != nil || t.Unit == "" || limit.Unit == "" {
		return false
	}
	return !slices.ContainsFunc(limit.Axes, func(a *definition.Axis) bool {
		i := slices.IndexFunc(t.Axes, func(own *definition.Axis) bool { return own.Quantity == a.Quantity })
		if a.Quantity == "" || i < 0 || a.Unit == "" {
			return true
		}
		_, err := units.BetweenQuantities(a.Quantity, a.Unit, t.Axes[i].Quantity, t.Axes[i].Unit)
		return err != nil
	})
}

// directions has curves that describe something go on as they do: in the image, or as such parts work.
func (p *proposer) directions() error {
	rising, falling := p.among(rises), p.among(falls)
	if p.im != nil {
		curves := p.among(describes)
		up, down := direction("rising", curves), direction("falling", curves)
		saw, err := p.check([]*proposal{up, down})
		if err != nil {
			return err
		}
		rising = p.among(func(t *definition.Table) bool { return describes(t) && saw.keeps(up, t) && !saw.keeps(down, t) })
		falling = p.among(func(t *definition.Table) bool { return describes(t) && saw.keeps(down, t) && !saw.keeps(up, t) })
	}
	for _, r := range []*proposal{direction("rising", rising), direction("falling", falling)} {
		p.add(r.rule, r.tables...)
	}
	return nil
}

func direction(word string, tables []*definition.Table) *proposal {
	return &proposal{&calibrationv1.Rule{Id: "curves-" + word, Severity: level, Reason: "It goes one way, as what it describes does.",
		Kind: &calibrationv1.Rule_Monotonic{Monotonic: &calibrationv1.Monotonic{Of: "values", Along: "x", Direction: word}}}, tables}
}

// describes says whether a table is a curve of what a part does.
func describes(t *definition.Table) bool {
	return t.Kind == "curve" && numeric(t) && !t.X.Index && (t.Role == "transfer" || hardware(t))
}

// rises and falls are curves whose way is known without an image: a meter's signal rises with the air that passes it, and an
// injector opens sooner at a higher voltage.
func rises(t *definition.Table) bool {
	return describes(t) && t.Quantity == "air_flow" && t.X.Quantity == "meter_voltage"
}

func falls(t *definition.Table) bool {
	return describes(t) && t.Quantity == "injector_deadtime" && t.X.Quantity == "battery_voltage"
}

// smooths are quantities of targets in which one cell that stands out is more often a slip than a wish.
var smooths = []struct{ id, quantity, unit string }{
	{"advance-lump", "ignition_advance", "deg"}, {"boost-lump", "manifold_pressure", "kPa"}, {"lambda-lump", "lambda", "1"}, {"torque-lump", "engine_torque", "N.m"},
}

// smooth lets targets be no rougher than the roughest of their quantity is in the image, or than two raw steps.
func (p *proposer) smooth() error {
	var rules []*proposal
	for _, s := range smooths {
		tables := p.among(func(t *definition.Table) bool {
			return t.Quantity == s.quantity && t.Role == "target" && numeric(t) && bends(t, s.unit)
		})
		if len(tables) > 0 {
			rules = append(rules, &proposal{&calibrationv1.Rule{Id: s.id, Severity: level, Reason: "No table of the kind stands out by more between neighbours in the image that was given.",
				Kind: &calibrationv1.Rule_Lump{Lump: &calibrationv1.Lump{Unit: s.unit, Max: proto.Float64(0)}}}, tables})
		}
	}
	saw, err := p.check(rules)
	if err != nil {
		return err
	}
	for _, r := range rules {
		lump := r.rule.GetLump()
		roughest := 0.0
		for _, t := range r.tables {
			most := 0.0
			if t.Cells.Conv.Affine() {
				most = 2 * t.Cells.Conv.Step()
			}
			most = max(most, saw.of(r, t).GetWorst().GetValue())
			in, err := units.ConvertDifference(t.Unit, lump.GetUnit(), most)
			if err != nil {
				return err
			}
			roughest = max(roughest, in)
		}
		if lump.Max = proto.Float64(upwards(roughest)); !math.IsInf(roughest, 0) {
			p.add(r.rule, r.tables...)
		}
	}
	return nil
}

// bends says whether a table has an axis between whose points it is read, and values in a unit that converts.
func bends(t *definition.Table, unit string) bool {
	_, err := units.BetweenDifferences(unit, t.Unit)
	return t.Unit != "" && err == nil && slices.ContainsFunc(t.Axes[:min(2, len(t.Axes))], func(a *definition.Axis) bool { return !a.Index })
}

// upwards rounds to three digits, away from zero.
func upwards(v float64) float64 {
	if v == 0 || math.IsInf(v, 0) {
		return v
	}
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-2)
	n := math.Ceil(v/unit - 1e-9)
	out, _ := strconv.ParseFloat(strconv.FormatFloat(n*unit, 'g', 3, 64), 64)
	return out
}
