package signal

import (
	"math"

	"witnessmark/tables/bounded"
	"witnessmark/tables/surface"
)

// deep is a surface over more than two axes at its coordinates, before its conversion.
type deep struct {
	space *Space
	solid *surface.Solid
	along []coordinate
	codes *surface.Solid
	seen  *bool
	// Scratch.
	spans   []surface.Span
	reaches []surface.Reach
	of      []*bounded.Bounds
	piece   surface.Piece
}

func (s *Space) deep(solid *surface.Solid, at []coordinate, seen *bool, codes *surface.Solid) *Function {
	n := len(at)
	d := &deep{space: s, solid: solid, along: at, codes: codes, seen: seen,
		spans: make([]surface.Span, n), reaches: make([]surface.Reach, n), of: make([]*bounded.Bounds, n)}
	return s.function(d, functionsOf(at)...)
}

func functionsOf(at []coordinate) []*Function {
	out := make([]*Function, len(at))
	for i := range at {
		out[i] = at[i].of
	}
	return out
}

func (l *deep) at(c *Box, p *Point) float64 {
	if !l.space.quiet {
		*l.seen = true
	}
	if !placeAll(l.along, c, p, l.spans) {
		return math.NaN()
	}
	return l.solid.Between(l.spans)
}

// placeAll is where a point lies along each axis; false where it lies nowhere along one.
func placeAll(at []coordinate, c *Box, p *Point, out []surface.Span) bool {
	all := true
	for i := range at {
		ok := false
		out[i], ok = at[i].place(c, p)
		all = all && ok
	}
	return all
}

func (l *deep) over(c, b *Box, out *bounded.Bounds) {
	if !l.space.quiet {
		*l.seen = true
	}
	undefined := false
	for i := range l.along {
		var u bool
		l.reaches[i], l.of[i], u = l.along[i].reach(c, b)
		undefined = undefined || u
	}
	l.solid.Over(l.reaches, &l.piece)
	out.Interval = l.piece.Value
	out.Undefined = out.Undefined || undefined
	out.Smooth, out.Multilinear, out.Inputs = !l.piece.Step && !undefined, l.piece.Linear && !undefined, 0
	out.Slope = [bounded.MaxInputs]bounded.Interval{}
	for i, of := range l.of {
		if !l.piece.Along[i] {
			continue
		}
		out.Smooth = out.Smooth && of.Smooth
		out.Multilinear = out.Multilinear && of.Multilinear && out.Inputs&of.Inputs == 0
		out.Inputs |= of.Inputs
		for k := range l.space.inputs {
			out.Slope[k] = plus(out.Slope[k], times(of.Slope[k], l.piece.Slope[i]))
		}
	}
}
