package compare

import (
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// mirrors finds mirrored tables that disagree, where either of the pair changed.
func (s *session) mirrors() {
	for _, t := range s.candLay.Index().Mirrors {
		if !s.check && s.byID[t.ID] == nil && s.byID[t.MirrorOf] == nil {
			continue
		}
		d, of := s.cand.table(t.ID), s.cand.table(t.MirrorOf)
		if d == nil || of == nil && s.unknown[t.MirrorOf] != "" {
			continue
		}
		f := &calibrationv1.Finding{Rule: "mirror", Severity: "danger", Table: t.ID, Tables: []string{t.MirrorOf}}
		if of == nil || len(of.Bits) != len(d.Bits) {
			f.Count, f.Detail = uint32(len(d.Bits)), fmt.Sprintf("%s has not as many cells", t.MirrorOf)
			s.find(f)
			continue
		}
		all := ^uint64(0) >> (64 - min(max(t.Cells.Width, 1), 64))
		for i, bits := range d.Bits {
			want := of.Bits[i]
			if t.MirrorComplement {
				want = ^want
			}
			if bits == want&all {
				continue
			}
			f.Count++
			c := cellOf(d, i)
			if d.Values != nil && !isOff(d, i) && f.Worst == nil {
				f.Worst = worstAt(d, i)
			}
			if f.Detail == "" {
				f.Detail = fmt.Sprintf("at %srow %d, column %d its raw bits are 0x%x where 0x%x would repeat %s", ofSlice(d, c), c.row, c.col, bits, want&all, t.MirrorOf)
			}
		}
		if f.Count > 0 {
			s.find(f)
		}
	}
}

// ofSlice says which slice of a block a cell is of, before its row and column.
func ofSlice(d *surface.Decoded, c cell) string {
	if d.Slices == nil {
		return ""
	}
	return fmt.Sprintf("slice %d, ", c.slice)
}

// copies finds groups that came apart: some changed and others not, or equal ones became different.
func (s *session) copies() {
	if len(s.changes) == 0 {
		return
	}
	for _, group := range s.candLay.Index().Copies {
		s.copyGroup(group[0].Copies, group)
	}
}

func (s *session) copyGroup(name string, group []*definition.Table) {
	var changed, still []string
	for _, t := range group {
		switch {
		case s.byID[t.ID] != nil:
			changed = append(changed, t.ID)
		case s.lay.ByID[t.ID] != nil || s.check:
			still = append(still, t.ID)
		}
	}
	if len(changed) == 0 {
		return
	}
	f := &calibrationv1.Finding{Rule: "copies", Severity: "caution", Table: changed[0]}
	var what []string
	if len(still) > 0 {
		f.Count = uint32(len(still))
		f.Tables = still
		what = append(what, fmt.Sprintf("of group %s, %d changed and %d did not", name, len(changed), len(still)))
	}
	for i, a := range changed {
		for _, b := range changed[i+1:] {
			if !alike(s.base.table(a), s.base.table(b)) || alike(s.cand.table(a), s.cand.table(b)) {
				continue
			}
			f.Count++
			what = append(what, fmt.Sprintf("%s and %s were equal and are not now", a, b))
			for _, id := range []string{a, b} {
				if id != f.Table && !slices.Contains(f.Tables, id) {
					f.Tables = append(f.Tables, id)
				}
			}
		}
	}
	if f.Count > 0 {
		f.Detail = joined(what)
		s.find(f)
	}
}

// alike says whether two tables hold the same text, or the same raw cells in the same shape.
func alike(a, b *surface.Decoded) bool {
	if a == nil || b == nil || a.Table.Kind != b.Table.Kind {
		return false
	}
	return a.Table.Kind == textKind && a.Text == b.Text || a.NX == b.NX && a.NY == b.NY && slices.Equal(a.Bits, b.Bits)
}
