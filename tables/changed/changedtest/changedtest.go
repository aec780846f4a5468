// Package changedtest has reports as their JSON form says them, an object a cell, for tests.
package changedtest

import (
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
)

// Objects is a table's changed cells, an object each; it panics where the report's columns do not fit.
func Objects(t *calibrationv1.TableReport) (out []*calibrationv1.CellChange) {
	cells, err := changed.Of(t)
	if err != nil {
		panic(err)
	}
	for _, c := range cells.All() {
		out = append(out, c.Object())
	}
	return out
}

// Report is a copy of a report whose tables hold objects in place of columns.
func Report(r *calibrationv1.Report) *calibrationv1.Report {
	r = proto.CloneOf(r)
	for _, t := range r.Tables {
		t.Changes, t.ChangedCells = Objects(t), nil
	}
	return r
}
