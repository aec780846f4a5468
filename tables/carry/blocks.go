package carry

import (
	"cmp"
	"slices"

	"witnessmark/tables/image"
)

// block is a stretch of the one image that lies in the other, delta further on.
type block struct {
	image.Range
	delta int64
}

// Bytes: near is how far around parts windows are taken, around how far different bytes beside one are counted, shore
// how much filling holds it; idle is how far a block goes on through one and the same byte.
const (
	near   = 64
	around = 1024
	shore  = 32
	idle   = 4096
)

// region is the one around an offset.
func (s *search) region(offset uint64) image.Range {
	i, _ := slices.BinarySearchFunc(s.space, offset, func(r image.Range, at uint64) int {
		if r.End <= at {
			return -1
		}
		return 1
	})
	return s.space[min(i, len(s.space)-1)]
}

// blocks grows every window around parts, of so many different bytes, that is in each image once, as far as the bytes
// are the same.
func (s *search) blocks(parts []*part, different int) []block {
	starts, windows := s.windows(parts, different)
	there, here := occurrences(windows, s.to, 1), occurrences(windows, s.from, 1)
	var all []block
	ends := map[int64]uint64{} // of the last block by its delta
	for i, start := range starts {
		if len(there[i]) != 1 || len(here[i]) != 1 {
			continue
		}
		delta := int64(there[i][0]) - int64(start)
		if start < ends[delta] {
			continue
		}
		b := s.grown(image.Range{Start: start, End: start + uint64(len(windows[i]))}, delta)
		ends[delta] = b.End
		all = append(all, b)
	}
	slices.SortStableFunc(all, func(a, b block) int { return cmp.Compare(a.Start, b.Start) })
	return all
}

// windows is telling stretches of the first image around its parts, every eight bytes.
func (s *search) windows(parts []*part, different int) (starts []uint64, windows [][]byte) {
	var those []image.Range
	for _, p := range parts {
		those = append(those, image.Range{Start: p.at.Start - min(p.at.Start, near), End: min(p.at.End+near, uint64(len(s.from)))})
	}
	for _, r := range image.Join(those) {
		for at := r.Start; at < r.End; at += 8 {
			end := s.region(at).End
			for n := uint64(16); n <= longest && at+n <= end; n += 8 {
				if w := s.from[at : at+n]; distinct(w) >= different {
					starts, windows = append(starts, at), append(windows, w)
					break
				}
			}
		}
	}
	return starts, windows
}

// grown is a stretch with all around it that is the same in both images.
func (s *search) grown(r image.Range, delta int64) block {
	a, b := s.region(r.Start), s.region(uint64(int64(r.Start)+delta))
	low, high := max(int64(a.Start), int64(b.Start)-delta), min(int64(a.End), int64(b.End)-delta)
	start, end := int64(r.Start), int64(r.End)
	for run := 0; start > low && run < idle && s.from[start-1] == s.to[start-1+delta]; start-- {
		if run++; s.from[start-1] != s.from[start] {
			run = 0
		}
	}
	for run := 0; end < high && run < idle && s.from[end] == s.to[end+delta]; end++ {
		if run++; s.from[end] != s.from[end-1] {
			run = 0
		}
	}
	return block{image.Range{Start: uint64(start), End: uint64(end)}, delta}
}
