package carry

import "bytes"

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
