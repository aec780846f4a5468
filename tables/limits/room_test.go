package limits

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

func limitsOf(rules ...*calibrationv1.Rule) *Limits {
	return &Limits{Source: &calibrationv1.Limits{Rules: rules}}
}

// Worked out by hand: the envelope runs from 20 at 1000 to 30 at 3000 and is held beyond, so 25 at 2000.
func TestRoomOfEachCell(t *testing.T) {
	nan := math.NaN()
	ceiling := rule(`{"envelope": {"side": "max", "unit": "deg", "x": {"quantity": "engine_speed", "unit": "1/min", "points": [1000, 3000]}, "values": [[20, 30]]}}`)
	floor := rule(`{"id": "floor", "range": {"unit": "deg", "min": 2}}`)
	bar := rule(`{"range": {"unit": "bar", "max": 2}}`)
	speeds := []float64{4000, 2000, 1000} // falls
	for name, c := range map[string]struct {
		s               sheet
		rules           []*calibrationv1.Rule
		room, low, high []float64
	}{
		"none":     {sheet{id: "t", unit: "deg", x: speeds, v: []float64{1, 2, 3}}, nil, []float64{nan, nan, nan}, []float64{nan, nan, nan}, []float64{nan, nan, nan}},
		"envelope": {sheet{id: "t", unit: "deg", x: speeds, v: []float64{29, 26, 20}}, []*calibrationv1.Rule{ceiling}, []float64{1, -1, 0}, []float64{nan, nan, nan}, []float64{30, 25, 20}},
		"both":     {sheet{id: "t", unit: "deg", x: speeds, v: []float64{29, 3, 1}}, []*calibrationv1.Rule{ceiling, floor}, []float64{1, 1, -1}, []float64{2, 2, 2}, []float64{30, 25, 20}},
		"kPa":      {sheet{id: "t", unit: "kPa", v: []float64{150}}, []*calibrationv1.Rule{bar}, []float64{50}, []float64{nan}, []float64{200}},
		"NaN":      {sheet{id: "t", unit: "deg", v: []float64{nan}}, []*calibrationv1.Rule{floor}, []float64{math.Inf(-1)}, []float64{2}, []float64{nan}},
		"labels":   {sheet{id: "t", unit: "", v: []float64{1}, labels: map[int64]string{1: "on"}}, []*calibrationv1.Rule{floor}, []float64{nan}, []float64{nan}, []float64{nan}},
		"no axis":  {sheet{id: "t", unit: "deg", v: []float64{40}}, []*calibrationv1.Rule{ceiling}, []float64{nan}, []float64{nan}, []float64{nan}},
		"neither":  {sheet{id: "t", unit: "deg", x: []float64{1, 3, 2}, v: []float64{40, 40, 40}}, []*calibrationv1.Rule{ceiling}, []float64{nan, nan, nan}, []float64{nan, nan, nan}, []float64{nan, nan, nan}},
	} {
		d := c.s.decoded()
		low, high, room := Bounds(limitsOf(c.rules...), d.Table, d)
		if !samePoints(room, c.room) || !samePoints(low, c.low) || !samePoints(high, c.high) {
			t.Errorf("%s: room %v within %v and %v; want %v within %v and %v", name, room, low, high, c.room, c.low, c.high)
		}
	}
	d := sheet{id: "t", unit: "deg", v: []float64{1}}.decoded()
	if _, _, room := Bounds(nil, d.Table, d); !math.IsNaN(room[0]) {
		t.Errorf("without limits there is room %v", room)
	}
}

// The least room of all cells is the margin that Judge reports, if nothing is judged between cells.
func TestLeastRoomIsTheMargin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-50, 50)
		s := sheet{id: "t", unit: "deg", x: []float64{1, 2, 3}, y: []float64{5, 4}, v: rapid.SliceOfN(value, 6, 6).Draw(t, "v")}
		r := rule(`{"range": {"unit": "deg", "min": -20, "max": 20}}`)
		out := judged(t, judging(nil, []sheet{s}), r)
		d := s.decoded()
		_, _, room := Bounds(limitsOf(r), d.Table, d)
		least := slices.Min(room)
		if got := out.Margins[0].GetMargin(); got != least {
			t.Fatalf("the margin is %v, the least room %v", got, least)
		}
		if (len(out.Findings) > 0) != (least < 0) {
			t.Fatalf("%d findings with least room %v", len(out.Findings), least)
		}
	})
}
