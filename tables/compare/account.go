package compare

import (
	"fmt"
	"slices"
	"sort"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// joinUnder is the distance below which unmapped bytes become one range.
const joinUnder = 16

// account accounts for every differing byte once and finds the tables that changed. What lies outside
// the differing runs costs one search among them.
func (s *session) account(runs []image.Range) {
	o := newOwners(s.in.Base.Bytes, s.in.Candidate.Bytes, runs)
	for _, f := range s.lay.Identity {
		o.claimRange(f.Range, ofIdentity)
	}
	axes := map[*definition.Axis]bool{}
	axis := func(a *definition.Axis) bool {
		if a == nil || a.Cells == nil || !o.overlaps(a.Cells.Extent()) {
			return false
		}
		moved, seen := axes[a]
		if !seen {
			moved = o.claimCells(a.Cells, ofTable)
			axes[a] = moved
		}
		return moved
	}
	for _, a := range s.lay.Axes {
		if axis(a) && !slices.ContainsFunc(s.lay.Tables, func(t *definition.Table) bool { return t.X == a || t.Y == a }) {
			s.alone("", "axis "+a.ID+" changed, and no table of the definition uses it")
		}
	}
	for _, t := range s.lay.Tables {
		cells := o.claimCells(t.Cells, ofTable)
		x, y := axis(t.X), axis(t.Y)
		switch {
		case !cells && !x && !y:
		case s.unknown[t.ID] != "":
			s.unknownChange(t)
		default:
			s.keep(between(s.baseOf(t.ID), s.candOf(t.ID)))
		}
	}
	for _, c := range s.lay.Checksums {
		for _, cells := range c.Owned() {
			o.claimCells(cells, ofChecksum)
		}
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
	open.out.End = fmt.Sprintf("0x%x", s.lay.Space.Address(at)+1)
	open.out.Bytes++
	return open
}

// segmentEdges is where segments and regions begin and end, sorted: no range of a report crosses one.
func segmentEdges(lay *definition.Layout) []uint64 {
	var edges []uint64
	for _, seg := range lay.Segments {
		edges = append(edges, seg.Start, seg.End)
	}
	end := uint64(0)
	for _, region := range lay.Space {
		end += region.End - region.Start
		edges = append(edges, end)
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
