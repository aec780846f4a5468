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
	s.astray()
	changed, unused := o.claimParts(s.lay)
	for _, i := range s.lay.Index().Varying {
		changed[i] = true // if at all, see below
	}
	n := 0
	for _, touched := range changed {
		if touched {
			n++
		}
	}
	s.byID = make(map[string]*change, n)
	for i, touched := range changed {
		switch t := s.lay.Tables[i]; {
		case !touched:
		case t.Varies():
			s.accountVarying(o, t)
		default:
			s.touched(t)
		}
	}
	slices.Sort(unused)
	for _, i := range unused {
		s.alone("", "axis "+s.lay.Axes[i].ID+" changed, and no table of the definition uses it")
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

// touched is a table of which bits differ. Of a text those may be mere padding, and what varies may hold elsewhere what it held.
func (s *session) touched(t *definition.Table) {
	switch base := s.base.reading(t); {
	case s.unknown[t.ID] != "":
		s.unknownChange(t)
	case base.t == nil:
		s.keepWhole(t.ID, t, "it cannot be compared with the base, which "+s.base.lacks(t))
	default:
		if c := s.pairs.between(base, s.cand.reading(t)); !c.unchanged() {
			s.keep(c)
		}
	}
}

// count fills bytes and the unmapped ranges.
func (s *session) count(o *owners) {
	n := s.report.Bytes
	edges := segmentEdges(s.lay)
	var open *unmapped
	var of [allKinds]uint32
	for i, run := range o.runs {
		was, is := o.a[run.Start:run.End], o.b[run.Start:run.End]
		covered, kinds := o.covered[o.first[i]:][:len(was)], o.kinds[o.first[i]:][:len(was)]
		for k, b := range was {
			switch differs := b ^ is[k]; {
			case differs == 0:
			case differs&^covered[k] != 0:
				n.Unmapped++
				open = s.addUnmapped(open, run.Start+uint64(k), edges)
			default:
				of[kinds[k]]++
			}
		}
	}
	for kinds, bytes := range of {
		switch kinds := kind(kinds); {
		case kinds&ofIdentity != 0:
			n.Identity += bytes
		case kinds&ofTable != 0:
			n.Mapped += bytes
		case kinds&ofChecksum != 0:
			n.Checksum += bytes
		default:
			n.Volatile += bytes
		}
	}
	n.Differing = n.Unmapped + n.Identity + n.Mapped + n.Checksum + n.Volatile
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
