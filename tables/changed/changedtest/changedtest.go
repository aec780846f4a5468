// Package changedtest has reports as their JSON form says them, an object a cell, for tests.
package changedtest

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
	"witnessmark/tables/said"
)

// Objects is a table's changed cells, an object each; it panics where the report's columns do not fit.
func Objects(t *calibrationv1.TableReport) (out []*calibrationv1.CellChange) {
	cells, err := changed.Of(t)
	if err != nil {
		panic(err)
	}
	for _, c := range cells.All() {
		m := &calibrationv1.CellChange{Row: uint32(c.Row), Column: uint32(c.Column), Base: value(c.Base()), Candidate: value(c.Candidate()),
			BaseRaw: raw(c.BaseRaw()), CandidateRaw: raw(c.CandidateRaw()), Slice: cells.Slice(c.Slice)}
		m.X, m.BaseX, m.XLabel = place(c.X())
		m.Y, m.BaseY, m.YLabel = place(c.Y())
		if c.HasDelta {
			m.Delta = proto.Float64(c.Delta)
		}
		out = append(out, m)
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

func value(v changed.Value) *structpb.Value {
	if v.Is == changed.Word {
		return structpb.NewStringValue(v.Word)
	}
	return said.NumberOr(v.Number, v.Is == changed.None)
}

func raw(r changed.Raw) *string {
	if !r.Given {
		return nil
	}
	return proto.String(r.String())
}

func place(p changed.Place) (now, before *float64, label *string) {
	switch {
	case p.Named:
		return nil, nil, &p.Label
	case !p.Given:
		return nil, nil, nil
	case p.Moved:
		before = &p.Before
	}
	return &p.Point, before, nil
}
