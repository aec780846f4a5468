package sheet

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/run"
)

const visitedLayout = `
name: small
byte_order: big
image: {start: 0x0, size: 0x40, segments: [{start: 0x0, end: 0x40, content: calibration}]}
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0x0, type: u16, count: 3}}
tables:
  - {id: ign, quantity: ignition_advance, unit: deg, stored: {address: 0x10, type: u8}, x: {axis: rpm}}
  - {id: gear, quantity: duty, unit: "%", stored: {address: 0x20, type: u8}, x: {id: gears, quantity: gear, unit: "1", points: [1, 2]}}
`

// held is a run of 2 s at one engine speed.
func held(t *testing.T, speed float64) *run.Run {
	t.Helper()
	var b strings.Builder
	b.WriteString("time [s],engine_speed [1/min]\n")
	for i := range 21 {
		fmt.Fprintf(&b, "%.1f,%g\n", float64(i)/10, speed)
	}
	r, err := run.Load("run.csv", []byte(b.String()), "", nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The breakpoints are 1000, 2000 and 3000. By hand: 2 s held at 1250 are 1.5 s in the first cell
// and 0.5 s in the second; 2 s held at 3500 are 2 s in the third, all outside.
func TestVisitedByHand(t *testing.T) {
	lay, err := definition.Load("small.yaml", []byte(visitedLayout))
	if err != nil {
		t.Fatal(err)
	}
	image := make([]byte, 0x40)
	copy(image, []byte{0x03, 0xE8, 0x07, 0xD0, 0x0B, 0xB8})
	cell := func(col uint32, x float64) *calibrationv1.CellChange {
		return &calibrationv1.CellChange{Column: col, X: proto.Float64(x), Base: structpb.NewNumberValue(10), Candidate: structpb.NewNumberValue(12), Delta: proto.Float64(2)}
	}
	report := &calibrationv1.Report{Tables: []*calibrationv1.TableReport{
		{Id: "ign", Changes: []*calibrationv1.CellChange{cell(0, 1000), cell(1, 2000), cell(2, 3000)}},
		{Id: "gear", Changes: []*calibrationv1.CellChange{cell(0, 1)}},
	}}
	if Visits(report, lay, image, nil) != nil {
		t.Error("no run visited something")
	}
	one := Visits(report, lay, image, []*run.Run{held(t, 1250)})
	if len(one.Cells) != 2 || one.Unseen != 1 || len(one.Outside) != 0 {
		t.Errorf("got %d cells, %d unseen, outside %v", len(one.Cells), one.Unseen, one.Outside)
	}
	v := Visits(report, lay, image, []*run.Run{held(t, 1250), held(t, 3500)})
	want := []struct {
		col     int
		seconds float64
	}{{2, 2}, {0, 1.5}, {1, 0.5}}
	if len(v.Cells) != len(want) {
		t.Fatalf("%d cells, want %d", len(v.Cells), len(want))
	}
	for i, w := range want {
		if got := v.Cells[i]; got.Change.Column != w.col || math.Abs(got.Seconds-w.seconds) > 1e-6 {
			t.Errorf("place %d: cell %d for %v s, want cell %d for %v s", i+1, got.Change.Column, got.Seconds, w.col, w.seconds)
		}
	}
	var b strings.Builder
	if err := Write(&b, report, Options{Layout: lay, Candidate: image, Visited: v}); err != nil {
		t.Fatal(err)
	}
	for _, say := range []string{
		"Changed cells that the run visited", "(2 runs, longest first)",
		"2.00 s  ign                  engine speed 3000 1/min: 10→12  (+2 deg)",
		"ign: 2.00 s of 4.00 s outside its axes (engine speed above its last 2.00 s)",
		"not told: gear: ",
	} {
		if !strings.Contains(b.String(), say) {
			t.Errorf("the sheet does not say %q:\n%s", say, b.String())
		}
	}
}

// A value that lies along an axis is printed in the axis' unit.
func TestTheUnitOfAWorstPointAlongAnAxis(t *testing.T) {
	lay, err := definition.Load("small.yaml", []byte(visitedLayout))
	if err != nil {
		t.Fatal(err)
	}
	f := &calibrationv1.Finding{Rule: "covered", Table: "ign", Count: 1, Worst: &calibrationv1.Worst{X: proto.Float64(3500), Value: proto.Float64(3500),
		Limit: proto.Float64(3000), Excess: 500, Along: proto.String("x")}}
	if got := worst(f, &Options{Layout: lay}); !strings.HasPrefix(got, "found 3500 1/min; allowed 3000 1/min, beyond by 500") {
		t.Error(got)
	}
}
