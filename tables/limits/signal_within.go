package limits

import (
	"math"

	"witnessmark/tables/bounded"
	"witnessmark/tables/signal"
)

// whereFed is where a rule holds that is confined to stretches of quantities that signals feed: in every one of them, by what
// some reference says of it.
type whereFed []fedStretch

type fedStretch struct {
	stretch
	by  []*signal.Function // of each reference
	met *bool              // set where something lies outside; nil if nobody asks
}

func (w whereFed) at(cell *bounded.Box, p *signal.Point) bool {
	for _, f := range w {
		inside := false
		for _, by := range f.by {
			inside = inside || f.holds(by.At(cell, p))
		}
		if !inside {
			return false
		}
	}
	return true
}

// over says whether all of a box lies inside, or none of it, and which inputs that depends on.
func (w whereFed) over(cell, box *bounded.Box) (all, none bool, inputs uint8) {
	all = true
	for _, f := range w {
		inside, outside := false, true
		for _, by := range f.by {
			b := by.Over(cell, box)
			inside = inside || !b.Undefined && b.Lo >= f.from && b.Hi <= f.to
			outside = outside && !f.meets(b.Lo, b.Hi)
			inputs |= b.Inputs
		}
		all, none = all && inside, none || outside
		if !inside && f.met != nil {
			*f.met = true
		}
	}
	return all, none, inputs
}

// outside stands for a value where the rule does not hold: further inside the limit than any.
const outside = 1e300

func beyondAll(ceiling bool) float64 {
	if ceiling {
		return -outside
	}
	return outside
}

// confined is a value where a rule holds; elsewhere it is inside every limit.
type confined struct {
	of      *signal.Function
	in      whereFed
	ceiling bool
}

func (c *confined) At(cell *bounded.Box, p *signal.Point) float64 {
	if c.in.at(cell, p) {
		return c.of.At(cell, p)
	}
	return beyondAll(c.ceiling)
}

func (c *confined) Over(cell, box *bounded.Box) bounded.Bounds {
	return c.in.enclose(cell, box, c.ceiling, func() bounded.Bounds { return c.of.Over(cell, box) })
}

// enclose takes a function for beyondAll outside; what it is inside is asked only where that matters.
func (w whereFed) enclose(cell, box *bounded.Box, ceiling bool, inside func() bounded.Bounds) bounded.Bounds {
	all, none, inputs := w.over(cell, box)
	elsewhere := bounded.Exactly(beyondAll(ceiling))
	switch {
	case none:
		return bounded.Bounds{Interval: elsewhere, Smooth: true, Multilinear: true}
	case all:
		return inside()
	}
	b := inside()
	b.Interval = b.Hull(elsewhere)
	b.Smooth, b.Multilinear, b.Inputs = false, false, b.Inputs|inputs
	return b
}

// apart is how far a confined value lies from its limit. Where only a part of a box lies inside, it is enclosed as if all did.
type apart struct {
	value, limit *signal.Function
	less         *signal.Function // of one from the other, if it is enclosed more narrowly so
	in           whereFed
	ceiling      bool
}

func (a *apart) At(cell *bounded.Box, p *signal.Point) float64 {
	if a.in.at(cell, p) {
		return a.value.At(cell, p) - a.limit.At(cell, p)
	}
	return beyondAll(a.ceiling)
}

func (a *apart) Over(cell, box *bounded.Box) bounded.Bounds {
	inside := func() bounded.Bounds {
		if a.less != nil {
			return a.less.Over(cell, box)
		}
		v, l := a.value.Over(cell, box), a.limit.Over(cell, box)
		return v.Sub(&l)
	}
	b := a.in.enclose(cell, box, a.ceiling, inside)
	if b.Smooth || b.Undefined {
		return b
	}
	if most := a.most(inside(), cell, box); a.ceiling {
		b.Hi = min(b.Hi, most)
	} else {
		b.Lo = max(b.Lo, -most)
	}
	return b
}

// rounding is what evaluating a point may be wrong by, of its value and its limit.
const rounding = 0x1p-48

// most is what no point of a box where the rule holds lies further beyond the limit than. Such a point keeps every end e of
// a stretch, f − e ≥ 0, so that it lies no further out than the most of d + λ(f − e) all over the box, for any λ ≥ 0: one is
// chosen that takes away how d leans towards where the rule does not hold.
func (a *apart) most(b bounded.Bounds, cell, box *bounded.Box) float64 {
	if !b.Smooth || b.Undefined {
		return math.Inf(1)
	}
	slopes := b.Slope
	if !a.ceiling {
		for i, s := range slopes {
			slopes[i] = s.Neg()
		}
	}
	best := a.reach(slopes, cell, box, nil, 0, 0)
	for _, f := range a.in {
		g := f.by[0].Over(cell, box)
		if len(f.by) > 1 || !g.Smooth || g.Undefined {
			continue
		}
		for k, end := range [2]float64{f.from, f.to} {
			by := leaning(&slopes, &g.Slope, box)
			if math.IsInf(end, 0) || k == 0 && by <= 0 || k == 1 && by >= 0 {
				continue
			}
			leant := slopes
			for i, s := range g.Slope {
				leant[i] = slopes[i].Add(s.Mul(bounded.Exactly(by)))
			}
			best = min(best, a.reach(leant, cell, box, f.by[0], by, end))
		}
	}
	return best
}

// leaning is the λ that makes level, along the input where it matters most, what has the slopes s by adding what has g.
func leaning(s, g *[bounded.MaxInputs]bounded.Interval, box *bounded.Box) (by float64) {
	most := 0.0
	for i := range s {
		if m := math.Abs(s[i].Middle()) * (box[i].Hi - box[i].Lo); m > most && g[i].Middle() != 0 {
			most, by = m, -s[i].Middle()/g[i].Middle()
		}
	}
	return by
}

// reach is the most of a distance from the limit, and of a function's from an end, by times, given the slopes of all that:
// with the inputs that push one way at their ends, the others in the middle, and what those can add.
func (a *apart) reach(slopes [bounded.MaxInputs]bounded.Interval, cell, box *bounded.Box, f *signal.Function, by, end float64) float64 {
	var p signal.Point
	spread := 0.0
	for i, s := range slopes {
		p[i] = box[i].Lo
		switch {
		case s.Undefined:
			return math.Inf(1)
		case s.Hi <= 0:
		case s.Lo >= 0:
			p[i] = box[i].Hi
		default:
			p[i] = box[i].Middle()
			spread += float64(max(-s.Lo, s.Hi) * max(p[i]-box[i].Lo, box[i].Hi-p[i]))
		}
	}
	v, l := a.value.At(cell, &p), a.limit.At(cell, &p)
	beyond, size := v-l, math.Abs(v)+math.Abs(l)+spread
	if !a.ceiling {
		beyond = -beyond
	}
	if f != nil {
		at := f.At(cell, &p)
		beyond += float64(by * (at - end))
		size += float64(math.Abs(by) * (math.Abs(at) + math.Abs(end)))
	}
	if beyond != beyond {
		return math.Inf(1)
	}
	return beyond + spread + float64(rounding*size)
}
