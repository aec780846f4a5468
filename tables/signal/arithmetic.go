package signal

import (
	"witnessmark/tables/bounded"
	"witnessmark/tables/formula"
)

// Apply is an operation of numbers on functions of one space: Add, Sub, Mul, Div, Neg, Min or Max, of as many as the
// operation takes.
func Apply(kind formula.Kind, args ...*Function) *Function {
	s, f := args[0].space, args[0]
	if kind == formula.Neg {
		return s.function(&pair{kind: formula.Sub, a: s.Number(0), b: f}, f)
	}
	for _, b := range args[1:] {
		f = s.function(&pair{kind: kind, a: f, b: b}, f, b)
	}
	return f
}

type pair struct {
	kind formula.Kind
	a, b *Function
}

func (o *pair) at(c *Box, p *Point) float64 {
	a, b := o.a.at(c, p), o.b.at(c, p)
	switch o.kind {
	case formula.Add:
		return a + b
	case formula.Sub:
		return a - b
	case formula.Mul:
		return a * b
	case formula.Div:
		return a / b
	case formula.Min:
		return min(a, b)
	}
	return max(a, b)
}

func (o *pair) over(c, b *Box, out *bounded.Bounds) {
	l, r := o.a.over(c, b), o.b.over(c, b)
	if o.kind == formula.Min || o.kind == formula.Max {
		extreme(o.kind, l, r, out)
		return
	}
	n := len(o.a.space.inputs)
	out.Inputs = l.Inputs | r.Inputs
	out.Smooth = l.Smooth && r.Smooth
	out.Multilinear = l.Multilinear && r.Multilinear
	switch o.kind {
	case formula.Add:
		out.Interval = l.Add(r.Interval)
		for i := range n {
			out.Slope[i] = plus(l.Slope[i], r.Slope[i])
		}
	case formula.Sub:
		out.Interval = l.Interval.Sub(r.Interval)
		for i := range n {
			out.Slope[i] = plus(l.Slope[i], r.Slope[i].Neg())
		}
	case formula.Mul:
		out.Interval = l.Mul(r.Interval)
		out.Multilinear = out.Multilinear && l.Inputs&r.Inputs == 0
		for i := range n {
			out.Slope[i] = plus(times(l.Slope[i], r.Interval), times(r.Slope[i], l.Interval))
		}
	case formula.Div:
		out.Interval = l.Div(r.Interval)
		out.Multilinear = out.Multilinear && r.Inputs == 0
		out.Smooth = out.Smooth && !out.Undefined
		for i := range n {
			slope := plus(l.Slope[i], times(r.Slope[i], out.Interval).Neg())
			if slope != (bounded.Interval{}) {
				slope = slope.Div(r.Interval)
			}
			out.Slope[i] = slope
		}
	}
}

// plus and times pass over the zeros that most slopes are.
func plus(a, b bounded.Interval) bounded.Interval {
	switch (bounded.Interval{}) {
	case a:
		return b
	case b:
		return a
	}
	return a.Add(b)
}

func times(a, b bounded.Interval) bounded.Interval {
	switch a {
	case bounded.Interval{}:
		return a
	case bounded.Interval{Lo: 1, Hi: 1}:
		return b
	}
	return a.Mul(b)
}

// extreme is the one that lies below, or above, everywhere; else something of both.
func extreme(kind formula.Kind, l, r, out *bounded.Bounds) {
	undefined := l.Undefined || r.Undefined
	switch least := kind == formula.Min; {
	case least && l.Hi <= r.Lo, !least && l.Lo >= r.Hi:
		*out = *l
	case least && r.Hi <= l.Lo, !least && r.Lo >= l.Hi:
		*out = *r
	default:
		hull(l, r, out)
		out.Smooth = l.Smooth && r.Smooth
		if least {
			out.Interval = l.Min(r.Interval)
		} else {
			out.Interval = l.Max(r.Interval)
		}
	}
	out.Undefined = undefined
}

// hull is either of the two, one or the other from point to point.
func hull(l, r, out *bounded.Bounds) {
	out.Interval = l.Hull(r.Interval)
	for i := range l.Slope {
		out.Slope[i] = l.Slope[i].Hull(r.Slope[i])
	}
	out.Smooth, out.Multilinear, out.Inputs = false, false, l.Inputs|r.Inputs
}
