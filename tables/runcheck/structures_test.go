package runcheck

import (
	"math"
	"strings"
	"testing"

	"witnessmark/tables/definition"
	"witnessmark/tables/run"
)

// structures is one observed table of each structure; the bytes are below.
const structures = `name: rich
byte_order: big
image: {size: 0x100}
tables:
  - {id: block, quantity: manifold_pressure, unit: kPa, stored: {address: 0x10, type: u8}, axes: [{quantity: engine_speed, unit: 1/min, points: [1000, 3000]}, {quantity: throttle, unit: "%", points: [0, 100]}, {quantity: coolant_temperature, unit: Cel, points: [0, 50]}], observed: {channel: manifold_pressure}}
  - {id: index.rpm, quantity: place, unit: "1", stored: {address: 0x20, type: u8}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}}
  - {id: through, quantity: manifold_pressure, unit: kPa, stored: {address: 0x24, type: u8}, x: {stored: {address: 0x22, type: u8, count: 2}, by: {curve: index.rpm}}}
  - {id: nameless, quantity: manifold_pressure, unit: kPa, stored: {address: 0x28, type: u8}, x: {points: [1, 2]}, observed: {channel: manifold_pressure}}
  - {id: far, quantity: manifold_pressure, unit: kPa, stored: {address: 0x30, type: u8, pointer: u16}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}, observed: {channel: manifold_pressure}}
  - {id: off, quantity: manifold_pressure, unit: kPa, stored: {address: 0x40, type: u8, not_a_value: [255]}, x: {quantity: engine_speed, unit: 1/min, points: [1000, 2000, 3000]}, observed: {channel: manifold_pressure}}
  - {id: counted, quantity: manifold_pressure, unit: kPa, stored: {address: 0x50, type: u8}, x: {quantity: engine_speed, unit: 1/min, stored: {address: 0x54, type: u8, count: 3, count_at: {address: 0x58, type: u8}}, conversion: {factor: 100}}, observed: {channel: manifold_pressure}}
  - {id: note, kind: text, stored: {address: 0x60, length: 8}, encoding: ascii}
signals:
  - {id: by.curve, quantity: manifold_pressure, unit: kPa, value: table('through'), observed: {channel: manifold_pressure}}
inputs:
  - {quantity: engine_speed, unit: 1/min, from: 0, to: 8000}
`

// By hand, at 2000 1/min, throttle 50 %, coolant 25 Cel: the block's mean of 8 cells is 104.5; the curve gives 5, between 0 and 10,
// which is 110 between 100 and 120; counted uses two breakpoints of three, 1000 and 3000, and is 105 between 100 and 110.
func TestStructuresAgainstARun(t *testing.T) {
	image := make([]byte, 0x100)
	for at, b := range map[int][]byte{0x10: {101, 102, 103, 104, 105, 106, 107, 108}, 0x20: {0, 10, 0, 10, 100, 120}, 0x28: {1, 2}, 0x30: {0xF0, 0}, 0x40: {100, 255, 110}, 0x50: {100, 110, 250}, 0x54: {10, 30, 90}, 0x58: {2}} {
		copy(image[at:], b)
	}
	lay, err := definition.Load("d.yaml", []byte(structures))
	if err != nil {
		t.Fatal(err)
	}
	file := smallRun("engine_speed [1/min],throttle [%],coolant_temperature [Cel],manifold_pressure [kPa]", 40, func(i int) string {
		if i < 20 {
			return "2000,50,25,106"
		}
		return "3600,50,25,106"
	})
	r, err := run.Read("r.csv", strings.NewReader(file), nil)
	if err != nil {
		t.Fatal(err)
	}
	out, err := Check(Input{Run: r, SHA256: "f", Image: lay.Space.Whole(image), Candidate: lay.Space.Whole(image), Layout: lay})
	if err != nil {
		t.Fatal(err)
	}
	// The means over 20 samples at 2000 and 20 at 3600, where all axes of speed hold their last value.
	want := map[string]float64{"block": 106 - (104.5+105)/2, "by.curve": 106 - (110+120.0)/2, "counted": 106 - (105+110.0)/2, "off": 106 - 110}
	for _, s := range out.Sides {
		id := s.Table + s.Signal
		if w, ok := want[id]; ok != (s.Samples > 0) || ok && math.Abs(s.Mean-w) > 1e-4 {
			t.Errorf("%s: %d samples, on the mean %v, want %v", id, s.Samples, s.Mean, w)
		}
		if id == "off" && s.Samples != 20 {
			t.Errorf("beside a code nothing is commanded: %v", s)
		}
	}
	left := strings.Join(out.LeftOut, "\n")
	for _, text := range []string{"nameless is not held against the run: one of its axes has no quantity", "far is not held against the run: "} {
		if !strings.Contains(left, text) {
			t.Errorf("it does not say %q: %s", text, left)
		}
	}
	outside := map[string]bool{}
	for _, o := range out.Outside {
		outside[o.Table+" "+o.Axis] = true
	}
	if !outside["block engine_speed"] || !outside["counted engine_speed"] || outside["far engine_speed"] || outside["block coolant_temperature"] {
		t.Errorf("outside: %v", outside)
	}
}
