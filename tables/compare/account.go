package compare

import (
	"sort"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// joinUnder is the distance below which unmapped bytes become one range.
const joinUnder = 16

// account accounts for every differing byte once and finds the tables that changed.
func (s *session) account() {
	o := newOwners(s.in.Base.Bytes, s.in.Candidate.Bytes, differing(s.in.Base.Bytes, s.in.Candidate.Bytes))
	for _, f := range s.lay.Identity {
		o.claimRange(f.Range, ofIdentity)
	}
	axes := map[*definition.Axis]bool{}
	axis := func(a *definition.Axis) bool {
		if a == nil || a.Cells == nil {
			return false
		}
		moved, seen := axes[a]
		if !seen {
			moved = o.claimCells(a.Cells, ofTable)
			axes[a] = moved
		}
		return moved
	}
	used := map[*definition.Axis]bool{}
	for _, t := range s.lay.Tables {
		used[t.X], used[t.Y] = true, true
	}
	for _, a := range s.lay.Axes {
		if axis(a) && !used[a] {
			s.alone("", "axis "+a.ID+" changed, and no table of the definition uses it")
		}
	}
	for _, t := range s.lay.Tables {
		cells := o.claimCells(t.Cells, ofTable)
		x, y := axis(t.X), axis(t.Y)
		if cells || x || y {
			s.addChange(t, x, y)
		}
	}
	for _, c := range s.lay.Checksums {
		o.claimCells(c.Stored, ofChecksum)
	}
	for _, r := range s.lay.Volatile {
		o.claimRange(r, ofVolatile)
	}
	s.count(o)
	s.unmappedFindings()
}

// count fills bytes and the unmapped ranges.
func (s *session) count(o *owners) {
	n := s.report.Bytes
	edges := segmentEdges(s.lay)
	var open *unmapped
	for i, run := range o.runs {
		for at := run.Start; at < run.End; at++ {
			k := o.first[i] + int(at-run.Start)
			n.Differing++
			switch kinds := o.kinds[k]; {
			case (o.a[at]^o.b[at])&^o.covered[k] != 0:
				n.Unmapped++
				open = s.addUnmapped(open, at, edges)
			case kinds&ofIdentity != 0:
				n.Identity++
			case kinds&ofTable != 0:
				n.Mapped++
			case kinds&ofChecksum != 0:
				n.Checksum++
			default:
				n.Volatile++
			}
		}
	}
}

// unmapped is a range of unmapped bytes that may still grow.
type unmapped struct {
	start, last uint64
	part        int // of the image, between two edges of segments
	out         *calibrationv1.UnmappedRange
}

func (s *session) addUnmapped(open *unmapped, at uint64, edges []uint64) *unmapped {
	part := sort.Search(len(edges), func(i int) bool { return edges[i] > at })
	if open == nil || at-open.last >= joinUnder || part != open.part {
		open = &unmapped{start: at, part: part, out: &calibrationv1.UnmappedRange{
			Start: address(s.lay, at), Content: content(s.lay, at)}}
		s.report.Unmapped = append(s.report.Unmapped, open.out)
	}
	open.last = at
	open.out.End = address(s.lay, at+1)
	open.out.Bytes++
	return open
}

// segmentEdges is where segments begin and end, sorted: no range of a report crosses one.
func segmentEdges(lay *definition.Layout) []uint64 {
	var edges []uint64
	for _, seg := range lay.Segments {
		edges = append(edges, seg.Start, seg.End)
	}
	sort.Slice(edges, func(i, j int) bool { return edges[i] < edges[j] })
	return edges
}

// content is what the segment around an offset holds; a byte in none is data.
func content(lay *definition.Layout, at uint64) string {
	for _, seg := range lay.Segments {
		if at >= seg.Start && at < seg.End {
			return seg.Content
		}
	}
	return "data"
}

// overlaps lists pairs of tables that share bytes, where one of them changed.
func (s *session) overlaps() {
	if len(s.changes) == 0 {
		return
	}
	type placed struct {
		definition.Range
		index int
	}
	tables := s.candLay.Tables
	all := make([]placed, len(tables))
	for i, t := range tables {
		all[i] = placed{extent(t.Cells), i}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].Start < all[j].Start })
	var pairs [][2]int
	for i, p := range all {
		for _, q := range all[i+1:] {
			if q.Start >= p.End {
				break
			}
			a, b := tables[p.index], tables[q.index]
			if (s.byID[a.ID] != nil || s.byID[b.ID] != nil) && shareBytes(a.Cells, b.Cells) {
				pairs = append(pairs, [2]int{min(p.index, q.index), max(p.index, q.index)})
			}
		}
	}
	sort.Slice(pairs, func(i, j int) bool {
		if pairs[i][0] != pairs[j][0] {
			return pairs[i][0] < pairs[j][0]
		}
		return pairs[i][1] < pairs[j][1]
	})
	for _, p := range pairs {
		s.report.Overlaps = append(s.report.Overlaps, &calibrationv1.Overlap{Table: tables[p[0]].ID, Other: tables[p[1]].ID})
	}
}

// shareBytes says whether two blocks of cells have a byte in common, not only their extents.
func shareBytes(a, b *definition.Cells) bool {
	starts := func(c *definition.Cells) []uint64 {
		out := make([]uint64, 0, c.NX*c.NY)
		for row := range c.NY {
			for col := range c.NX {
				out = append(out, c.At(row, col))
			}
		}
		sort.Slice(out, func(i, j int) bool { return out[i] < out[j] })
		return out
	}
	as, bs := starts(a), starts(b)
	for i, j := 0, 0; i < len(as) && j < len(bs); {
		switch {
		case as[i]+uint64(a.Bytes) <= bs[j]:
			i++
		case bs[j]+uint64(b.Bytes) <= as[i]:
			j++
		default:
			return true
		}
	}
	return false
}
