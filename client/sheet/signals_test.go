package sheet

import (
	"slices"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/signal"
)

const signalDefinition = `name: car
byte_order: big
image: {size: 16}
tables:
  - {id: hot, quantity: ignition_advance, unit: deg, stored: {address: 0, type: s8}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}}
signals:
  - {id: plug, title: Advance at the plug, quantity: ignition_advance, unit: deg, value: "table('hot') + 1.0"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 1000, to: 4000}
`

// What the controller computes is shown with its operating point in words, and how far it is bounded.
func TestSignalsOnASheet(t *testing.T) {
	lay, err := definition.Load("car.yaml", []byte(signalDefinition))
	if err != nil {
		t.Fatal(err)
	}
	f := func(v float64) *float64 { return &v }
	at := map[string]float64{"engine_speed": 3100}
	r := &calibrationv1.Report{Verdict: "warning", Base: &calibrationv1.ImageRef{}, AsFound: &calibrationv1.ImageRef{Sha256: "abc"},
		Tables: []*calibrationv1.TableReport{{Id: "hot", Kind: "curve", Cells: 2, Changed: 1, FromAsFound: &calibrationv1.SinceAsFound{Changed: 2, Min: f(-1), Max: f(3)}}},
		Signals: []*calibrationv1.SignalReport{{Id: "plug", JudgedBy: []string{"ceiling"}, DependsOn: []string{"hot"},
			Delta: &calibrationv1.SignalDelta{Min: 0, Max: 3.5, AtMax: at}}},
		Findings: []*calibrationv1.Finding{{Rule: "ceiling", Severity: "warning", Signal: "plug", Origin: "introduced",
			Worst: &calibrationv1.Worst{Value: f(23.5), Limit: f(20), Excess: 3.5, Bound: f(4), Inputs: at}}},
		Margins:  []*calibrationv1.Margin{{Rule: "ceiling", Signal: "plug", Margin: -3.5, Value: 23.5, Limit: 20, Inputs: at}},
		Unjudged: []*calibrationv1.Unjudged{{Rule: "floor", Signal: "plug", Reason: "the image lacks hot"}}}
	var b strings.Builder
	if err := Write(&b, r, Options{Layout: lay}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"first came  sha256 abc", "ceiling:plug  (introduced)", "plug by floor: the image lacks hot",
		"advance at the plug 23.5 deg at engine speed 3100 1/min; allowed 20 deg, beyond by 3.5; nowhere beyond by more than 4; computed from hot",
		"since the car first came: 2 of 2 cells, -1 to +3 deg; in this submission: 1", "plug  Advance at the plug", "at most  +3.5 deg at engine speed 3100 1/min",
		"computed from hot", "no run was held against it", "ceiling:plug                         -3.5 deg at engine speed 3100 1/min: advance at the plug 23.5 against 20",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the sheet lacks %q:\n%s", want, b.String())
		}
	}
}

const fedDefinition = `name: car
byte_order: big
image: {size: 8}
tables:
  - {id: meter, quantity: air_flow, unit: kg/h, stored: {address: 0, type: u8}, x: {quantity: meter_voltage, unit: V, points: [1, 3]}}
  - {id: advance, quantity: ignition_advance, unit: deg, stored: {address: 2, type: u8}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}, y: {quantity: cylinder_filling, unit: "%", points: [20, 100]}}
signals:
  - {id: filling, quantity: cylinder_filling, unit: "%", value: "table('meter') * 4000 / input('engine_speed')", feeds: true}
  - {id: plug, title: Advance at the plug, quantity: ignition_advance, unit: deg, step: 0.5, value: "table('advance')"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 1000, to: 4000}
  - {quantity: meter_voltage, unit: V, from: 1, to: 4}
`

const fedLimits = `name: car
rules:
  - {id: ceiling, severity: warning, select: {signals: [plug]}, reason: Knock., source: common practice, envelope: {side: max, unit: deg, x: {quantity: cylinder_filling, unit: "%", points: [20, 100]}, values: [[38, 20]]}}
`

// By hand: 3 V are 30 kg/h, which at 3000 1/min is a filling of 30·4000/3000 = 40 %, where 38 − 18·20/80 = 33.5 deg are
// allowed; advance gives 40 − 15·20/80 = 36.25 deg there in the candidate, and 32 − 12·20/80 = 29 in the base. At 1000 1/min
// the filling is beyond the last row, at 4000 the speed beyond the last column.
func TestASignalsSection(t *testing.T) {
	lay, err := definition.Load("car.yaml", []byte(fedDefinition))
	if err != nil {
		t.Fatal(err)
	}
	lim, err := limits.Load("limits.yaml", []byte(fedLimits))
	if err != nil {
		t.Fatal(err)
	}
	base, candidate := []byte{10, 30, 20, 32, 16, 20, 0, 0}, []byte{10, 30, 20, 40, 16, 25, 0, 0}
	r, err := compare.Compare(compare.Input{Layout: lay, Limits: lim, Base: image.Whole(0, base), Candidate: image.Whole(0, candidate)})
	if err != nil {
		t.Fatal(err)
	}
	o := Options{Layout: lay, Base: base, Candidate: candidate}
	text := written(t, r, o)
	for _, want := range []string{
		"advance at the plug 36.25 deg at engine speed 3000 1/min, meter voltage 3 V, cylinder filling 40 %; allowed 33.5 deg, beyond by 2.75; ",
		"computed from meter, advance\n", "judged by no rule of the limits; through plug: ceiling\n",
		"3 V, cylinder filling 40 %: advance at the plug 36.25 against 33.5\n",
		"  across: engine speed in 1/min; at meter voltage 3 V\n              1000   3000   4000\n  base          16     29   30.5\n  candidate     16  36.25  38.13\n  allowed            33.5\n",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the sheet lacks %q:\n%s", want, text)
		}
	}
	if o.Base = nil; strings.Contains(written(t, r, o), "candidate     16") {
		t.Error("a section is drawn of an image that is not there")
	}
	o.Base = base
	r.Holes = []*calibrationv1.Hole{{Side: "base", Start: "0x1", End: "0x2"}}
	if text := written(t, r, o); strings.Contains(text, "candidate     16") || strings.Contains(text, "filling 40 %") {
		t.Errorf("what an image lacks is looked up:\n%s", text)
	}
}

func TestColumnsOfASection(t *testing.T) {
	c := &Curve{Section: &signal.Section{}, At: 70}
	for i := range 100 {
		c.X = append(c.X, float64(i))
	}
	for _, most := range []int{12, 4, 3, 1} {
		at := c.columns(most)
		if len(at) > max(most, 3) || at[0] != 0 || at[len(at)-1] != 99 || !slices.Contains(at, 70) || !slices.IsSorted(at) {
			t.Errorf("of at most %d: %v", most, at)
		}
	}
	if c.X = c.X[:5]; len(c.columns(12)) != 5 {
		t.Error("few are not all shown")
	}
}
