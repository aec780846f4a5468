package compare

import (
	"cmp"
	"slices"
	"sort"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// placed is a changed table, where it lies, and how far it or any table before it reaches.
type placed struct {
	image.Range
	reach uint64
	index int // in definition order
	cells *definition.Cells
}

// overlaps finds the tables that a changed one shares bits with. Of a pair that changed both, the first
// in definition order names the other.
func (s *session) overlaps() {
	if len(s.changes) == 0 {
		return
	}
	tables, among := s.candLay.Tables, s.candLay.Index().Lapping
	if len(s.candLay.Varying) > 0 { // who knows where they lie
		among = make([]int, len(tables))
		for i := range among {
			among[i] = i
		}
	}
	var moved []placed
	for _, i := range among {
		t := tables[i]
		if s.byID[t.ID] == nil {
			continue
		}
		if in, err := s.cand.lies(t); err == nil {
			moved = append(moved, placed{Range: in.Cells.Extent(), index: i, cells: in.Cells})
		}
	}
	if len(moved) == 0 {
		return
	}
	slices.SortStableFunc(moved, func(a, b placed) int { return cmp.Compare(a.Start, b.Start) })
	reach := uint64(0)
	for i := range moved {
		reach = max(reach, moved[i].End)
		moved[i].reach = reach
	}
	shares := make([][]string, len(tables))
	for _, i := range among {
		t := tables[i]
		in, err := s.cand.lies(t)
		if err != nil {
			continue
		}
		at := in.Cells.Extent()
		k := sort.Search(len(moved), func(k int) bool { return moved[k].Start >= at.End }) - 1
		for ; k >= 0 && moved[k].reach > at.Start; k-- {
			m := moved[k]
			told := i == m.index || i < m.index && s.byID[t.ID] != nil
			if !told && m.End > at.Start && in.Cells.Shares(m.cells) {
				shares[m.index] = append(shares[m.index], t.ID)
			}
		}
	}
	for i, others := range shares {
		if len(others) > 0 {
			s.find(&calibrationv1.Finding{Rule: "overlap", Severity: "notice", Table: tables[i].ID, Tables: others, Count: uint32(len(others))})
		}
	}
}
