package definition

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"witnessmark/tables/yamldoc"
)

// computed is a definition with signals and nothing wrong; the refusals below each change one line of it.
const computed = `name: dx
byte_order: big
image: {size: 0x1000}
axes:
  - {id: speed, quantity: engine_speed, unit: 1/min, points: [1000, 3000]}
  - {id: filling, quantity: cylinder_filling, unit: "%", points: [50, 100]}
tables:
  - {id: meter, quantity: air_flow, unit: kg/h, stored: {address: 0, type: u8}, x: {quantity: meter_voltage, unit: V, points: [1, 2]}}
  - {id: base, quantity: advance, unit: deg, stored: {address: 0x10, type: s8}, x: {axis: speed}, y: {axis: filling}, protects: lower}
  - {id: air, quantity: advance, unit: deg, stored: {address: 0x20, type: s8}, x: {quantity: intake_temperature, unit: K, points: [290, 330]}}
  - {id: grade, quantity: grade, stored: {address: 0x30, type: u8}, conversion: {labels: {0: a, 1: b}}}
  - {id: gears, quantity: x, stored: {address: 0x31, type: u8}, conversion: {labels: {0: a, 1: b}}, x: {quantity: gear, unit: "1", points: [1, 2], index: true}}
  - {id: lonely, quantity: advance, unit: deg, stored: {address: 0x40, type: s8}, x: {quantity: humidity, unit: "%", points: [1, 2]}}
signals:
  - {id: filling.model, quantity: cylinder_filling, unit: "%", value: "table('meter') * 1250 / input('engine_speed')", feeds: true}
  - {id: plug, quantity: advance, unit: deg, step: 0.5, value: "table('base') + table('air') * (table('grade') == 1 ? 1 : 0.5)"}
  - {id: ratio, quantity: r, unit: "1", value: "signal('plug') / clamp(input('meter_voltage'), 0.5, 5)"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 600, to: 7200}
  - {quantity: meter_voltage, unit: V, from: 0.4, to: 4.9, fitted: air_meter_changed}
  - {quantity: intake_temperature, unit: Cel, from: -20, to: 80}
  - {quantity: gear, unit: "1", from: 1, to: 6}
`

func TestSignals(t *testing.T) {
	lay, err := Load("d.yaml", []byte(computed))
	if err != nil {
		t.Fatal(err)
	}
	say := func(s *Signal) string {
		var out []string
		for _, t := range s.Tables {
			out = append(out, t.ID)
		}
		for _, o := range s.Signals {
			out = append(out, "signal "+o.ID)
		}
		for _, in := range s.Inputs {
			out = append(out, in.Quantity)
		}
		return strings.Join(out, " ")
	}
	for id, want := range map[string]string{
		"filling.model": "meter engine_speed meter_voltage",
		"plug":          "meter base air grade signal filling.model engine_speed meter_voltage intake_temperature",
		"ratio":         "meter base air grade signal filling.model signal plug engine_speed meter_voltage intake_temperature",
	} {
		if got := say(lay.SignalByID[id]); got != want {
			t.Errorf("%s depends on %s, want %s", id, got, want)
		}
	}
	base, air := lay.ByID["base"], lay.ByID["air"]
	if base.Fed[0].Input != lay.Inputs[0] || base.Fed[1].Signal != lay.Signals[0] || base.Fed[1].Input != nil || base.Protects != "lower" {
		t.Errorf("base is fed by %+v and %+v", base.Fed[0], base.Fed[1])
	}
	if got := air.Fed[0].Level.Level(20); got != 293.15 {
		t.Errorf("20 Cel reach the axis as %v, want 293.15 K", got)
	}
	if lay.ByID["lonely"].Fed != nil || lay.SignalByID["plug"].Step != 0.5 || lay.Inputs[1].Fitted != "air_meter_changed" {
		t.Errorf("%+v", lay.SignalByID["plug"])
	}
}

var signalRefusals = []struct {
	old, new string
	line     int
	path     string
	says     string
}{
	{"protects: lower", "protects: low", 9, "tables[1].protects", `"low" is not known; allowed: lower, higher`},
	{"protects: lower", "observed: {}", 9, "tables[1].observed.channel", `table base: "" is none; allowed: the quantity of a run's channel, as in ignition_advance`},
	{"protects: lower", "observed: {channel: Ignition advance}", 9, "tables[1].observed.channel", `"Ignition advance" is none`},
	{"protects: lower", "observed: {channel: coolant_temperature}", 9, "tables[1].observed.channel", "table base: the channel coolant_temperature: Cel"},
	{"protects: lower", "observed: {channel: ignition_advance}", 0, "", ""},
	{"protects: lower", "observed: {channel: something_else}", 0, "", ""},
	{"id: grade, ", "observed: {channel: gear}, id: grade, ", 11, "tables[3].observed", "it holds labels, which no channel shows; allowed: tables of numbers"},
	{"step: 0.5", "observed: {channel: manifold_pressure}", 16, "signals[1].observed.channel", "signal plug: the channel manifold_pressure: kPa"},
	{`quantity: r, unit: "1"`, `observed: {channel: air_fuel_ratio}, quantity: lambda, unit: "1"`, 17, "signals[2].observed.channel", "air_fuel_ratio is another quantity than lambda; allowed: lambda"},
	{"quantity: engine_speed, unit: 1/min, from: 600", "quantity: '', unit: 1/min, from: 600", 19, "inputs[0].quantity", "the quantity is missing"},
	{"quantity: engine_speed, unit: 1/min, from: 600", "quantity: engine_speed, from: 600", 19, "inputs[0].unit", "the unit is missing"},
	{"from: 600, to: 7200", "from: 7200, to: 7200", 19, "inputs[0].to", "from 7200 to 7200; allowed: an end above from"},
	{"from: 600, to: 7200", "from: 600", 19, "inputs[0].to", "from 600 to 0"},
	{"from: 600, to: 7200", "from: 600, to: .inf", 19, "inputs[0].to", "finite"},
	{"fitted: air_meter_changed", "fitted: Air-meter", 20, "inputs[1].fitted", `"Air-meter" is none`},
	{`{quantity: gear, unit: "1", from`, `{quantity: engine_speed, unit: "1", from`, 22, "inputs[3].quantity", `"engine_speed" has a range already; allowed: one range for each quantity`},
	{"id: plug", "id: base", 16, "signals[1].id", "a table is called so too"},
	{"id: plug", "id: filling.model", 16, "signals[1].id", "already used by signals[0]"},
	{"id: plug", "id: 'a b'", 16, "signals[1].id", "letters, digits"},
	{"id: plug, quantity: advance", "id: plug", 16, "signals[1].quantity", "signal plug: the quantity is missing"},
	{"id: plug, quantity: advance, unit: deg", "id: plug, quantity: advance", 16, "signals[1].unit", "the unit is missing"},
	{"step: 0.5", "step: 0", 16, "signals[1].step", "0 is none; allowed: a finite number above 0"},
	{"step: 0.5", "step: -1", 16, "signals[1].step", "-1 is none"},
	{`value: "signal('plug') / clamp(input('meter_voltage'), 0.5, 5)"`, `title: x`, 17, "signals[2].value", "the value is missing"},
	{"table('air') *", "table('air') %", 16, "signals[1].value", `signal plug: 1:30: "%" is not known; allowed: numbers, + - * /`},
	{"table('air') * (", "table('air') * ((", 16, "signals[1].value", "signal plug: 1:"},
	{"table('air') *", "table('ari') *", 16, "signals[1].value", `signal plug: 1:23: "ari" is no table; allowed: meter, base, air`},
	{"signal('plug') /", "signal('plugs') /", 17, "signals[2].value", `signal ratio: 1:8: "plugs" is no signal; allowed: filling.model, plug, ratio`},
	{"input('engine_speed')", "input('speed')", 15, "signals[0].value", `signal filling.model: 1:31: "speed" is not among the inputs; allowed: engine_speed, meter_voltage, intake_temperature, gear`},
	{"signal('plug') /", "signal('ratio') /", 17, "signals[2].value", "1:8: it needs itself: ratio, ratio; allowed: no circles"},
	{"table('base') + table('air')", "signal('ratio') + table('air')", 17, "signals[2].value", "1:8: it needs itself: plug, ratio, plug"},
	{"table('meter') *", "table('base') *", 15, "signals[0].value", "1:7: it needs itself: filling.model, filling.model"},
	{"table('air') *", "table('lonely') *", 16, "signals[1].value", "1:23: table lonely has an axis of humidity, which nothing supplies"},
	{"table('air') *", "table('gears') * table('air') *", 0, "", ""},
	{`points: [1, 2], index: true`, `points: [1, 2]`, 0, "", ""},
	{"unit: Cel, from: -20", "unit: kPa, from: -20", 16, "signals[1].value", "1:23: table air, axis of intake_temperature: kPa is"},
	{`quantity: r, unit: "1"`, `feeds: true, quantity: cylinder_filling, unit: "1"`, 16, "signals[1].value", "1:7: table base has an axis of cylinder_filling, which several signals feed; allowed: from: with one of filling.model, ratio"},
	{"y: {axis: filling}", "y: {axis: filling, from: plug}", 9, "tables[1].y.from", `"plug" is no signal that feeds cylinder_filling; allowed: filling.model`},
	{"quantity: humidity, unit", "from: plug, quantity: humidity, unit", 13, "tables[5].x.from", `"plug" is no signal that feeds humidity; allowed: a signal of quantity humidity with feeds: true, of which there is none`},
	{"points: [1000, 3000]", "points: [1000, 3000], from: nowhere", 5, "axes[0].from", `"nowhere" is no signal`},
	{"clamp(input('meter_voltage'), 0.5, 5)", "(input('meter_voltage') - 1)", 17, "signals[2].value", "signal ratio: 1:16: the divisor can be zero within the ranges of the inputs; allowed: a divisor that cannot"},
	{"clamp(input('meter_voltage'), 0.5, 5)", "0", 17, "signals[2].value", "1:16: the divisor can be zero"},
	{"clamp(input('meter_voltage'), 0.5, 5)", "(input('gear') == 2 ? input('gear') - 2 : 1)", 17, "signals[2].value", "1:16: the divisor can be zero"},
	{"clamp(input('meter_voltage'), 0.5, 5)", "(3 / input('intake_temperature') > 1 ? 1 : 2)", 17, "signals[2].value", "1:21: the divisor can be zero"},
	{"clamp(input('meter_voltage'), 0.5, 5)", "(1 < input('meter_voltage') ? 1 / (input('meter_voltage') - 1) : 1)", 17, "signals[2].value", "1:50: the divisor can be zero"},
}

func TestSignalRefusals(t *testing.T) {
	for _, tt := range signalRefusals {
		if strings.Count(computed, tt.old) != 1 {
			t.Errorf("%q is %d times in the definition", tt.old, strings.Count(computed, tt.old))
			continue
		}
		_, err := Load("d.yaml", []byte(strings.Replace(computed, tt.old, tt.new, 1)))
		var e *yamldoc.Error
		switch {
		case tt.says == "" && err != nil:
			t.Errorf("%q for %q: %v", tt.new, tt.old, err)
		case tt.says == "":
		case !errors.As(err, &e):
			t.Errorf("%q for %q: %v, want a refusal", tt.new, tt.old, err)
		case e.Line != tt.line || e.Path != tt.path || !strings.Contains(err.Error(), tt.says) || strings.Contains(err.Error(), "\n"):
			t.Errorf("%q for %q:\n%v\nwant line %d, %s, and %q", tt.new, tt.old, err, tt.line, tt.path, tt.says)
		}
	}
}

// What looks like a fault and is none.
func TestSignalsAccepted(t *testing.T) {
	for _, tt := range []struct{ old, new string }{
		// A table in the divisor: whether it is zero is the image's affair.
		{"clamp(input('meter_voltage'), 0.5, 5)", "(table('air') - input('meter_voltage'))"},
		{"clamp(input('meter_voltage'), 0.5, 5)", "min(table('air'), 0)"},
		// The condition keeps the divisor away from zero.
		{"clamp(input('meter_voltage'), 0.5, 5)", "(input('meter_voltage') > 1.5 && input('gear') < 3 ? input('meter_voltage') - 1 : 1)"},
		{"clamp(input('meter_voltage'), 0.5, 5)", "(input('meter_voltage') <= 1.5 || input('gear') < 3 ? 1 : input('meter_voltage') - 1)"},
		{"clamp(input('meter_voltage'), 0.5, 5)", "(!(1.5 < input('meter_voltage')) ? 1 : input('meter_voltage') - 1)"},
		{"clamp(input('meter_voltage'), 0.5, 5)", "(input('gear') == 2 ? input('gear') - 1 : 1)"},
		{"clamp(input('meter_voltage'), 0.5, 5)", "(input('gear') == 2 ? input('gear') - 3 : -1)"},
		{"clamp(input('meter_voltage'), 0.5, 5)", "(input('intake_temperature') + 273.15)"},
		{"clamp(input('meter_voltage'), 0.5, 5)", "max(-input('meter_voltage'), 2)"},
		// Several signals feed a quantity, and the axis says which.
		{"y: {axis: filling}", "y: {axis: filling, from: filling.model}"},
		{"points: [50, 100]", "points: [50, 100], from: filling.model"},
	} {
		file := strings.Replace(computed, tt.old, tt.new, 1)
		if strings.Contains(tt.new, "from:") {
			file = strings.Replace(file, `quantity: r, unit: "1"`, `feeds: true, quantity: cylinder_filling, unit: "1"`, 1)
		}
		if _, err := Load("d.yaml", []byte(file)); err != nil {
			t.Errorf("%q for %q: %v", tt.new, tt.old, err)
		}
	}
}

// A label table over an axis that is interpolated has no value between; over an index axis it has.
func TestLabelsOverAnAxis(t *testing.T) {
	file := strings.Replace(computed, "table('air') *", "table('gears') *", 1)
	if _, err := Load("d.yaml", []byte(file)); err != nil {
		t.Error(err)
	}
	file = strings.Replace(file, "points: [1, 2], index: true", "points: [1, 2]", 1)
	if _, err := Load("d.yaml", []byte(file)); err == nil || !strings.Contains(err.Error(), "1:23: table gears holds labels, which have no value between its breakpoints") {
		t.Errorf("%v", err)
	}
}

func TestTooManyInputsOfASignal(t *testing.T) {
	var sum, inputs []string
	for i := range 9 {
		sum = append(sum, fmt.Sprintf("input('q%d')", i))
		inputs = append(inputs, fmt.Sprintf("{quantity: q%d, unit: V, from: 0, to: 1}", i))
	}
	file := func(n int) []byte {
		return fmt.Appendf(nil, "name: d\nbyte_order: big\nimage: {size: 1}\nsignals:\n  - {id: s, quantity: q, unit: V, value: \"%s\"}\ninputs: [%s]\n", strings.Join(sum[:n], " + "), strings.Join(inputs, ", "))
	}
	if _, err := Load("d", file(8)); err != nil {
		t.Error(err)
	}
	if _, err := Load("d", file(9)); err == nil || !strings.Contains(err.Error(), "it depends on 9 inputs; allowed: at most 8") {
		t.Errorf("%v", err)
	}
}
