package limits

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/yamldoc"
)

// car is what the limits below are held against.
const car = `
name: dx
byte_order: big
image: {size: 0x1000}
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, points: [1000, 3000, 6000]}
  - {id: load, quantity: cylinder_filling, unit: "%", points: [40, 100]}
  - {id: gear, quantity: gear, unit: "1", points: [1, 2, 3], index: true}
signals:
  - {id: plug, quantity: advance, unit: deg, value: "table('base') + 2.0"}
  - {id: filling.a, quantity: filling, unit: "%", feeds: true, value: "input('engine_speed') / 100.0"}
  - {id: flow.a, quantity: flow, unit: kg/h, feeds: true, value: "input('engine_speed') * 1.0"}
  - {id: flow.b, quantity: flow, unit: kg/h, feeds: true, value: "input('engine_speed') * 2.0"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 500, to: 7000}
  - {quantity: cylinder_filling, unit: "%", from: 10, to: 120}
tables:
  - {id: base, quantity: advance, role: target, unit: deg, stored: {address: 0x000, type: s8}, x: {axis: rpm}, y: {axis: load}}
  - {id: trim, quantity: advance, role: correction, unit: deg, stored: {address: 0x010, type: s8}, x: {axis: gear}}
  - {id: boost, quantity: manifold_pressure, role: target, unit: kPa, stored: {address: 0x020, type: u8}, x: {axis: rpm}, y: {axis: gear}}
  - {id: cut, quantity: manifold_pressure, role: limit, unit: bar, stored: {address: 0x030, type: u8}, conversion: {factor: 0.01}}
  - {id: valve, quantity: wastegate_pressure_gauge, unit: kPa, stored: {address: 0x040, type: u8}}
  - {id: warm, quantity: coolant_temperature, unit: Cel, stored: {address: 0x050, type: u8}}
  - {id: fan, quantity: fan, stored: {address: 0x060, type: u8}, conversion: {labels: {0: off, 1: on}}}
  - {id: lambda, quantity: lambda, unit: "1", stored: {address: 0x070, type: u8}, x: {axis: rpm}}
  - {id: ratio, quantity: equivalence_ratio, unit: "1", stored: {address: 0x080, type: u8}, x: {axis: rpm}}
  - {id: tps, quantity: advance, unit: deg, stored: {address: 0x090, type: u8}, x: {id: krpm, quantity: engine_speed, unit: Pa, points: [1]}}
`

// sound is a limits file with nothing wrong; every line of rules is one rule. The refusals
// below each change one line of it.
const sound = `name: road
title: Road
applies_to: [dx, dy]
fuel: ["98 RON"]
rules:
  - {id: ceiling, severity: warning, select: {tables: [base]}, envelope: {side: max, unit: deg, x: {quantity: cylinder_filling, unit: "1", points: [0.4, 1]}, y: {quantity: engine_speed, unit: rad/s, points: [100, 200]}, values: [[30, 20], [35, 25]]}}
  - {id: boost-max, severity: danger, select: {quantity: manifold_pressure}, range: {unit: bar, max: 2.3, min: 0}}
  - {id: step, severity: caution, select: {role: target, tables: [base]}, change: {unit: deg, max_up: 4}}
  - {id: steep, severity: caution, select: {tables: [base]}, slope: {unit: rad, along: x, max: 0.1, axis_unit: Hz}}
  - {id: lumps, severity: caution, select: {tables: [base]}, lump: {unit: deg, max: 6, along: y}}
  - {id: falls, severity: notice, select: {tables: [base]}, monotonic: {of: values, along: y, falling: true}}
  - {id: alone, severity: danger, select: {tables: [fan]}, frozen: {}}
  - {id: apart, severity: danger, select: {tables: [boost]}, below: {table: cut, margin: 15, unit: kPa}}
  - {id: own, severity: warning, select: {tables: [base]}, expression: "table('base').max() < 60.0"}
  - {id: inside, severity: notice, select: {}, covers: {}}
  - {id: percents, severity: notice, select: {quantity: lambda}, change: {percent: true, max_down: 0}}
  - {id: there, severity: caution, select: {tables: [base]}, change: {unit: deg, max_up: 4, since: as-found}, where: {engine_speed: {from: 10, to: 50, unit: 1/s}, cylinder_filling: {to: 90, unit: "%"}}}
  - {id: others, severity: caution, select: {quantity: advance, except: [tps, trim]}, range: {unit: deg, max: 40}}
  - {id: total, severity: warning, select: {signals: [plug]}, envelope: {side: max, unit: rad, x: {quantity: engine_speed, unit: 1/s, points: [20, 100]}, y: {quantity: filling, unit: "1", points: [0, 1]}, values: [[1, 2], [1, 2]]}, where: {filling: {from: 0, unit: "%"}}}
  - {id: part, severity: notice, select: {}, covers: {share: 2}}
`

func load(t testing.TB, file string) (*Limits, *definition.Layout) {
	t.Helper()
	lay, err := definition.Load("car.yaml", []byte(car))
	if err != nil {
		t.Fatal(err)
	}
	l, err := Load("road.yaml", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	return l, lay
}

func TestSound(t *testing.T) {
	l, lay := load(t, sound)
	if err := l.Check(lay); err != nil {
		t.Error(err)
	}
	if l.Name != "road" || len(l.SHA256) != 64 {
		t.Errorf("%+v", l)
	}
}

func TestSelected(t *testing.T) {
	l, lay := load(t, sound)
	for _, tt := range []struct {
		sel  *calibrationv1.Select
		want string
	}{
		{nil, "base trim boost cut valve warm fan lambda ratio tps"},
		{&calibrationv1.Select{}, "base trim boost cut valve warm fan lambda ratio tps"},
		{&calibrationv1.Select{Quantity: "advance"}, "base trim tps"},
		{&calibrationv1.Select{Quantity: "advance", Role: "target"}, "base"},
		{&calibrationv1.Select{Tables: []string{"fan", "base"}}, "base fan"},
		{&calibrationv1.Select{Tables: []string{"fan", "base"}, Role: "limit"}, ""},
	} {
		var ids []string
		for _, table := range l.Selected(&calibrationv1.Rule{Select: tt.sel}, lay) {
			ids = append(ids, table.ID)
		}
		if got := strings.Join(ids, " "); got != tt.want {
			t.Errorf("%v selects %s, want %s", tt.sel, got, tt.want)
		}
	}
}

type refusal struct {
	old, new string
	line     int
	path     string
	says     string
}

// alone are the faults that Load finds without a definition.
var alone = []refusal{
	{"name: road", "name: Road", 1, "name", "a-z, 0-9"},
	{"[dx, dy]", "[dx, D Y]", 3, "applies_to[1]", "a-z, 0-9, dot"},
	{`["98 RON"]`, `[" "]`, 4, "fuel[0]", "the fuel is empty"},
	{"id: step", "id: 'a:b'", 8, "rules[2].id", "letters, digits"},
	{"id: step", "id: not-meant", 8, "rules[2].id", "always on"},
	{"id: step", "id: ceiling", 8, "rules[2].id", "already used by rules[0]"},
	{"id: step, ", "", 8, "rules[2].id", "cannot be an id"},
	{"id: step, severity: caution", "id: step, severity: bad", 8, "rules[2].severity", "rule step: \"bad\" is not known; allowed: notice, caution, warning, danger"},
	{"id: step, severity: caution", "id: step", 8, "rules[2].severity", "missing"},
	{"role: target, tables", "role: aim, tables", 8, "rules[2].select.role", "allowed: target"},
	{"tables: [fan]", "tables: [fan, fan]", 12, "rules[6].select.tables[1]", "named twice"},
	{", frozen: {}", "", 12, "rules[6]", "allowed: one of envelope"},
	{", frozen: {}", ", frozen: {}, covers: {}", 12, "rules[6]", "both frozen and covers"},
	{"side: max", "side: top", 6, "rules[0].envelope.side", "allowed: max, min"},
	{"side: max, unit: deg", "side: max", 6, "rules[0].envelope.unit", "missing"},
	{"points: [0.4, 1]", "points: []", 6, "rules[0].envelope.x.points", "one point"},
	{"points: [0.4, 1]", "points: [0.4, 0.4]", 6, "rules[0].envelope.x.points[1]", "rise strictly"},
	{"points: [0.4, 1]", "points: [0.4, 1, 2]", 6, "rules[0].envelope.values[0]", "allowed: 3, one for each point of x"},
	{"points: [100, 200]", "points: [100]", 6, "rules[0].envelope.values", "allowed: 1, one for each point of y"},
	{"y: {quantity: engine_speed", "y: {quantity: cylinder_filling", 6, "rules[0].envelope.y.quantity", "two quantities"},
	{"x: {quantity: cylinder_filling, ", "x: {", 6, "rules[0].envelope.x.quantity", "missing"},
	{`unit: "1", points`, "points", 6, "rules[0].envelope.x.unit", "missing"},
	{`x: {quantity: cylinder_filling, unit: "1", points: [0.4, 1]}, `, "", 6, "rules[0].envelope.x", "the x axis is missing"},
	{"[35, 25]]", "[35]]", 6, "rules[0].envelope.values[1]", "1 numbers in the row"},
	{"max: 2.3, min: 0", "max: 2.3, min: 3", 7, "rules[1].range.min", "allowed: at most max, 2.3"},
	{", max: 2.3, min: 0", "", 7, "rules[1].range", "min, max or both"},
	{"unit: bar, ", "", 7, "rules[1].range.unit", "missing"},
	{", max_up: 4", "", 8, "rules[2].change", "max_up, max_down or both"},
	{"max_up: 4", "max_up: -4", 8, "rules[2].change.max_up", "below 0"},
	{"max_up: 4", "max_down: -4", 8, "rules[2].change.max_down", "below 0"},
	{"unit: deg, max_up: 4", "max_up: 4", 8, "rules[2].change.unit", "missing"},
	{"percent: true", "percent: true, unit: deg", 16, "rules[10].change.unit", "per cent, not deg"},
	{"max: 0.1, ", "", 9, "rules[3].slope.max", "missing"},
	{"max: 0.1, ", "max: -1, ", 9, "rules[3].slope.max", "below 0"},
	{"along: x", "along: z", 9, "rules[3].slope.along", "allowed: x, y"},
	{"along: x, ", "", 9, "rules[3].slope.along", "missing"},
	{"unit: rad, ", "", 9, "rules[3].slope.unit", "missing"},
	{"max: 6, ", "", 10, "rules[4].lump.max", "missing"},
	{"max: 6, along: y", "max: 6, along: z", 10, "rules[4].lump.along", "allowed: x, y"},
	{"of: values", "of: cells", 11, "rules[5].monotonic.of", "allowed: axes, values"},
	{"of: values", "of: axes", 11, "rules[5].monotonic", "of: axes alone"},
	{"of: values, along: y", "of: values", 11, "rules[5].monotonic.along", "missing"},
	{", falling: true", "", 11, "rules[5].monotonic", "0 directions"},
	{"falling: true", "falling: true, rising: true", 11, "rules[5].monotonic", "2 directions"},
	{"falling: true", "direction: up", 11, "rules[5].monotonic.direction", "allowed: rising, falling"},
	{"table: cut, ", "", 13, "rules[7].below.table", "the other table is missing"},
	{"margin: 15, unit: kPa", "margin: 15", 13, "rules[7].below.unit", "missing"},
	{"to: 50, unit: 1/s", "to: 5, unit: 1/s", 17, "rules[11].where[engine_speed].from", "from 10 is above to; allowed: at most to, 5"},
	{"{from: 10, to: 50, unit: 1/s}", "{unit: 1/s}", 17, "rules[11].where[engine_speed]", "neither from nor to is given; allowed: from, to or both"},
	{"to: 50, unit: 1/s", "to: 50", 17, "rules[11].where[engine_speed].unit", "the unit is missing"},
	{"{engine_speed: {from: 10", "{'': {from: 10", 17, "rules[11].where", "the quantity is empty"},
	{", frozen: {}", ", frozen: {}, where: {engine_speed: {from: 1, unit: 1/s}}", 12, "rules[6].where", "frozen holds everywhere; allowed: where beside envelope, range, change, slope, lump, monotonic, below, above"},
	{"since: as-found", "since: ever", 17, "rules[11].change.since", "allowed: as-found"},
	{"except: [tps, trim]", "except: [tps, tps]", 18, "rules[12].select.except[1]", `table "tps" is named twice; allowed: each table once`},
	{"signals: [plug]", "signals: [plug, plug]", 19, "rules[13].select.signals[1]", `signal "plug" is named twice`},
	{"signals: [plug]", "signals: [plug], tables: [base]", 19, "rules[13].select.signals", "allowed: signals alone, or quantity, role, tables and except"},
	{"signals: [plug]", "signals: [plug], role: target", 19, "rules[13].select.signals", "signals or tables"},
	{"signals: [plug]", "signals: [plug], except: [base]", 19, "rules[13].select.signals", "signals or tables"},
	{"select: {tables: [base]}, lump", "select: {signals: [plug]}, lump", 10, "rules[4].select.signals", "lump judges tables alone; allowed: signals for envelope, range, change"},
	{"share: 2", "share: -2", 20, "rules[14].covers.share", "the share is -2; allowed: per cent of the run's time, 0 or more and less than 100"},
	{"share: 2", "share: 100", 20, "rules[14].covers.share", "the share is 100"},
	{`expression: "table('base').max() < 60.0"`, `expression: " "`, 14, "rules[8].expression", "the expression is empty"},
}

// together are the faults that Check finds against the car.
var together = []refusal{
	{"[dx, dy]", "[dy, dz]", 3, "applies_to", "limits road do not apply to definition dx; allowed: definitions dy, dz"},
	{"tables: [fan]", "tables: [fun]", 12, "rules[6].select.tables[0]", `no table "fun"; allowed: base, trim`},
	{"quantity: lambda", "quantity: lamda", 16, "rules[10].select", "selects no table of definition dx"},
	{"role: target, tables: [base]", "role: limit, tables: [base]", 8, "rules[2].select", "selects no table"},
	{"tables: [base]}, envelope", "tables: [trim]}, envelope", 6, "rules[0].select.tables[0]", `table "trim" has no axis of quantity "cylinder_filling"`},
	{"side: max, unit: deg", "side: max, unit: kPa", 6, "rules[0].envelope.unit", `do not convert, for table "base"`},
	{"unit: rad/s", "unit: kPa", 6, "rules[0].envelope.y.unit", `for axis "rpm" of table "base"`},
	{"unit: bar", "unit: deg", 7, "rules[1].range.unit", "do not convert"},
	{"unit: bar", "unit: 'bar{gauge}'", 7, "rules[1].range.unit", "gauge"},
	{"{quantity: manifold_pressure}, range", "{tables: [valve]}, range", 7, "rules[1].range.unit", "gauge"},
	{"{quantity: manifold_pressure}, range", "{tables: [boost, fan]}, range", 7, "rules[1].select.tables[1]", "holds labels"},
	{"change: {unit: deg", "change: {unit: kPa", 8, "rules[2].change.unit", "do not convert"},
	{"unit: rad, along", "unit: kPa, along", 9, "rules[3].slope.unit", "do not convert"},
	{"axis_unit: Hz", "axis_unit: kPa", 9, "rules[3].slope.axis_unit", `for axis "rpm"`},
	{"tables: [base]}, slope: {unit: rad, along: x", "tables: [lambda]}, slope: {unit: '1', along: y", 9, "rules[3].select.tables[0]", "has no y axis"},
	{"tables: [base]}, slope", "tables: [trim]}, slope", 9, "rules[3].select.tables[0]", "index axis"},
	{"tables: [base]}, lump: {unit: deg, max: 6, along: y", "tables: [base, trim]}, lump: {unit: deg, max: 6", 10, "rules[4].select.tables[1]", "no axis to go along"},
	{"tables: [base]}, lump", "tables: [trim]}, lump", 10, "rules[4].select.tables[0]", "no such y axis"},
	{"tables: [base]}, monotonic", "tables: [lambda]}, monotonic", 11, "rules[5].select.tables[0]", "has no y axis"},
	{"tables: [base]}, monotonic: {of: values, along: y, falling: true", "tables: [cut]}, monotonic: {of: axes", 11, "rules[5].select.tables[0]", "has no axes"},
	{"select: {}, covers", "select: {tables: [boost, cut]}, covers", 15, "rules[9].select.tables[1]", "has no axes"},
	{"table: cut", "table: cat", 13, "rules[7].below.table", `no table "cat"`},
	{"table: cut", "table: boost", 13, "rules[7].select.tables[0]", "against itself"},
	{"table: cut", "table: fan", 13, "rules[7].below.table", "holds labels"},
	{"table: cut", "table: valve", 13, "rules[7].below.table", "two tables of one quantity"},
	{"{tables: [boost]}, below: {table: cut, margin: 15, unit: kPa}", "{tables: [lambda]}, above: {table: ratio}", 13, "rules[7].above.table", "two tables of one quantity"},
	{"{tables: [boost]}, below: {table: cut, margin: 15, unit: kPa}", "{tables: [base]}, above: {table: tps}", 13, "rules[7].above.table", `axis "krpm" of table "tps"`},
	{"margin: 15, unit: kPa", "margin: 15, unit: deg", 13, "rules[7].below.unit", "do not convert"},
	{"{tables: [base]}, change: {unit: deg, max_up: 4, since", "{tables: [trim]}, change: {unit: deg, max_up: 4, since", 17, "rules[11].select.tables[0]", `table "trim" has no axis of quantity "cylinder_filling", which where confines; allowed: tables with every quantity of where`},
	{"to: 50, unit: 1/s", "to: 50, unit: kPa", 17, "rules[11].where[engine_speed].unit", `for axis "rpm" of table "base"`},
	{"except: [tps, trim]", "except: [tps, trip]", 18, "rules[12].select.except[1]", `no table "trip"; allowed: base, trim`},
	{"except: [tps, trim]", "except: [tps, trim, base]", 18, "rules[12].select", "selects no table"},
	{"signals: [plug]", "signals: [plug, plum]", 19, "rules[13].select.signals[1]", `no signal "plum"; allowed: plug, filling.a, flow.a, flow.b`},
	{"side: max, unit: rad", "side: max, unit: kPa", 19, "rules[13].envelope.unit", `for signal "plug"`},
	{"unit: 1/s, points: [20, 100]", "unit: kPa, points: [20, 100]", 19, "rules[13].envelope.x.unit", `for input "engine_speed"`},
	{"quantity: engine_speed, unit: 1/s, points: [20, 100]", "quantity: load, unit: 1/s, points: [20, 100]", 19, "rules[13].envelope.x.quantity", `"load" is no input, and no signal feeds it; allowed: engine_speed, cylinder_filling, filling`},
	{"quantity: engine_speed, unit: 1/s, points: [20, 100]", "quantity: flow, unit: 1/s, points: [20, 100]", 19, "rules[13].envelope.x.quantity", `several signals feed "flow": flow.a, flow.b`},
	{"where: {filling: {from: 0,", "where: {load: {from: 0,", 19, "rules[13].where[load]", `"load" is no input`},
	{`from: 0, unit: "%"`, "from: 0, unit: kPa", 19, "rules[13].where[filling].unit", `for signal "filling.a"`},
	{"table('base')", "table('bass')", 14, "rules[8].expression", `no table "bass"`},
	{"< 60.0", "<", 14, "rules[8].expression", "rule own: expression at 1:"},
}

func TestRefusals(t *testing.T) {
	lay, err := definition.Load("car.yaml", []byte(car))
	if err != nil {
		t.Fatal(err)
	}
	for i, tt := range slices.Concat(alone, together) {
		if !strings.Contains(sound, tt.old) {
			t.Errorf("%q is not in the sound file", tt.old)
			continue
		}
		l, err := Load("road.yaml", []byte(strings.Replace(sound, tt.old, tt.new, 1)))
		if i >= len(alone) {
			if err != nil {
				t.Errorf("%q for %q: Load finds it alone: %v", tt.new, tt.old, err)
				continue
			}
			err = l.Check(lay)
		}
		var e *yamldoc.Error
		if !errors.As(err, &e) {
			t.Errorf("%q for %q: %v, want a refusal", tt.new, tt.old, err)
			continue
		}
		if e.Line != tt.line || e.Path != tt.path || !strings.Contains(err.Error(), tt.says) || e.File != "road.yaml" {
			t.Errorf("%q for %q:\n%v\nwant line %d, %s, and %q", tt.new, tt.old, err, tt.line, tt.path, tt.says)
		}
	}
}

// A rule that selects by quantity passes over what it cannot judge, and units of one kind convert.
func TestAccepted(t *testing.T) {
	for _, tt := range []struct{ old, new string }{
		{"applies_to: [dx, dy]\n", ""},
		{"{tables: [base]}, envelope", "{quantity: advance, role: target}, envelope"},
		{"{tables: [base]}, slope", "{quantity: advance, role: correction}, slope"},
		{"{tables: [base]}, lump", "{role: correction}, lump"},
		{"{quantity: manifold_pressure}, range", "{quantity: fan}, range"},
		{"{quantity: manifold_pressure}, range: {unit: bar", "{quantity: wastegate_pressure_gauge}, range: {unit: bar"},
		{"{quantity: manifold_pressure}, range: {unit: bar", "{tables: [valve]}, range: {unit: 'bar{gauge}'"},
		{"{quantity: manifold_pressure}, range: {unit: bar", "{tables: [warm]}, range: {unit: K"},
		{"{role: target, tables: [base]}, change: {unit: deg", "{tables: [valve]}, change: {unit: bar"},
		{"{role: target, tables: [base]}, change: {unit: deg", "{tables: [warm]}, change: {unit: '[degF]'"},
		{"{tables: [boost]}, below: {table: cut", "{quantity: manifold_pressure}, below: {table: cut"},
		{"margin: 15, unit: kPa", "margin: -15, unit: '[psi]'"},
		{", margin: 15, unit: kPa", ""},
		{"falling: true", "direction: rising"},
		{"select: {}, covers", "covers"},
	} {
		if !strings.Contains(sound, tt.old) {
			t.Errorf("%q is not in the sound file", tt.old)
			continue
		}
		l, lay := load(t, strings.Replace(sound, tt.old, tt.new, 1))
		if err := l.Check(lay); err != nil {
			t.Errorf("%q for %q: %v", tt.new, tt.old, err)
		}
	}
}

// Neither reading nor checking panics, and what is accepted survives protobuf's JSON.
func FuzzLoad(f *testing.F) {
	f.Add([]byte(sound))
	for _, tt := range slices.Concat(alone, together) {
		f.Add([]byte(strings.Replace(sound, tt.old, tt.new, 1)))
	}
	lay, err := definition.Load("car.yaml", []byte(car))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		l, err := Load("f", file)
		if err != nil {
			return
		}
		text, err := protojson.Marshal(l.Source)
		if err != nil {
			t.Fatal(err)
		}
		again := &calibrationv1.Limits{}
		if err := protojson.Unmarshal(text, again); err != nil || !proto.Equal(l.Source, again) {
			t.Fatalf("%v\n%v\n%v", err, l.Source, again)
		}
		_ = l.Check(lay)
	})
}

func TestDemo(t *testing.T) {
	const folder = "../../testdata/demo/"
	read := func(name string) []byte {
		file, err := os.ReadFile(folder + name)
		if err != nil {
			t.Fatal(err)
		}
		return file
	}
	lay, err := definition.Load("dx1-1.8t.yaml", read("dx1-1.8t.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	l, err := Load("dx1-road-98.yaml", read("dx1-road-98.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Check(lay); err != nil {
		t.Error(err)
	}
}

// Nine inputs are one more than operating points have.
func TestTooManyInputs(t *testing.T) {
	r := &rig{}
	var sum []string
	for i := range 9 {
		name := fmt.Sprintf("q%d", i)
		r.input(name, "1", 0, 1, "")
		if i < 8 {
			sum = append(sum, "input('"+name+"')")
		}
	}
	r.table("t", "quantity: q, unit: '1'", nil, 1)
	r.signal("s", "quantity: q, unit: '1'", strings.Join(sum, " + ")+" + table('t')")
	lay := r.layout(t)
	on := func(quantity string) error {
		return limitsOf(rule(`{"id":"r","select":{"signals":["s"]},"range":{"unit":"1","max":1},"where":{"` + quantity + `":{"to":1,"unit":"1"}}}`)).Check(lay)
	}
	if err := on("q7"); err != nil {
		t.Error(err)
	}
	if err := on("q8"); err == nil || !strings.Contains(err.Error(), `rule r: signal "s" is judged over 9 inputs; allowed: at most 8`) {
		t.Error(err)
	}
}
