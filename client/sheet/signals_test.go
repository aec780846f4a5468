package sheet

import (
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
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
		"found 23.5 deg; allowed 20 deg, beyond by 3.5; at engine speed 3100 1/min; nowhere beyond by more than 4",
		"since the car first came: 2 of 2 cells, -1 to +3 deg", "plug  Advance at the plug", "at most  +3.5 deg at engine speed 3100 1/min",
		"computed from hot", "no run was held against it", "ceiling:plug                         -3.5 deg at engine speed 3100 1/min: 23.5 against 20",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the sheet lacks %q:\n%s", want, b.String())
		}
	}
}
