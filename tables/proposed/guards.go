package proposed

import (
	"strings"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/units"
)

// step is how far a value of some quantities may move from what was there before somebody wants a look at it, in a unit; per cent
// without one. The sizes are common practice for one step, without a source. A negative bound is none.
type step struct {
	id, sum    string // of the rule on tables, and of that on signals; empty for none
	quantities []string
	unit       string
	up, down   float64
	reason     string
}

const none = -1

var steps = []step{
	{"advance-step", "advance-sum", []string{"ignition_advance"}, "deg", 3, 12, "More advance in one step can bring knock before anybody hears it; much less burns on into the exhaust."},
	{"boost-step", "boost-sum", []string{"manifold_pressure"}, "kPa", 15, none, "More boost in one step wants a run on the rolling road in between."},
	{"filling-step", "", []string{"cylinder_filling"}, "", 10, none, "More air in the cylinder is more boost, heat and torque."},
	{"lean-step", "lean-sum", []string{"lambda", "air_fuel_ratio"}, "", 2, none, "A leaner mixture wants a run with a wide-band sensor."},
	{"lean-step-inverse", "lean-sum-inverse", []string{"equivalence_ratio"}, "", none, 2, "A leaner mixture wants a run with a wide-band sensor."},
	{"torque-step", "torque-sum", []string{"engine_torque", "torque", "torque_request"}, "", 10, none, "More torque has to pass clutch and gearbox."},
	{"fuel-step", "fuel-sum", []string{"injection_time", "fuel_mass", "fuel_factor"}, "", 10, 5, "Less fuel for the same air is a leaner engine; much more washes the bores."},
	{"fuel-pressure-step", "", []string{"fuel_pressure"}, "", 10, 10, "Injectors and pump meet another pressure."},
	{"dwell-step", "", []string{"dwell_time"}, "", 10, 10, "Coils that charge longer grow hotter; shorter, the spark goes out under load."},
	{"duty-step", "", []string{"wastegate_duty"}, "%", 10, none, "Boost overshoots after a larger step."},
	{"cam-step", "", []string{"cam_advance"}, "deg", 5, 5, "A camshaft that moves changes the air in the cylinder."},
	{"idle-step", "", []string{"idle_speed"}, "", 10, 10, "Idle speed moves with what hangs on the engine."},
}

func (s *step) of(quantity string) bool {
	for _, q := range s.quantities {
		if q == quantity {
			return true
		}
	}
	return false
}

func (s *step) converts(unit string) bool {
	if s.unit == "" {
		return true
	}
	_, err := units.BetweenDifferences(s.unit, unit)
	return unit != "" && err == nil
}

func (s *step) rule(id string) *calibrationv1.Rule { return change(id, s.reason, s.unit, s.up, s.down) }

// change is a rule that bounds how far cells move from the base.
func change(id, reason, unit string, up, down float64) *calibrationv1.Rule {
	c := &calibrationv1.Change{Unit: unit, Percent: unit == ""}
	if up >= 0 {
		c.MaxUp = proto.Float64(up)
	}
	if down >= 0 {
		c.MaxDown = proto.Float64(down)
	}
	return &calibrationv1.Rule{Id: id, Reason: reason, Kind: &calibrationv1.Rule_Change{Change: c}}
}

func frozen(id, reason string) *calibrationv1.Rule {
	return &calibrationv1.Rule{Id: id, Reason: reason, Kind: &calibrationv1.Rule_Frozen{Frozen: &calibrationv1.Frozen{}}}
}

func numeric(t *definition.Table) bool { return t.Kind != "text" && t.Cells.Conv.Labels == nil }

// bounds says that a table is where something is held back, and not what is aimed at.
func bounds(t *definition.Table) bool { return t.Role == "limit" || t.Role == "threshold" }

// hardware are quantities of tables that describe a part.
func hardware(t *definition.Table) bool {
	switch t.Quantity {
	case "air_flow", "injector_flow", "injector_deadtime":
		return true
	}
	return len(t.Feeds) > 0
}

// guard proposes for each table the one rule that says how it may move: of what is to stay as it was, the first that applies.
func (p *proposer) guard() {
	done := map[*definition.Table]bool{}
	propose := func(r *calibrationv1.Rule, of func(*definition.Table) bool) {
		tables := p.among(func(t *definition.Table) bool { return !done[t] && of(t) })
		for _, t := range tables {
			done[t] = true
		}
		p.add(r, tables...)
	}
	propose(frozen("switches-kept", "It turns a part of the program on or off."), func(t *definition.Table) bool {
		return t.Role == "switch" || t.Protects != "" && !numeric(t)
	})
	propose(change("protection-kept-low", "It protects the engine while it is low.", "", 0, none), func(t *definition.Table) bool { return t.Protects == "lower" })
	propose(change("protection-kept-high", "It protects the engine while it is high.", "", none, 0), func(t *definition.Table) bool { return t.Protects == "higher" })
	propose(frozen("limiters-kept", "Engine and car are held back here by what they bear."), func(t *definition.Table) bool {
		return t.Role == "limit" && (t.Quantity == "engine_speed" || t.Quantity == "road_speed")
	})
	propose(frozen("heat-kept", "What is done against heat begins here."), func(t *definition.Table) bool {
		return bounds(t) && strings.HasSuffix(t.Quantity, "_temperature")
	})
	propose(frozen("knock-kept", "Knock is told here from other noise."), func(t *definition.Table) bool { return bounds(t) && strings.HasPrefix(t.Quantity, "knock_") })
	propose(change("boost-limit-kept", "It saves the engine when boost runs away.", "", 0, none), func(t *definition.Table) bool {
		return bounds(t) && (t.Quantity == "manifold_pressure" || t.Quantity == "cylinder_filling") && numeric(t)
	})
	propose(frozen("parts-kept", "It describes a part, and is another one where the part is."), hardware)
	for i := range steps {
		s := &steps[i]
		propose(s.rule(s.id), func(t *definition.Table) bool { return s.of(t.Quantity) && numeric(t) && s.converts(t.Unit) })
	}
	propose(frozen("bounds-kept", "Something is held back, or begins, here."), bounds)
	p.lean()
}

// loads are axes on which load begins where a cylinder holds what it would at rest, and the manifold has the air outside.
var loads = []struct {
	id, quantity, unit, words string
	from                      float64
}{{"under-load", "cylinder_filling", "%", "a full cylinder", 100}, {"under-boost", "manifold_pressure", "kPa", "the pressure outside", 100}}

// lean has mixture under load stay as rich as it was.
func (p *proposer) lean() {
	for _, s := range steps {
		if !s.of("lambda") && !s.of("equivalence_ratio") {
			continue
		}
		for _, l := range loads {
			r := change(strings.Replace(s.id, "step", l.id, 1), "From "+l.words+" on, fuel cools piston, valves and turbine.", "", min(s.up, 0), min(s.down, 0))
			r.Where = map[string]*calibrationv1.Stretch{l.quantity: {From: proto.Float64(l.from), Unit: l.unit}}
			p.add(r, p.among(func(t *definition.Table) bool {
				return s.of(t.Quantity) && numeric(t) && !bounds(t) && t.Protects == "" && measures(t, l.quantity, l.unit)
			})...)
		}
	}
}

// measures says whether a table has an axis of a quantity in a unit that converts.
func measures(t *definition.Table, quantity, unit string) bool {
	for _, a := range t.Axes {
		if a.Quantity == quantity {
			_, err := units.BetweenQuantities(quantity, unit, quantity, a.Unit)
			return a.Unit != "" && err == nil && !a.Index && a.Labels == nil
		}
	}
	return false
}

// signals proposes the same steps for what the controller makes of its tables: knock does not ask which table advance came from.
func (p *proposer) signals() {
	for _, s := range steps {
		var ids []string
		for _, sig := range p.lay.Signals {
			if s.sum != "" && s.of(sig.Quantity) && s.converts(sig.Unit) && len(sig.Inputs) <= bounded.MaxInputs {
				ids = append(ids, sig.ID)
			}
		}
		r := s.rule(s.sum)
		r.Select, r.Reason = &calibrationv1.Select{Signals: ids}, r.Reason+" The sum counts, whichever table it comes from."
		p.add(r)
	}
}
