package signal

import (
	"fmt"
	"strings"
	"testing"
)

// By hand: at 2000 1/min the curve gives 5, which is half way between the breakpoints 0 and 10 of the table that it leads to;
// the block's cells are 1 to 8, and half way along all three axes it is their mean.
func TestShowThroughACurve(t *testing.T) {
	lay, set, _ := coded(t, false, `  - {id: s, quantity: q, unit: '1', value: "table('through') + table('k')"}
`, "curve, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]} = 0 10",
		"through, x: {id: steps, points: [0, 10], by: {curve: curve}} = 20 40",
		"k, axes: [{quantity: engine_speed, unit: 1/min, points: [1000, 3000]}, {quantity: cylinder_filling, unit: '%', points: [50, 150]}, {quantity: intake_temperature, unit: Cel, points: [0, 40]}] = 1 2 3 4 5 6 7 8")
	view := set.In(NewSpace(lay))
	out, err := view.Show([]string{"s"}, map[string]float64{"engine_speed": 2000, "cylinder_filling": 100, "intake_temperature": 20})
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	for _, s := range out[0].Steps {
		said = append(said, fmt.Sprintf("%s%s %v %v", s.Table, s.Signal, s.At, s.Value))
	}
	const want = "curve map[engine_speed:2000] 5; through map[steps:5] 30; k map[cylinder_filling:100 engine_speed:2000 intake_temperature:20] 4.5; s map[] 34.5"
	if got := strings.Join(said, "; "); got != want {
		t.Errorf("got %s\nwant %s", got, want)
	}
	sweep, err := view.Sweep([]string{"s"}, "engine_speed", map[string]float64{"cylinder_filling": 100, "intake_temperature": 20})
	if err != nil {
		t.Fatal(err)
	}
	var ids []string
	for _, c := range sweep.Columns {
		ids = append(ids, c.ID)
	}
	if got := strings.Join(ids, " "); got != "s curve through k" {
		t.Errorf("columns %s", got)
	}
}
