package sheet

import (
	"math"
	"testing"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/said"
)

// An axis is called by what it measures, by an id that somebody gave it, or by its side; its points by labels where they have any.
func TestWhereInWords(t *testing.T) {
	table := &definition.Table{Axes: []*definition.Axis{{ID: "map.x", Quantity: "engine_speed", Unit: "1/min"}, {ID: "map.y", UnitText: "parts  of 8"},
		{ID: "gear", Labels: []string{"third", "first"}}, {ID: "map.4", Unit: "1"}}}
	at := &calibrationv1.Worst{X: proto.Float64(4500), Y: proto.Float64(3)}
	at.Slice = said.Slice(&definition.Slice{Index: []int{1, 0}, At: []definition.Place{{Axis: table.Axes[2], Point: 1, Label: "first"}, {Axis: table.Axes[3], Point: math.NaN()}}})
	if got := point.Where(table, at, at.X, at.Y); got != "engine speed 4500 1/min, y 3 parts of 8, gear first, 4 NaN" {
		t.Error(got)
	}
	if got := point.Where(nil, &calibrationv1.Worst{XLabel: proto.String("idle")}, nil, proto.Float64(2)); got != "x idle, y 2" {
		t.Error(got)
	}
}
