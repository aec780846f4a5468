package compare

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"
	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed/changedtest"
	"witnessmark/tables/said"
)

// objectOf makes a changed cell out of what was decoded, by itself: it is what columns must say.
func (c *change) objectOf(k int) *calibrationv1.CellChange {
	if c.candTable.Kind == textKind {
		return &calibrationv1.CellChange{Base: structpb.NewStringValue(c.base().Text), Candidate: structpb.NewStringValue(c.cand().Text)}
	}
	was, is := c.index(k)
	before, at := cellOf(c.base(), was), cellOf(c.cand(), is)
	out := &calibrationv1.CellChange{Row: uint32(at.row), Column: uint32(at.col), Base: said.Cell(c.base(), was), Candidate: said.Cell(c.cand(), is)}
	if raw := c.baseTable.Cells.Raw(c.base().Bits[was]); raw != "" {
		out.BaseRaw = proto.String(raw)
	}
	if raw := c.candTable.Cells.Raw(c.cand().Bits[is]); raw != "" {
		out.CandidateRaw = proto.String(raw)
	}
	if len(c.axes) > 0 {
		out.X, out.BaseX, out.XLabel = c.breakpointOf(c.axes[0], before.col, at.col)
	}
	if len(c.axes) > 1 {
		out.Y, out.BaseY, out.YLabel = c.breakpointOf(c.axes[1], before.row, at.row)
	}
	here := out.BaseX == nil && out.BaseY == nil
	was, is = before.slice, at.slice
	for a := 2; a < len(c.axes); a++ {
		_, moved, _ := c.breakpointOf(c.axes[a], was%len(c.axes[a].was), is%len(c.axes[a].is))
		here = here && moved == nil
		was, is = was/len(c.axes[a].was), is/len(c.axes[a].is)
	}
	if c.cand().Slices != nil {
		out.Slice = said.Slice(c.cand().Slices[at.slice].Table.Slice)
	}
	if here && c.hasDelta(k) {
		out.Delta = proto.Float64(c.delta(k))
	}
	return out
}

func (c *change) breakpointOf(a *along, was, is int) (now, before *float64, label *string) {
	if a.cand.Labels != nil {
		return nil, nil, proto.String(a.cand.Labels[is])
	}
	if now = proto.Float64(a.is[is]); !same(a.was[was], a.is[is]) && (c.one || !a.alike(was, is)) {
		before = proto.Float64(a.was[was])
	}
	return now, before, nil
}

// Columns say what was found of each cell by itself, of whatever structure, under one definition and under two.
func TestColumnsSayEachCell(t *testing.T) {
	seen := map[string]bool{}
	check := func(t *rapid.T) {
		lay := drawStructures(t)
		a, b := drawPair(t, lay)
		in := Input{Base: whole(lay, a), Candidate: whole(lay, b), Layout: lay}
		if rapid.IntRange(0, 2).Draw(t, "two definitions") == 0 {
			in.CandidateLayout = drawStructures(t)
			in.Candidate = whole(in.CandidateLayout, drawStructured(t, "other", in.CandidateLayout))
		}
		s, err := compare(in)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range s.changes {
			if c.report == nil || c.incomparable != "" {
				continue
			}
			var want []*calibrationv1.CellChange
			for k := range c.cells {
				want = append(want, c.objectOf(k))
			}
			got := changedtest.Objects(c.report)
			if !slices.EqualFunc(got, want, func(p, q *calibrationv1.CellChange) bool { return proto.Equal(p, q) }) {
				t.Fatalf("%s:\n%v\nwant\n%v\nin columns %v", c.id, got, want, c.report.ChangedCells)
			}
			m := c.report.ChangedCells
			for name, is := range map[string]bool{"affine": m.GetAffine() != nil, "numbers": len(m.GetBase()) > 0, "words": len(m.GetWords()) > 0, "moved": len(want) > 0 && c.moved(),
				"a code": len(m.GetBaseOff()) > 0, "a block": c.cand().Slices != nil && len(want) > 0, "two": !c.one && len(want) > 0} {
				seen[name] = seen[name] || is
			}
		}
	}
	for range 10 {
		rapid.Check(t, check)
	}
	for _, name := range []string{"affine", "numbers", "words", "moved", "a code", "a block", "two"} {
		if !seen[name] {
			t.Errorf("no report had %s", name)
		}
	}
}
