package sheet

import (
	"slices"
	"sort"
)

// stretch is lines that two texts have alike, by the places of the first, from 0.
type stretch struct{ old, new, lines int }

// deepest is how often what lies between lines that are alike is looked at again.
const deepest = 8

// alike adds the stretches that two texts, which begin at a place, have in order: their beginnings and ends, and what lies around
// lines that each has once.
func alike(out []stretch, old, new []string, at stretch, deep int) []stretch {
	n := 0
	for n < min(len(old), len(new)) && old[n] == new[n] {
		n++
	}
	out = joined(out, stretch{at.old, at.new, n})
	old, new, at = old[n:], new[n:], stretch{at.old + n, at.new + n, 0}
	n = 0
	for n < min(len(old), len(new)) && old[len(old)-1-n] == new[len(new)-1-n] {
		n++
	}
	end := stretch{at.old + len(old) - n, at.new + len(new) - n, n}
	old, new = old[:len(old)-n], new[:len(new)-n]
	if marks := marks(old, new); deep > 0 && len(marks) > 0 {
		from := [2]int{}
		for _, to := range append(marks, [2]int{len(old), len(new)}) {
			out = alike(out, old[from[0]:to[0]], new[from[1]:to[1]], stretch{at.old + from[0], at.new + from[1], 0}, deep-1)
			from = to
		}
	}
	return joined(out, end)
}

// joined adds a stretch to those before it.
func joined(out []stretch, s stretch) []stretch {
	if n := len(out) - 1; n >= 0 && out[n].old+out[n].lines == s.old && out[n].new+out[n].lines == s.new {
		out[n].lines += s.lines
		return out
	}
	if s.lines == 0 {
		return out
	}
	return append(out, s)
}

// marks are the places, in both texts, of lines that each has once: as many as are in the same order there.
func marks(old, new []string) (out [][2]int) {
	const several = -1
	places := map[string][2]int{} // from 1; 0 for none
	for side, lines := range [2][]string{old, new} {
		for i, l := range lines {
			p := places[l]
			if p[side] == 0 {
				p[side] = i + 1
			} else {
				p[side] = several
			}
			places[l] = p
		}
	}
	type row struct {
		at     [2]int // its last line
		before *row
	}
	var rows []*row // of each length the one that ends soonest in the new text
	for _, l := range old {
		p := places[l]
		if p[0] <= 0 || p[1] <= 0 {
			continue
		}
		k := sort.Search(len(rows), func(k int) bool { return rows[k].at[1] >= p[1] })
		r := &row{at: p}
		if k > 0 {
			r.before = rows[k-1]
		}
		if k == len(rows) {
			rows = append(rows, nil)
		}
		rows[k] = r
	}
	var r *row
	if len(rows) > 0 {
		r = rows[len(rows)-1]
	}
	for ; r != nil; r = r.before {
		out = append(out, [2]int{r.at[0] - 1, r.at[1] - 1})
	}
	slices.Reverse(out)
	return out
}
