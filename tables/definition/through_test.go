package definition

import (
	"fmt"
	"strings"
	"testing"
)

// looked is a definition whose map is looked up through two curves, one of them through a third.
const looked = `name: dx
byte_order: big
image: {size: 0x1000}
axes:
  - {id: place, unit: kPa, points: [20, 100, 220], by: {curve: sensor}}
tables:
  - {id: base, quantity: advance, unit: deg, stored: {address: 0x10, type: s8}, x: {points: [0, 1, 2], by: {curve: index}}, y: {axis: place}}
  - {id: index, unit: "1", stored: {address: 0x30, type: u8}, x: {id: rounded, quantity: engine_speed, unit: 1/min, points: [1, 2], by: {curve: even}}}
  - {id: even, quantity: engine_speed, unit: Hz, stored: {address: 0x40, type: u8}, x: {id: raw, quantity: engine_speed, unit: 1/min, points: [1, 2]}}
  - {id: sensor, quantity: manifold_pressure, unit: hPa, stored: {address: 0x50, type: u16}, x: {quantity: sensor_voltage, unit: V, points: [0, 5]}}
  - {id: cube, unit: deg, stored: {address: 0x60, type: u8}, axes: [{axis: place}, {quantity: engine_speed, unit: 1/min, points: [1, 2]}, {quantity: gear, labels: [a, b]}]}
  - {id: note, kind: text, encoding: ascii, stored: {address: 0x90, length: 4}}
  - {id: loose, unit: deg, stored: {address: 0xA0, type: u8}, x: {points: [1, 2]}}
  - {id: texted, unit: deg, stored: {address: 0xB0, type: u8}, x: {quantity: gear, unit_text: gear, points: [1, 2]}}
signals:
  - {id: plug, quantity: advance, unit: deg, value: "table('base') + table('cube') + 0"}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 600, to: 7200}
  - {quantity: sensor_voltage, unit: V, from: 0.4, to: 4.9}
  - {quantity: gear, unit: "1", from: 0, to: 1}
`

func TestThroughCurves(t *testing.T) {
	lay, err := Load("d.yaml", []byte(looked))
	if err != nil {
		t.Fatal(err)
	}
	var tables, inputs []string
	for _, t := range lay.Signals[0].Tables {
		tables = append(tables, t.ID)
	}
	for _, in := range lay.Signals[0].Inputs {
		inputs = append(inputs, in.Quantity)
	}
	if got := fmt.Sprint(tables, inputs); got != "[base index even sensor cube] [engine_speed sensor_voltage gear]" {
		t.Errorf("plug depends on %s", got)
	}
	base, cube := lay.ByID["base"], lay.ByID["cube"]
	if base.Fed[0].Curve != lay.ByID["index"] || base.Fed[0].Level.Factor != 1 || base.Fed[1].Curve != lay.ByID["sensor"] || base.Fed[1].Level.Level(950) != 95 {
		t.Errorf("base is fed by %+v and %+v", base.Fed[0], base.Fed[1])
	}
	if fed := lay.ByID["index"].Fed[0]; fed.Curve != lay.ByID["even"] || fed.Level.Level(50) != 3000 {
		t.Errorf("index is fed by %+v", fed)
	}
	if fed := cube.Fed; len(fed) != 3 || fed[0].Curve == nil || fed[1].Input != lay.Inputs[0] || fed[2].Input != lay.Inputs[2] {
		t.Errorf("cube is fed by %v", fed)
	}
	for _, s := range cube.Slices(make([]byte, lay.Size)) {
		if len(s.Fed) != 2 || s.Fed[0] != cube.Fed[0] {
			t.Errorf("a slice is fed by %v", s.Fed)
		}
	}
}

func TestThroughRefusals(t *testing.T) {
	refuseAll(t, looked, []refusal{
		{"id: raw, quantity: engine_speed, unit: 1/min, points: [1, 2]", "id: raw, points: [1, 2], by: {curve: index}", 9, "tables[2].x.by.curve", "axis raw: it is looked up through itself: rounded, raw, rounded; allowed: no circles"},
		{"+ 0", "+ table('note')", 16, "signals[0].value", "table note holds text; allowed: tables of numbers"},
		{"+ 0", "+ table('loose')", 16, "signals[0].value", "table loose has an axis without a quantity, which nothing supplies"},
		{"+ 0", "+ table('texted')", 16, "signals[0].value", "1:39: table texted, axis of gear: its unit is free text, which does not convert; allowed: an axis with a unit"},
		{"sensor_voltage, unit: V, from", "other, unit: V, from", 16, "signals[0].value", "table sensor has an axis of sensor_voltage, which nothing supplies"},
	})
}

// A curve at fault is told, and not what is looked up through it; likewise a circle.
func TestExamineThrough(t *testing.T) {
	for _, change := range [][2]string{{"address: 0x50, type: u16", "address: 0x50, type: u17"}, {"curve: index", "curve: indices"},
		{"id: raw, quantity: engine_speed, unit: 1/min, points: [1, 2]", "id: raw, points: [1, 2], by: {curve: index}"}} {
		if got := faultsOf(t, strings.Replace(looked, change[0], change[1], 1)); len(got) != 1 {
			t.Errorf("%q: %q", change[1], got)
		}
	}
}

// A chain of curves is as long as the format says at the most; a longer one is refused where it is too long.
func TestLongChain(t *testing.T) {
	chain := func(n int) string {
		doc := "name: d\nbyte_order: big\nimage: {size: 0x1000}\ntables:\n"
		for i := range n {
			doc += fmt.Sprintf("  - {id: c%d, unit: deg, stored: {address: 0, type: u8}, x: {points: [1], by: {curve: c%d}}}\n", i, i+1)
		}
		return doc + fmt.Sprintf("  - {id: c%d, unit: deg, stored: {address: 0, type: u8}, x: {quantity: q, unit: V, points: [1]}}\n", n)
	}
	if _, err := Load("d", []byte(chain(maxThrough))); err != nil {
		t.Error(err)
	}
	_, err := Load("d", []byte(chain(maxThrough+1)))
	if err == nil || !strings.Contains(err.Error(), "allowed: at most 16 curves, each looked up through the next") {
		t.Errorf("%v", err)
	}
	if _, faults := Examine("d", []byte(chain(3000))); len(faults) == 0 {
		t.Error("a chain of 3000 curves has no fault")
	}
}

// Twenty thousand objects as a description of a whole controller has them: names, titles, folders, two axes each.
func TestTwentyThousand(t *testing.T) {
	var b strings.Builder
	b.WriteString("name: big\nbyte_order: big\nimage: {size: 0x1000000}\naxes:\n")
	for i := range 2000 {
		fmt.Fprintf(&b, "  - {id: axis.%d, known_as: \"AXIS_SHARED_%d\", quantity: engine_speed, unit: 1/min, stored: {address: 0x%x, type: u16, count: 16}, conversion: {factor: 0.25}}\n", i, i, 32*i)
	}
	b.WriteString("tables:\n")
	for i := range 20000 {
		at := 0x10000 + 528*i
		fmt.Fprintf(&b, "  - {id: imported.object.number.%d, title: \"What this object is for, in some words\", known_as: \"OBJECT_NUMBER[%d]\", quantity: ignition_advance, unit: deg, stored: {address: 0x%x, type: s16},"+
			" conversion: {factor: 0.75, offset: -48}, x: {axis: axis.%d}, y: {quantity: cylinder_filling, unit: \"%%\", stored: {address: 0x%x, type: u8, count: 16}, conversion: {factor: 0.5}}, order: x_fastest}\n", i, i, at, i%2000, at+512)
	}
	b.WriteString("folders:\n")
	for i := range 200 {
		fmt.Fprintf(&b, "  - {id: f%d, tables: [", i)
		for k := range 100 {
			fmt.Fprintf(&b, "imported.object.number.%d, ", i*100+k)
		}
		b.WriteString("]}\n")
	}
	b.WriteString("volatile:\n")
	for i := range maxVolatile {
		fmt.Fprintf(&b, "  - {start: 0x%x, end: 0x%x}\n", 0xF00000+i*16, 0xF00000+i*16+8)
	}
	lay, err := Load("big", []byte(b.String()))
	if err != nil || len(lay.Tables) != 20000 {
		t.Fatalf("of %d bytes: %v", b.Len(), err)
	}
}
