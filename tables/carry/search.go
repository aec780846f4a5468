package carry

import (
	"cmp"
	"slices"

	"witnessmark/tables/image"
)

// search looks for parts of one image in another.
type search struct {
	addresses image.Space
	space     []image.Range // its regions, as offsets
	from, to  []byte
	lacks     []image.Range // of the other image
	parts     []*part       // as they lie
	found     []block       // by where they begin
	reach     []uint64      // how far each and those before it go
}

// Ranks: how the place of a part was told.
const (
	byOneNeighbour = iota + 1 // the one next to it moved so
	byFew                     // it lies within a stretch of few different bytes that is in one place alone
	byNeighbours              // both did
	byItself                  // its bytes are telling and in no other place
	byAround                  // it lies within a telling stretch that did not change
)

func (s *search) run() {
	s.found = s.blocks(s.parts, telling)
	end := uint64(0)
	for _, b := range s.found {
		end = max(end, b.End)
		s.reach = append(s.reach, end)
	}
	s.inBlocks()
	s.settle()
	s.copies()
	s.settle()
	s.neighbours(SameBytes, s.amid)
	s.settle()
	for different := telling / 2; different >= 3; different-- {
		s.few(different)
		s.settle()
	}
	s.neighbours(SameBytes, s.beside)
	s.settle()
	s.neighbours(Moved, s.amid)
	s.settle()
	s.neighbours(Moved, s.beside)
	s.settle()
	for _, p := range s.parts {
		if p.how == NotFound && p.why == "" {
			p.why = "its bytes are in no one place, and what lies before and behind it does not tell where"
		}
	}
}

// inBlocks places what lies within blocks: for sure where it is telling by itself, or what the blocks hold on either
// side of it.
func (s *search) inBlocks() {
	var open []block
	next := 0
	for _, p := range s.parts {
		for ; next < len(s.found) && s.found[next].Start <= p.at.Start; next++ {
			open = append(open, s.found[next])
		}
		open = slices.DeleteFunc(open, func(b block) bool { return b.End <= p.at.Start })
		several := false
		for _, b := range open {
			switch rank := s.rank(p, b); {
			case rank == 0 || rank < p.rank:
			case rank > p.rank:
				p.rank, p.delta, several = rank, b.delta, false
			case b.delta != p.delta:
				several = true
			}
		}
		switch {
		case several:
			s.drop(p, twoPlaces)
		case p.rank > 0:
			p.how = SameBytes
		}
	}
}

const twoPlaces = "its bytes are in two places, and nothing tells which is it"

// rank is how well a block that begins before a part tells where the part is; 0 if not at all.
func (s *search) rank(p *part, b block) int {
	if b.End < p.at.End || p.pointer != nil {
		return 0
	}
	left, right := s.from[b.Start:p.at.Start], s.from[p.at.End:b.End]
	switch {
	case holds(left[max(0, len(left)-shore):], left[max(0, len(left)-around):]) && holds(right[:min(len(right), shore)], right):
		return byAround
	case distinct(s.from[p.at.Start:p.at.End]) >= telling:
		return byItself
	}
	return 0
}

// few places what lies within stretches of few different bytes that are in each image once: not for sure.
func (s *search) few(different int) {
	rest := slices.DeleteFunc(slices.Clone(s.parts), func(p *part) bool { return p.how != NotFound || p.pointer != nil })
	several := map[*part]bool{}
	for _, b := range s.blocks(rest, different) {
		for _, p := range rest {
			switch {
			case b.Start > p.at.Start || b.End < p.at.End:
			case p.how == NotFound:
				p.put(Moved, byFew, b.delta, "the few different bytes around it are in this place alone")
			case p.delta != b.delta:
				several[p] = true
			}
		}
	}
	for p := range several {
		s.drop(p, twoPlaces)
	}
}

// holds says whether what is unchanged beside a part keeps it in its place: it goes on far enough to have some
// different bytes, or is a shore of nothing but filling.
func holds(next, all []byte) bool {
	return distinct(all) >= telling/2 || len(next) == shore && filling(next)
}

func (s *search) drop(p *part, why string) { p.how, p.rank, p.alike, p.why = NotFound, 0, false, why }

// place is where a part would be; false where that is outside, or across the end of a region.
func (s *search) place(p *part, delta int64) (image.Range, bool) {
	start, end := int64(p.at.Start)+delta, int64(p.at.End)+delta
	if start < 0 || end > int64(len(s.to)) {
		return image.Range{}, false
	}
	r := image.Range{Start: uint64(start), End: uint64(end)}
	return r, r.End <= s.region(r.Start).End
}

// settle takes back places that two parts claim which moved differently: the one that is told worse, or both; and
// places that the other image does not hold.
func (s *search) settle() {
	var placed []*part
	for _, p := range s.parts {
		if p.how == NotFound {
			continue
		}
		at, ok := s.place(p, p.delta)
		if !ok || len(image.Common([]image.Range{at}, s.lacks)) > 0 {
			s.drop(p, "the other image lacks what would be its place")
			continue
		}
		placed = append(placed, p)
	}
	start := func(p *part) int64 { return int64(p.at.Start) + p.delta }
	slices.SortStableFunc(placed, func(a, b *part) int { return cmp.Compare(start(a), start(b)) })
	lost := map[*part]bool{}
	var open []*part
	for _, p := range placed {
		open = slices.DeleteFunc(open, func(o *part) bool { return int64(o.at.End)+o.delta <= start(p) })
		for _, o := range open {
			if o.delta == p.delta {
				continue
			}
			lost[o] = lost[o] || o.rank <= p.rank
			lost[p] = lost[p] || p.rank <= o.rank
		}
		open = append(open, p)
	}
	for _, p := range placed {
		if lost[p] {
			s.drop(p, "something else has a claim to its place")
		}
	}
}

func (p *part) put(how Surety, rank int, delta int64, why string) {
	p.how, p.rank, p.delta, p.why = how, rank, delta, why
}
