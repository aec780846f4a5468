package demo

import (
	"math"
	"slices"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/image"
)

// compared is what the demo's definition and limits say of edits to the car as found.
func compared(t *testing.T, edits []edit, numbers map[string]float64) *calibrationv1.Report {
	t.Helper()
	lay, lim := load(t)
	found := &memory{lay, file(t, "asfound.bin")}
	changed, err := found.edited(edits)
	if err != nil {
		t.Fatal(err)
	}
	r, err := compare.Compare(compare.Input{
		Base: whole(t, "asfound.bin"), Candidate: image.Whole(0, changed.bytes), Layout: lay, Limits: lim,
		Job: &calibrationv1.JobFacts{Fuel: "98 RON", Numbers: numbers},
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// by adds to every cell of a table; to sets it.
func by(table string, step float64) edit {
	return edit{table, func(_, _, from float64) float64 { return from + step }}
}

func to(table string, v float64) edit {
	return edit{table, func(_, _, _ float64) float64 { return v }}
}

// Ways in which a modified map commonly wrecks an engine: common practice, no source. Each must be
// found by the rule that is there for it.
func TestWhatWrecksEnginesIsFound(t *testing.T) {
	for _, c := range []struct {
		name    string
		edits   []edit
		numbers map[string]float64
		want    []string // findings that there must be, among others
	}{
		{"advance past the knock limit at the torque peak", []edit{{"ignition.98", func(rpm, load, from float64) float64 {
			return from + 4*between(rpm, 3000, 4500)*between(load, 140, 200)
		}}}, nil, []string{"warning advance-ceiling:ignition.98", "warning advance-at-plug:advance.plug"}},
		{"lean under boost", []edit{{"lambda.target", func(_, load, from float64) float64 {
			return max(from, 0.9921875*between(load, 120, 220))
		}}}, nil, []string{"warning lambda-under-load:lambda.target", "warning lambda-burnt:lambda.commanded"}},
		{"a boost target above the cut", []edit{{"boost.target", func(rpm, pedal, from float64) float64 {
			return from + 24*between(rpm, 3000, 5500)*between(pedal, 100, 100)
		}}}, nil, []string{"danger cut-above-target:boost.target"}},
		{"a boost target past the last breakpoint of the wastegate", []edit{{"boost.target", func(rpm, pedal, from float64) float64 {
			return from + 20*between(rpm, 3000, 5500)*between(pedal, 100, 100)
		}}}, nil, []string{"caution new-ground:boost.target"}},
		{"a rev limit above what fuel and ignition hold", []edit{to("limiter.soft", 7350), to("limiter.hard", 7500), to("limiter.hard.check", 7500)},
			nil, []string{"danger rev-limit:limiter.hard", "caution new-ground:limiter.hard"}},
		{"the speed limiter raised", []edit{to("limiter.vehicle", 250)}, nil, []string{"warning vehicle-limit:limiter.vehicle"}},
		{"an injector constant without the injectors", []edit{to("injector.flow", 430)}, nil,
			[]string{"danger injectors-fitted:injector.flow"}},
		{"knock retard taken out", []edit{to("knock.retard_limit", 0)}, nil, []string{"warning protection-weakened:knock.retard_limit"}},
		{"knock made deaf", []edit{to("knock.threshold", 6)}, nil,
			[]string{"danger knock-threshold:knock.threshold", "warning protection-weakened:knock.threshold"}},
		{"knock control switched off", []edit{{"option.knock", func(_, _, _ float64) float64 { return 0 }}}, nil,
			[]string{"warning options-stay:option.knock", "warning protection-weakened:option.knock"}},
		{"intake air and coolant corrections taken out", []edit{
			{"ignition.intake", func(_, _, from float64) float64 { return max(from, 0) }},
			{"ignition.coolant", func(_, _, from float64) float64 { return max(from, 0) }},
		}, nil, []string{"warning protection-weakened:ignition.intake", "warning protection-weakened:ignition.coolant", "warning advance-in-heat:advance.plug"}},
		{"enrichment for component protection taken out", []edit{to("lambda.protect", 1)}, nil,
			[]string{"danger protection-rich:lambda.protect", "warning protection-weakened:lambda.protect", "danger lambda-hot:lambda.commanded"}},
		{"protection begins too hot", []edit{to("protect.exhaust", 975)}, nil, []string{"warning protection-weakened:protect.exhaust"}},
		{"an air meter rescaled", []edit{{"airflow.transfer", func(_, _, from float64) float64 { return math.Round(from*8.8) / 10 }}}, nil,
			[]string{"warning meaning-moved:airflow.transfer", "warning fuel-at-the-same-air:fuel.mass", "caution advance-at-the-same-air:advance.plug"}},
		{"diagnosis of boost and misfire made blind", []edit{to("boost.overshoot", 100), to("diagnosis.misfire", 200)}, nil,
			[]string{"warning protection-weakened:boost.overshoot", "warning protection-weakened:diagnosis.misfire", "warning boost-overshoot:boost.overshoot", "warning misfire-count:diagnosis.misfire"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := keysOf(compared(t, c.edits, c.numbers))
			for _, want := range c.want {
				if !slices.Contains(got, want) {
					t.Errorf("found %q\nand not %s", got, want)
				}
			}
		})
	}
}

// Edits that careful calibrators make every day: they must stay clear, or nobody reads findings any more.
func TestWhatHarmsNobodyIsClear(t *testing.T) {
	for _, c := range []struct {
		name    string
		edits   []edit
		numbers map[string]float64
	}{
		{"idle a little higher", []edit{by("idle.speed", 20)}, nil},
		{"a richer cold start", []edit{by("fuel.cranking", 1)}, nil},
		{"a little more warm-up", []edit{by("fuel.warmup", 0.015625)}, nil},
		{"less advance under load", []edit{{"ignition.98", func(_, load, from float64) float64 { return from - degStep*between(load, 140, 220) }},
			{"ignition.base", func(_, load, from float64) float64 { return from - degStep*between(load, 140, 220) }}}, nil},
		{"less boost", []edit{{"boost.target", func(rpm, pedal, from float64) float64 {
			return from - 3*between(pedal, 85, 100)*between(rpm, 2500, 7200)
		}}}, nil},
		{"the fan earlier", []edit{by("fan.on", -1.6), by("fan.off", -1.6)}, nil},
		{"richer under load", []edit{{"lambda.target", func(_, load, from float64) float64 { return from - lambdaStep*between(load, 140, 220) }}}, nil},
		{"coils charged a little longer", []edit{by("ignition.dwell", 0.05)}, nil},
		{"a softer pedal", []edit{{"pedal.map", func(_, pedal, from float64) float64 { return from - 1*between(pedal, 20, 85) }}}, nil},
		{"a little less torque by gear", []edit{by("torque.gear", -5), by("torque.limit", -5)}, nil},
		{"injectors changed, and the job says so", []edit{to("injector.flow", 400)}, map[string]float64{"injectors_changed": 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if r := compared(t, c.edits, c.numbers); r.GetVerdict() != "clear" {
				t.Errorf("%s: %q", r.GetVerdict(), keysOf(r))
			}
		})
	}
}
