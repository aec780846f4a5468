package proposed

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/doubt"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/severity"
	"witnessmark/tables/yamlout"
)

const demo = "../../testdata/demo/"

func must[T any](t testing.TB, v T, err error) T {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func file(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	return must(t, b, err)
}

func layout(t testing.TB, path string) *definition.Layout {
	t.Helper()
	lay, err := definition.Load(path, file(t, path))
	return must(t, lay, err)
}

func picture(t testing.TB, lay *definition.Layout, path string) *image.Image {
	t.Helper()
	im, err := lay.ReadImage(path, file(t, path), "")
	return must(t, im, err)
}

func ids(m *calibrationv1.Limits) (out []string) {
	for _, r := range m.GetRules() {
		out = append(out, r.GetId())
	}
	return out
}

// TestDemo: what a practitioner would guard has a rule each; an image adds how smooth targets are. Which quantities these are is
// common practice, no source.
func TestDemo(t *testing.T) {
	lay := layout(t, demo+"dx1-1.8t.yaml")
	plain, err := Limits(lay, nil, nil)
	must(t, plain, err)
	want := strings.Fields("switches-kept protection-kept-low limiters-kept heat-kept parts-kept advance-step boost-step lean-step torque-step fuel-step dwell-step duty-step cam-step idle-step" +
		" lean-under-load boost-below-limit-1 advance-sum boost-sum lean-sum fuel-sum curves-rising curves-falling")
	if got := ids(plain.Limits); !slices.Equal(got, want) {
		t.Errorf("rules\n%q, want\n%q", got, want)
	}
	if got := fmt.Sprint(plain.Silent); got != "[no rule was proposed for boost_gain: boost.gain no rule was proposed for friction_torque: torque.friction]" {
		t.Errorf("silent: %s", got)
	}
	found := picture(t, lay, demo+"asfound.bin")
	seen, err := Limits(lay, found, []string{"98 RON"})
	must(t, seen, err)
	if got := ids(seen.Limits); !slices.Equal(got, append(slices.Clone(want), "advance-lump", "boost-lump", "lambda-lump")) || !slices.Equal(seen.Limits.GetFuel(), []string{"98 RON"}) {
		t.Errorf("with an image %q on %q", got, seen.Limits.GetFuel())
	}
	text := string(seen.File)
	for _, says := range []string{
		"select: {quantity: ignition_advance, role: target}", "change: {unit: deg, max_up: 3, max_down: 12}", "where: {cylinder_filling: {from: 100, unit: \"%\"}}", "below: {table: boost.cut}",
		"select: {tables: [limiter.soft, limiter.hard, limiter.hard.check, limiter.vehicle]}", "select: {tables: [boost.gain, injector.deadtime]}",
	} {
		if !strings.Contains(text, says) {
			t.Errorf("the file does not say %s", says)
		}
	}
	// Both files of the demo's calibrator move more than a step (testdata/demo/README.md says how); boost typed as 1999 breaks all that is said of boost.
	lim, err := limits.Load("proposed.yaml", seen.File)
	must(t, lim, err)
	for name, want := range map[string][]string{
		"asfound.bin":      nil,
		"submission-1.bin": {"advance-lump:ignition.98", "advance-step:ignition.98", "boost-below-limit-1:boost.target", "boost-lump:boost.target", "boost-step:boost.target", "boost-sum:boost.request"},
	} {
		r, err := compare.Compare(compare.Input{Base: found, Candidate: picture(t, lay, demo+name), Layout: lay, Limits: lim})
		must(t, r, err)
		var got []string
		for _, f := range r.GetFindings() {
			if f.GetSource() == Mark {
				got = append(got, compare.Key(f))
			}
		}
		for _, key := range want {
			if !slices.Contains(got, key) {
				t.Errorf("%s: %s is not found in %q", name, key, got)
			}
		}
		if want == nil && got != nil {
			t.Errorf("%s: found %q", name, got)
		}
		if v := severity.Of(r.GetVerdict()); v != severity.Clear && want == nil || severity.Worse(v, severity.Caution) && !slices.ContainsFunc(r.GetFindings(), func(f *calibrationv1.Finding) bool {
			return severity.Worse(severity.Of(f.GetSeverity()), severity.Caution) && f.GetSource() != Mark
		}) {
			t.Errorf("%s is %s", name, v)
		}
	}
}

// TestOneTableEach: what a table's quantity, role and side of protection ask for, and nothing else.
func TestOneTableEach(t *testing.T) {
	for _, c := range []struct{ table, want string }{
		{`quantity: ignition_advance, role: target, unit: deg`, "advance-step"}, {`quantity: ignition_advance, unit: rad`, "advance-step"},
		{`quantity: ignition_advance, unit: deg, protects: lower`, "protection-kept-low"}, {`quantity: ignition_advance, unit: kPa`, ""}, {`quantity: ignition_advance, unit_text: degrees`, ""},
		{`quantity: manifold_pressure, role: target, unit: "kPa{gauge}"`, "boost-step"}, {`quantity: manifold_pressure, role: limit, unit: kPa`, "boost-limit-kept"},
		{`quantity: cylinder_filling, role: target, unit: "%"`, "filling-step"}, {`quantity: cylinder_filling, role: limit, unit: "%"`, "boost-limit-kept"}, {`quantity: cylinder_filling, unit: "%", feeds: [cylinder_filling]`, "parts-kept"},
		{`quantity: lambda, role: target, unit: "1", y: {quantity: cylinder_filling, unit: "%", points: [50, 150]}`, "lean-step lean-under-load"},
		{`quantity: equivalence_ratio, unit: "1", y: {quantity: manifold_pressure, unit: bar, points: [0.5, 1.5]}`, "lean-step-inverse lean-under-boost-inverse"},
		{`quantity: lambda, unit: "1", y: {quantity: manifold_pressure, unit: "kPa{gauge}", points: [0, 50]}`, "lean-step"},
		{`quantity: engine_torque, role: limit, unit: N.m`, "torque-step"}, {`quantity: engine_speed, role: limit, unit: 1/min`, "limiters-kept"}, {`quantity: engine_speed, role: target, unit: 1/min`, ""},
		{`quantity: oil_temperature, role: threshold, unit: Cel`, "heat-kept"}, {`quantity: oil_pressure, role: threshold, unit: kPa, protects: higher`, "protection-kept-high"},
		{`quantity: oil_pressure, role: threshold, unit: kPa`, "bounds-kept"}, {`quantity: knock_ratio, role: threshold, unit: "1"`, "knock-kept"}, {`quantity: fuel_pressure, role: target, unit: MPa`, "fuel-pressure-step"},
		{`quantity: injector_flow, unit: g/min`, "parts-kept"}, {`role: switch, conversion: {labels: {0: off, 1: "on"}}`, "switches-kept"}, {`quantity: mode, protects: higher, conversion: {labels: {0: off, 1: "on"}}`, "switches-kept"},
		{`quantity: road_speed, unit: km/h`, ""}, {`unit: kPa, role: target`, ""},
	} {
		lay, err := definition.Load("one.yaml", []byte("name: one\nbyte_order: big\nimage: {size: 64}\ntables:\n  - {id: it, stored: {address: 0, type: u8}, x: {quantity: place, unit: m, points: [0, 1]}, "+c.table+"}\n"))
		must(t, lay, err)
		p, err := Limits(lay, nil, nil)
		if c.want == "" {
			if err == nil {
				t.Errorf("%s: proposed %q", c.table, ids(p.Limits))
			}
			continue
		}
		must(t, p, err)
		if got := strings.Join(ids(p.Limits), " "); got != c.want {
			t.Errorf("%s: %s, want %s", c.table, got, c.want)
		}
	}
}

// TestNothingToGoBy: tables without quantities or roles, as of a description of the standard, tell nothing.
func TestNothingToGoBy(t *testing.T) {
	_, err := Limits(layout(t, "../imported/testdata/hc-18t.yaml"), nil, nil)
	if err == nil || !strings.Contains(err.Error(), "hc-18t") || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v", err)
	}
}

// TestAnImageThatBreaksARule: the rule is not proposed for that table, and that is said.
func TestAnImageThatBreaksARule(t *testing.T) {
	lay := layout(t, demo+"dx1-1.8t.yaml")
	found := picture(t, lay, demo+"submission-1.bin") // with 1999 kPa in the target
	p, err := Limits(lay, found, nil)
	must(t, p, err)
	if slices.Contains(ids(p.Limits), "boost-below-limit-1") || !slices.Contains(p.Unkept, "boost-below-limit-1 is not proposed where the image itself does not keep it: boost.target") {
		t.Errorf("%q, %q", ids(p.Limits), p.Unkept)
	}
}

// TestProposedForAnything: whatever a definition says, and whatever is in an image, the proposal is a limits file that fits the
// definition, passes limits check, judges nothing worse than caution, finds nothing in the image itself, and looks at each table or says that it does not.
func TestProposedForAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lay, err := definition.Load("random.yaml", yamlout.Write(draw(t)))
		if err != nil {
			t.Fatalf("the generator makes what is refused: %v", err)
		}
		var im *image.Image
		if rapid.Bool().Draw(t, "image") {
			b := rapid.SliceOfN(rapid.Byte(), int(lay.Size), int(lay.Size)).Draw(t, "bytes")
			if im, err = lay.ReadImage("random.bin", b, image.Raw); err != nil {
				t.Fatal(err)
			}
		}
		p, err := Limits(lay, im, nil)
		if err != nil {
			if !strings.Contains(err.Error(), "nothing can be proposed") {
				t.Fatal(err)
			}
			return
		}
		for _, d := range doubt.OfLimits("proposed.yaml", p.File, lay) {
			if d.Severity != severity.Notice {
				t.Errorf("%s %s\n%s", d.Severity, d.Error(), p.File)
			}
		}
		lim, err := limits.Load("proposed.yaml", p.File)
		if err != nil || !proto.Equal(lim.Source, p.Limits) {
			t.Fatalf("the file is not the limits: %v", err)
		}
		looked := map[string]bool{}
		for _, r := range p.Limits.GetRules() {
			if r.GetSeverity() != "caution" || r.GetSource() != Mark || r.GetReason() == "" {
				t.Errorf("rule %v", r)
			}
			for _, table := range lim.Selected(r, lay) {
				looked[table.ID] = true
			}
		}
		for _, s := range p.Silent {
			for _, id := range s.Tables {
				if looked[id] || lay.ByID[id].Quantity != s.Quantity {
					t.Errorf("%s is said to be silent", id)
				}
				looked[id] = true
			}
		}
		if len(looked) != len(lay.Tables) {
			t.Errorf("of %d tables %d are looked at or said", len(lay.Tables), len(looked))
		}
		if im == nil {
			return
		}
		report, err := compare.Check(im, lay, lim, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range report.GetFindings() {
			if f.GetSource() == Mark {
				t.Errorf("the image itself breaks %s: %v", compare.Key(f), f.GetWorst())
			}
		}
	})
}

// draw is a definition of any quantities, roles, units, shapes and conversions; tables lie anywhere.
func draw(t *rapid.T) *calibrationv1.Definition {
	quantities := []string{"", "ignition_advance", "manifold_pressure", "lambda", "equivalence_ratio", "engine_torque", "fuel_mass", "air_flow", "injector_deadtime", "engine_speed",
		"exhaust_temperature", "knock_ratio", "cam_advance", "wastegate_duty", "idle_speed", "cylinder_filling", "something_else"}
	unitsOf := []string{"deg", "rad", "kPa", "bar", "kPa{gauge}", "1", "%", "N.m", "mg", "kg/h", "ms", "1/min", "Cel"}
	one := func(label string, of []string) string { return rapid.SampledFrom(of).Draw(t, label) }
	axis := func(label string) *calibrationv1.TableAxis {
		n := rapid.IntRange(1, 4).Draw(t, label+" points")
		a := &calibrationv1.TableAxis{Quantity: one(label+" quantity", append(quantities[1:], "meter_voltage", "battery_voltage")), Unit: one(label+" unit", append(unitsOf, "V"))}
		if rapid.Bool().Draw(t, label+" stored") {
			a.Stored = &calibrationv1.Stored{Address: rapid.Uint32Range(0, 200).Draw(t, label+" address"), Type: "u8", Count: uint32(n)}
		} else {
			for i := range n {
				a.Points = append(a.Points, float64(40*i))
			}
		}
		a.Index = rapid.Bool().Draw(t, label+" index")
		return a
	}
	d := &calibrationv1.Definition{Name: "random", ByteOrder: "big", Image: &calibrationv1.ImageLayout{Size: 256}}
	for i := range rapid.IntRange(1, 8).Draw(t, "tables") {
		label := fmt.Sprintf("table %d", i)
		table := &calibrationv1.Table{Id: fmt.Sprintf("t%d", i), Quantity: one(label+" quantity", quantities), Role: one(label+" role", []string{"", "target", "limit", "correction", "transfer", "threshold", "switch"}),
			Unit: one(label+" unit", unitsOf), Protects: one(label+" protects", []string{"", "", "lower", "higher"}),
			Stored: &calibrationv1.Stored{Address: rapid.Uint32Range(0, 120).Draw(t, label+" address"), Type: one(label+" type", []string{"u8", "s8", "f32"})}}
		switch rapid.IntRange(0, 6).Draw(t, label+" conversion") {
		case 0:
			table.Unit, table.Conversion = "", &calibrationv1.Conversion{Labels: map[string]string{"0": "off", "else": "on"}}
			table.Stored.Type = "u8"
		case 1:
			table.Conversion = &calibrationv1.Conversion{Factor: proto.Float64(-0.25)}
		case 2:
			table.Unit, table.UnitText = "", "parts of 8"
		case 3:
			table.Conversion = &calibrationv1.Conversion{Rational: &calibrationv1.Rational{Num: []float64{1}, Den: []float64{1, 1}}}
		}
		if rapid.Bool().Draw(t, label+" x") {
			table.X = axis(label + " x")
			if y := axis(label + " y"); y.Quantity != table.X.Quantity && rapid.Bool().Draw(t, label+" y") {
				table.Y = y
			}
		}
		d.Tables = append(d.Tables, table)
	}
	return d
}
