package compare

import (
	"math"
	"slices"

	"github.com/sergi/go-diff/diffmatchpatch"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// pointsAlike says whether two breakpoints are one, to half the coarser raw step of their axes.
func pointsAlike(a, b *definition.Axis, p, q float64) bool {
	tolerance := 1e-9 * max(math.Abs(p), math.Abs(q))
	for _, axis := range []*definition.Axis{a, b} {
		if axis.Cells == nil {
			continue
		}
		tolerance = max(tolerance, axis.Cells.Rounding(p, q))
		tolerance = max(tolerance, wholeStep(axis.Cells)/2)
	}
	return near(p, q, tolerance)
}

// align pairs breakpoints as sequences, and lists those on one side only.
func (a *along) align() {
	a.pairs, a.only = [][2]int{}, nil
	left, right := a.runes()
	i, j := 0, 0
	for _, d := range sequences(left, right) {
		for range []rune(d.Text) {
			switch d.Type {
			case diffmatchpatch.DiffEqual:
				a.pairs = append(a.pairs, [2]int{i, j})
				i, j = i+1, j+1
			case diffmatchpatch.DiffDelete:
				a.only = append(a.only, &calibrationv1.AlignedIndex{Side: "base", Index: uint32(i), Point: a.was[i]})
				i++
			case diffmatchpatch.DiffInsert:
				a.only = append(a.only, &calibrationv1.AlignedIndex{Side: "candidate", Index: uint32(j), Point: a.is[j]})
				j++
			}
		}
	}
}

// sequences aligns two; beyond mostAligned they count as having nothing in common.
func sequences(left, right []rune) []diffmatchpatch.Diff {
	if len(left) > mostAligned || len(right) > mostAligned {
		return []diffmatchpatch.Diff{
			{Type: diffmatchpatch.DiffDelete, Text: string(left)},
			{Type: diffmatchpatch.DiffInsert, Text: string(right)},
		}
	}
	dmp := diffmatchpatch.New()
	dmp.DiffTimeout = 0 // a deadline would make the answer depend on the machine
	return dmp.DiffMainRunes(left, right, false)
}

// mostAligned is how many breakpoints are aligned as sequences: without a deadline the work grows with
// their square, and no axis that a person reads is as long.
const mostAligned = 4096

// firstRune is where breakpoints begin as runes: below it lie the surrogates, which turn into U+FFFD.
const firstRune = 0xE000

// runes gives breakpoints that are alike one rune, and all others another one.
func (a *along) runes() (left, right []rune) {
	if a.cand.Labels != nil {
		numbers := map[string]int{}
		named := func(labels []string) []rune {
			out := make([]rune, len(labels))
			for i, text := range labels {
				if _, known := numbers[text]; !known {
					numbers[text] = len(numbers)
				}
				out[i] = runeOf(numbers[text])
			}
			return out
		}
		return named(a.base.Labels), named(a.cand.Labels)
	}
	all := slices.Concat(a.was, a.is)
	slices.Sort(all) // NaN first
	var heads []float64
	for _, p := range all {
		if len(heads) == 0 || !pointsAlike(a.base, a.cand, heads[len(heads)-1], p) {
			heads = append(heads, p)
		}
	}
	to := func(points []float64) []rune {
		out := make([]rune, len(points))
		for i, p := range points {
			k, _ := slices.BinarySearchFunc(heads, p, func(h, p float64) int {
				switch {
				case pointsAlike(a.base, a.cand, h, p):
					return 0
				case math.IsNaN(h) || h < p:
					return -1
				}
				return 1
			})
			out[i] = runeOf(k)
		}
		return out
	}
	return to(a.was), to(a.is)
}

func runeOf(n int) rune {
	r := firstRune + rune(n)
	if r >= 0xFFFD { // U+FFFD is what anything unreadable becomes
		r++
	}
	return r
}
