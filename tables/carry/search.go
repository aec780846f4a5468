package carry

import (
	"bytes"
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
		own, several := distinct(s.from[p.at.Start:p.at.End]), false
		for _, b := range open {
			if b.End < p.at.End || p.pointer != nil {
				continue
			}
			rank := 0
			if left, right := s.from[b.Start:p.at.Start], s.from[p.at.End:b.End]; holds(left[max(0, len(left)-shore):], left[max(0, len(left)-around):]) && holds(right[:min(len(right), shore)], right) {
				rank = byAround
			} else if own >= telling {
				rank = byItself
			}
			switch {
			case rank == 0 || rank < p.rank:
			case rank > p.rank:
				p.rank, p.delta, several = rank, b.delta, false
			case b.delta != p.delta:
				several = true
			}
		}
		switch {
		case several:
			s.drop(p, "its bytes are in two places, and nothing tells which is it")
		case p.rank > 0:
			p.how = SameBytes
		}
	}
}

// few places what lies within stretches of few different bytes that are in each image once: not for sure.
func (s *search) few(different int) {
	rest := slices.DeleteFunc(slices.Clone(s.parts), func(p *part) bool { return p.how != NotFound || p.pointer != nil })
	for _, b := range s.blocks(rest, different) {
		for _, p := range rest {
			if b.Start <= p.at.Start && p.at.End <= b.End && p.rank == 0 {
				p.put(Moved, byFew, b.delta, "the few different bytes around it are in this place alone")
			}
		}
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

// copies places what is telling by itself but stands in the images more than once, where all the other
// places are accounted for.
func (s *search) copies() {
	var those []*part
	var patterns [][]byte
	for _, p := range s.parts {
		if b := s.from[p.at.Start:p.at.End]; p.how == NotFound && p.pointer == nil && len(b) >= 8 && distinct(b) >= telling {
			those, patterns = append(those, p), append(patterns, b)
		}
	}
	if len(those) == 0 {
		return
	}
	here, there := occurrences(patterns, s.from, alternate), occurrences(patterns, s.to, alternate)
	for i, p := range those {
		if len(here[i]) > alternate || len(there[i]) > alternate {
			continue
		}
		free := slices.Clone(there[i])
		others := 0
		for _, at := range here[i] {
			if uint64(at) == p.at.Start {
				continue
			}
			to, known := s.through(image.Range{Start: uint64(at), End: uint64(at + len(patterns[i]))})
			if k := slices.Index(free, to); known && k >= 0 {
				free = slices.Delete(free, k, k+1)
			} else {
				others++
			}
		}
		if others == 0 && len(free) == 1 {
			p.how, p.rank, p.delta = SameBytes, byItself, int64(free[0])-int64(p.at.Start)
		}
	}
}

// through is where the one block around a range takes it.
func (s *search) through(r image.Range) (to int, known bool) {
	i, _ := slices.BinarySearchFunc(s.found, r.Start+1, func(b block, at uint64) int { return cmp.Compare(b.Start, at) })
	for i--; i >= 0 && s.reach[i] >= r.End; i-- {
		if b := s.found[i]; b.End >= r.End {
			if known {
				return 0, false
			}
			to, known = int(int64(r.Start)+b.delta), true
		}
	}
	return to, known
}

// neighbours places the rest by the nearest before and behind it that are so sure; between says how.
func (s *search) neighbours(least Surety, between func(p, before, behind *part)) {
	before := make([]*part, len(s.parts))
	var last *part
	for i, p := range s.parts {
		before[i] = last
		if p.how >= least {
			last = p
		}
	}
	last = nil
	for i, p := range slices.Backward(s.parts) {
		switch {
		case p.how >= least:
			last = p
		case p.how == NotFound:
			between(p, before[i], last)
		}
	}
}

// amid places what lies between two that moved by as much.
func (s *search) amid(p, before, behind *part) {
	if before == nil || behind == nil || before.delta != behind.delta {
		return
	}
	switch like := s.compare(p, before.delta); {
	case like == same && min(before.how, behind.how) < SameBytes:
		p.put(Moved, byNeighbours, before.delta, "what lies before it and behind it is not told for sure")
	case like == same:
		p.put(SameBytes, byNeighbours, before.delta, "")
	case like == nothing:
		p.why = "nothing is where it would be between what lies before and behind it"
	default:
		p.put(Moved, byNeighbours, before.delta, "its bytes were changed")
		p.alike = like == alike
	}
}

// beside places what lies between two that moved apart, or before the first or behind the last: where its own bytes
// or what is filled around them say by which of them.
func (s *search) beside(p, before, behind *part) {
	var equal, most, framed []int64
	sure := true
	for _, n := range []*part{before, behind} {
		if n == nil {
			continue
		}
		sure = sure && n.how == SameBytes
		like := s.compare(p, n.delta)
		switch like {
		case same:
			equal = append(equal, n.delta)
		case alike:
			most = append(most, n.delta)
		}
		if like != nothing && s.framed(p, n.delta) {
			framed = append(framed, n.delta)
		}
	}
	if len(equal) == 2 {
		equal = slices.DeleteFunc(equal, func(d int64) bool { return !slices.Contains(framed, d) })
	}
	const apart = "what lies before it and behind it does not tell one place: "
	switch own := distinct(s.from[p.at.Start:p.at.End]); {
	case len(equal) == 1 && own >= telling/2 && sure:
		p.put(SameBytes, byOneNeighbour, equal[0], "")
	case len(equal) == 1:
		p.put(Moved, byOneNeighbour, equal[0], apart+"its few bytes are beside one of them")
	case len(equal) == 0 && len(most) == 1:
		p.put(Moved, byOneNeighbour, most[0], apart+"beside one of them most of its bytes are as they were")
		p.alike = true
	case len(equal)+len(most) == 0 && len(framed) == 1 && (before == nil || behind == nil):
		p.put(Moved, byOneNeighbour, framed[0], "it is the first or the last, and its bytes were changed")
	default:
		p.why = apart + "nothing else does"
	}
}

// framed says whether the bytes around a part, as far as the next ones, are the same.
func (s *search) framed(p *part, delta int64) bool {
	i, _ := slices.BinarySearchFunc(s.parts, p.at.Start, func(q *part, at uint64) int { return cmp.Compare(q.at.Start, at) })
	start, end := p.at.Start-min(p.at.Start, near), min(p.at.End+near, uint64(len(s.from)))
	for k := i - 1; k >= 0 && k > i-near; k-- {
		if e := s.parts[k].at.End; e <= p.at.Start {
			start = max(start, e)
			break
		}
	}
	for k := i; k < len(s.parts); k++ {
		if b := s.parts[k].at.Start; b >= p.at.End {
			end = min(end, b)
			break
		}
	}
	around := *p
	around.at = image.Range{Start: start, End: end}
	at, ok := s.place(&around, delta)
	own := p.at.Start - start
	return ok && bytes.Equal(s.from[start:p.at.Start], s.to[at.Start:at.Start+own]) &&
		bytes.Equal(s.from[p.at.End:end], s.to[at.Start+own+p.at.End-p.at.Start:at.End])
}

func (p *part) put(how Surety, rank int, delta int64, why string) {
	p.how, p.rank, p.delta, p.why = how, rank, delta, why
}

// likeness is how much of a part is as it was, the most last.
type likeness int

const (
	nothing likeness = iota // outside, or filling alone
	other
	alike // half of its bytes or more, some of them different from each other; or its shape
	same
)

// compare looks at the bytes that would be a part's in the other image. A pointer is the same where what it leads to is.
func (s *search) compare(p *part, delta int64) likeness {
	at, ok := s.place(p, delta)
	switch {
	case !ok:
		return nothing
	case p.pointer != nil:
		return s.leads(p, delta)
	}
	a, b := s.from[p.at.Start:p.at.End], s.to[at.Start:at.End]
	var equal []byte
	for i, v := range a {
		if v == b[i] {
			equal = append(equal, v)
		}
	}
	switch n := len(equal); {
	case n == len(a):
		return same
	case filling(b) && !filling(a):
		return nothing
	case 2*n >= len(a) && n >= telling*3/4 && distinct(equal) >= telling/2, p.cells != nil && shaped(p.cells, delta, s.from, s.to):
		return alike
	}
	return other
}

// leads compares what a pointer leads to in both images.
func (s *search) leads(p *part, delta int64) likeness {
	cells := *p.pointer.cells
	cells.Offset = uint64(int64(cells.Offset) + delta)
	was := p.pointer.target
	size := was.End - was.Start
	start, inside := s.addresses.Offset(cells.Bits(s.to, 0, 0) - p.pointer.back)
	if !inside || start+size > s.region(start).End {
		return nothing
	}
	if bytes.Equal(s.from[was.Start:was.End], s.to[start:start+size]) {
		return same
	}
	return other
}

func filling(b []byte) bool { return len(bytes.Trim(b, "\xFF")) == 0 }
