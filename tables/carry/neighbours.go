package carry

import (
	"bytes"
	"cmp"
	"slices"

	"witnessmark/tables/image"
)

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
