package carry

import (
	"cmp"
	"slices"

	"witnessmark/tables/image"
)

// copies places what is telling by itself but stands in the images more than once, where all the other
// places are accounted for.
func (s *search) copies() {
	var those []*part
	var patterns [][]byte
	for _, p := range s.parts {
		if b := s.from[p.at.Start:p.at.End]; p.how == NotFound && p.pointer == nil && len(b) >= 8 && distinct(b) >= telling {
			those, patterns = append(those, p), append(patterns, b[:min(len(b), idle)])
		}
	}
	if len(those) == 0 {
		return
	}
	here, there := occurrences(patterns, s.from, alternate), occurrences(patterns, s.to, alternate) // by how they begin
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
		if others > 0 || len(free) != 1 {
			continue
		}
		if delta := int64(free[0]) - int64(p.at.Start); s.compare(p, delta) == same {
			p.put(SameBytes, byItself, delta, "")
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
