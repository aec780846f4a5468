package surface

import (
	"math"

	"witnessmark/tables/bounded"
)

// Piece is what a solid does over a stretch of each axis; slopes are by axis.
type Piece struct {
	Value  bounded.Interval
	Slope  []bounded.Interval // 0 along an axis that it does not depend on
	Along  []bool             // it depends on the axis
	Step   bool               // it may step within
	Linear bool               // of degree one at most in each axis

	spans  []Span // scratch, like the others below
	counts []int
	turn   []int
}

// begin makes room for so many axes, once.
func (p *Piece) begin(axes int) {
	if p.spans == nil {
		p.Slope, p.Along, p.spans = make([]bounded.Interval, axes), make([]bool, axes), make([]Span, axes)
		p.counts, p.turn = make([]int, axes), make([]int, axes)
	}
}

// each visits the stations of all axes together, but for one that is held where it is; -1 for none.
func (p *Piece) each(at []Reach, but int, visit func()) {
	for i := range at {
		p.counts[i], p.turn[i] = at[i].stations(), 0
		if i == but {
			p.counts[i] = 1
			continue
		}
		p.spans[i] = at[i].station(0, p.counts[i])
	}
	for {
		visit()
		i := 0
		for ; i < len(at); i++ {
			if p.turn[i]++; p.turn[i] < p.counts[i] {
				p.spans[i] = at[i].station(p.turn[i], p.counts[i])
				break
			}
			if p.turn[i] = 0; i != but {
				p.spans[i] = at[i].station(0, p.counts[i])
			}
		}
		if i == len(at) {
			return
		}
	}
}

// Over is the surface over a stretch of each axis, before the conversion: its least and greatest value are found at the
// ends and at the breakpoints within, and so are those of its slopes.
func (s *Solid) Over(at []Reach, out *Piece) {
	out.begin(len(s.Axes))
	lo, hi := math.Inf(1), math.Inf(-1)
	exact, visited := true, 0
	out.each(at, -1, func() {
		v := s.Between(out.spans)
		lo, hi = min(lo, v), max(hi, v)
		visited++
		for _, p := range out.spans {
			exact = exact && (p.t == 0 || p.t == 1)
		}
	})
	most := s.most(at, out)
	loose := float64(most*float64(len(s.Axes))) / 2
	if exact || visited == 1 {
		loose = 0
	}
	out.Value = widened(lo, hi, loose)
	out.Step, out.Linear = false, true
	for i := range at {
		first, last := at[i].segments()
		out.Along[i], out.Slope[i] = last > first, bounded.Interval{}
		if out.Along[i] {
			out.Linear = out.Linear && last-first == 1 && !at[i].held
			out.Slope[i] = s.slope(at, i, first, last, most, out)
		}
	}
}

// slope encloses the slopes along an axis between some of its breakpoints.
func (s *Solid) slope(at []Reach, axis, first, last int, most float64, out *Piece) bounded.Interval {
	all := newSlope(at[axis].held)
	for c := first; c < last; c++ {
		gap := s.Axes[axis][c+1] - s.Axes[axis][c]
		if gap == 0 {
			out.Step = true
			continue
		}
		out.each(at, axis, func() {
			out.spans[axis] = Span{lo: c, hi: c}
			a := s.Between(out.spans)
			out.spans[axis] = Span{lo: c + 1, hi: c + 1}
			v := (s.Between(out.spans) - a) / gap
			all.lo, all.hi = min(all.lo, v), max(all.hi, v)
		})
		all.most = max(all.most, float64(float64(len(s.Axes))*most)/gap)
	}
	return all.interval()
}

// most is the greatest amount of the cells around some reaches.
func (s *Solid) most(at []Reach, out *Piece) (most float64) {
	out.cells(at, s.strides, func(cell int) { most = max(most, math.Abs(s.Values[cell])) })
	return most
}

// cells visits those that some reaches are interpolated from.
func (p *Piece) cells(at []Reach, strides []int, visit func(cell int)) {
	for i := range at {
		p.turn[i] = at[i].first.lo
	}
	for {
		cell := 0
		for i, n := range p.turn {
			cell += n * strides[i]
		}
		visit(cell)
		i := 0
		for ; i < len(at); i++ {
			if p.turn[i]++; p.turn[i] <= at[i].last.hi {
				break
			}
			p.turn[i] = at[i].first.lo
		}
		if i == len(at) {
			return
		}
	}
}
