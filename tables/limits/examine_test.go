package limits

import (
	"strings"
	"testing"

	"witnessmark/tables/definition"
)

// TestExamine tells of each rule what is wrong with it, by itself and with a definition, at once.
func TestExamine(t *testing.T) {
	lay, err := definition.Load("d.yaml", []byte(`
name: tiny
byte_order: big
image: {start: 0, size: 0x40}
tables:
  - {id: boost, quantity: manifold_pressure, unit: kPa, stored: {address: 0, type: u8}}
  - {id: spark, quantity: ignition_advance, unit: deg, stored: {address: 1, type: u8}}
`))
	if err != nil {
		t.Fatal(err)
	}
	doc := `name: Road
title: 3
applies_to: [other]
fuel: ["", "98 RON"]
rules:
  - {id: sound, severity: warning, select: {quantity: manifold_pressure}, range: {unit: kPa, max: 200}}
  - {id: sound, severity: warning, select: {quantity: manifold_pressure}, range: {unit: kPa, max: 200}}
  - {id: word, severity: grave, select: {tables: [nothing]}, range: {unit: kPa, max: 200}}
  - {id: form, severity: warning, select: {tables: boost}, range: {unit: kPa, max: 200}}
  - {id: unit, severity: warning, select: {tables: [boost]}, range: {unit: deg, max: 200}}
  - {id: none, severity: warning, select: {quantity: lambda}, range: {unit: "1", max: 1}}
  - {id: formula, severity: warning, expression: "table('absent').min() > 1.0"}
  - {id: text, severity: warning, expression: "1.0 +"}
`
	want := []string{":1: name", ":2: title", ":3: applies_to", ":4: fuel[0]", ":7: rules[1].id", ":8: rules[2].severity", ":9: rules[3].select.tables", ":10: rules[4]", ":11: rules[5].select", ":12: rules[6]", ":13: rules[7]"}
	_, faults := Examine("l.yaml", []byte(doc), lay)
	for i, err := range faults {
		if i >= len(want) || !strings.HasPrefix(err.Error(), "l.yaml"+want[i]) {
			t.Errorf("%v; want %v", err, want[min(i, len(want)-1)])
		}
	}
	if len(faults) != len(want) {
		t.Errorf("%d faults, want %d", len(faults), len(want))
	}
	if _, alone := Examine("l.yaml", []byte(doc), nil); len(alone) != len(want)-5 {
		t.Errorf("without a definition: %v", alone)
	}
	if l, faults := Examine("l.yaml", []byte("a: ["), lay); l != nil || len(faults) != 1 {
		t.Errorf("no YAML: %v", faults)
	}
}
