package view

import (
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/surface"
)

// line is the breakpoints of both sides along one axis, lined up: the index on either side, the base's first, -1 where it
// has none.
type line [][2]int

// lineUp pairs breakpoints by index where both sides have as many; else those that only one has stand by themselves, where
// they lie between the others. Without an axis there is one place.
func lineUp(was, is []float64, alone []*calibrationv1.AlignedIndex) (out line) {
	if was == nil && is == nil {
		return line{{0, 0}}
	}
	lone := [2][]bool{make([]bool, len(was)), make([]bool, len(is))}
	for _, a := range alone {
		side := lone[1]
		if a.GetSide() == "base" {
			side = lone[0]
		}
		if int(a.GetIndex()) < len(side) {
			side[a.GetIndex()] = true
		}
	}
	falls := len(is) > 1 && is[0] > is[len(is)-1]
	for i, j := 0, 0; i < len(was) || j < len(is); {
		left := i < len(was) && (lone[0][i] || j == len(is))
		right := j < len(is) && (lone[1][j] || i == len(was))
		if left && right {
			left = was[i] < is[j] != falls
			right = !left
		}
		at := [2]int{i, j}
		switch {
		case left:
			at[1] = -1
			i++
		case right:
			at[0] = -1
			j++
		default:
			i, j = i+1, j+1
		}
		out = append(out, at)
	}
	return out
}

// apart are the points that only one side has, where the two have not as many: slices belong together by where they lie.
func apart(was, is []float64) (out []*calibrationv1.AlignedIndex) {
	if len(was) == len(is) {
		return nil
	}
	add := func(side string, from, to int) {
		for i := from; i < to; i++ {
			out = append(out, &calibrationv1.AlignedIndex{Side: side, Index: uint32(i)})
		}
	}
	next := 0
	for j, p := range is {
		if i := slices.Index(was[next:], p); i >= 0 {
			add("base", next, next+i)
			next += i + 1
		} else {
			add("candidate", j, j+1)
		}
	}
	add("base", next, len(was))
	return out
}

// points are one side's breakpoints as lined up, the other side's where it has none; nil where there is no axis.
func (l line) points(was, is []float64, side int) []float64 {
	if was == nil && is == nil {
		return nil
	}
	all := [2][]float64{was, is}
	out := make([]float64, len(l))
	for n, at := range l {
		if from := side; at[from] >= 0 {
			out[n] = all[from][at[from]]
		} else {
			out[n] = all[1-from][at[1-from]]
		}
	}
	return out
}

// find is where a side's index stands; 0 where it does not.
func (l line) find(side, index int) int {
	return max(0, slices.IndexFunc(l, func(at [2]int) bool { return at[side] == index }))
}

// grid is one side of a table, or of a slice of it, lined up with the other.
type grid struct {
	*surface.Decoded
	at []int // by cell its index among all cells of the table on this side; -1 where it has none
}

func (g grid) has(i int) bool { return g.at[i] >= 0 }

// lined lines up what was decoded; first is the index of its first cell, and -1 says that this side lacks all of it.
func lined(d *surface.Decoded, first, side int, cols, rows line) grid {
	n := len(cols) * len(rows)
	g := grid{&surface.Decoded{Table: d.Table, NX: len(cols), NY: len(rows), Bits: make([]uint64, n)}, make([]int, n)}
	if d.Values != nil {
		g.Values = make([]float64, n)
	}
	if d.Off != nil {
		g.Off = make([]bool, n)
	}
	for r, row := range rows {
		for c, col := range cols {
			i, from := r*len(cols)+c, row[side]*d.NX+col[side]
			if first < 0 || row[side] < 0 || col[side] < 0 {
				if g.at[i] = -1; g.Values != nil {
					g.Values[i] = math.NaN()
				}
				continue
			}
			if g.at[i], g.Bits[i] = first+from, d.Bits[from]; g.Values != nil {
				g.Values[i] = d.Values[from]
			}
			if g.Off != nil {
				g.Off[i] = d.Off[from]
			}
		}
	}
	return g
}
