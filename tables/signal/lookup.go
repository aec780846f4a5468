package signal

import (
	"math"

	"witnessmark/tables/bounded"
	"witnessmark/tables/surface"
)

// coordinate is where a surface is looked up along one axis.
type coordinate struct {
	axis  []float64 // rising
	of    *Function // nil where there is no such axis
	from  *direct   // of's operation where that is an input: then the cell says between which breakpoints it lies
	index bool      // only the breakpoints themselves are places
	// The last cell's inside, and its place: one cell is looked at many times in a row.
	inside float64
	around surface.Span
}

// beside is a point of the cell, and its place.
func (k *coordinate) beside(c *Box) (float64, surface.Span) {
	if inside := k.from.inside(c); inside != k.inside {
		k.inside, k.around = inside, surface.Place(k.axis, inside)
	}
	return k.inside, k.around
}

// lookup is a surface at its coordinates, before its conversion.
type lookup struct {
	space *Space
	grid  *surface.Enclosed
	x, y  coordinate
	codes *surface.Solid // see opened
	seen  *bool
}

// Lookup is a grid's surface at x and y, which are in its axes' units; nil where it has no such axis. Its breakpoints
// become those of the inputs that the coordinates are. It has no rational conversion: see Table.
func (s *Space) Lookup(g *surface.Grid, x, y *Function) *Function {
	return s.lookup(g.Enclose(), s.coordinate(g.X, x, false), s.coordinate(g.Y, y, false), new(bool))
}

func (s *Space) lookup(g *surface.Enclosed, x, y coordinate, seen *bool) *Function {
	return s.function(&lookup{space: s, grid: g, x: x, y: y, seen: seen}, x.of, y.of)
}

// coordinate is a function as a place along an axis.
func (s *Space) coordinate(axis []float64, of *Function, index bool) coordinate {
	c := coordinate{axis: axis, of: of, index: index}
	if of == nil {
		return c
	}
	d, ok := of.op.(*direct)
	if !ok {
		return c
	}
	in := s.inputs[d.number]
	at := make([]float64, len(axis))
	for i, v := range axis {
		at[i] = d.back.Level(v)
	}
	if index {
		in.onIndex(at)
		return c
	}
	c.from = d
	c.around = surface.Place(axis, c.inside)
	in.breaks = append(in.breaks, at...)
	for i := 1; i < len(axis); i++ {
		if axis[i] == axis[i-1] {
			in.steps = append(in.steps, at[i])
		}
	}
	return c
}

func (k *coordinate) place(c *Box, p *Point) (surface.Span, bool) {
	if k.of == nil {
		return surface.Span{}, true
	}
	v := k.of.at(c, p)
	switch {
	case v != v:
		return surface.Span{}, false
	case k.index:
		return surface.PlaceExactly(k.axis, v)
	case k.from != nil:
		inside, around := k.beside(c)
		return surface.PlaceBeside(k.axis, around, inside, v), true
	}
	return surface.Place(k.axis, v), true
}

// held is the bounds of a coordinate that there is not.
var held = &bounded.Bounds{Smooth: true, Multilinear: true}

// reach is where the coordinate goes over a box; undefined where it may leave an index axis's points.
func (k *coordinate) reach(c, b *Box) (r surface.Reach, of *bounded.Bounds, undefined bool) {
	if k.of == nil {
		return r, held, false
	}
	of = k.of.over(c, b)
	switch {
	case k.index:
		points, any := surface.Points(k.axis, of.Lo, of.Hi)
		return points, of, of.Undefined || !any || of.Lo != of.Hi && !(points.One() && near(of.Lo, of.Hi))
	case k.from != nil:
		inside, around := k.beside(c)
		return surface.Beside(k.axis, around, inside, of.Lo, of.Hi), of, false
	}
	return surface.Along(k.axis, of.Lo, of.Hi), of, of.Undefined
}

// near says that two numbers are one but for rounding.
func near(lo, hi float64) bool { return hi-lo <= 1e-9*max(-lo, hi) }

func (l *lookup) look() {
	if !l.space.quiet {
		*l.seen = true
	}
}

func (l *lookup) at(c *Box, p *Point) float64 {
	l.look()
	x, ok := l.x.place(c, p)
	y, also := l.y.place(c, p)
	if !ok || !also {
		return math.NaN()
	}
	return l.grid.Between(x, y)
}

func (l *lookup) over(c, b *Box, out *bounded.Bounds) {
	l.look()
	x, fx, ux := l.x.reach(c, b)
	y, fy, uy := l.y.reach(c, b)
	var patch surface.Patch
	l.grid.Over(&x, &y, &patch)
	out.Interval = patch.Value
	out.Undefined = out.Undefined || ux || uy
	if !patch.AlongX {
		fx = held
	}
	if !patch.AlongY {
		fy = held
	}
	out.Smooth = !patch.Step && !ux && !uy && fx.Smooth && fy.Smooth
	out.Inputs = fx.Inputs | fy.Inputs
	out.Multilinear = patch.Bilinear && !ux && !uy && fx.Multilinear && fy.Multilinear && fx.Inputs&fy.Inputs == 0
	for i := range l.space.inputs {
		out.Slope[i] = plus(times(fx.Slope[i], patch.SlopeX), times(fy.Slope[i], patch.SlopeY))
	}
}
