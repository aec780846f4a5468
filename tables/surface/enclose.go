package surface

import (
	"math"

	"witnessmark/tables/bounded"
)

// Enclosed is a grid that can say what its surface does over a stretch of each axis. Values are before the
// grid's conversion.
type Enclosed struct {
	*Grid
	alongX, alongY []float64 // slopes: between columns, [row*gaps+col]; between rows, [row*columns+col]
	columns, gaps  int       // NX, and NX-1
}

// Enclose prepares a grid.
func (g *Grid) Enclose() *Enclosed {
	nx, ny := len(g.X), len(g.Y)
	e := &Enclosed{Grid: g, alongX: make([]float64, (nx-1)*ny), alongY: make([]float64, nx*(ny-1)), columns: nx, gaps: nx - 1}
	for r := range ny {
		for c := range nx {
			v := g.Values[r*nx+c]
			if c+1 < nx && g.X[c+1] > g.X[c] {
				e.alongX[r*(nx-1)+c] = (g.Values[r*nx+c+1] - v) / (g.X[c+1] - g.X[c])
			}
			if r+1 < ny && g.Y[r+1] > g.Y[r] {
				e.alongY[r*nx+c] = (g.Values[(r+1)*nx+c] - v) / (g.Y[r+1] - g.Y[r])
			}
		}
	}
	return e
}

// Between is the surface at a place of each axis, before the conversion.
func (e *Enclosed) Between(x, y Span) float64 { return e.between(x, y) }

// rounding is what bilinear interpolation in float64 may be off by, in parts of the greatest value.
const rounding = 0x1p-50

// Patch is what a surface does over a stretch of each axis.
type Patch struct {
	Value          bounded.Interval
	SlopeX, SlopeY bounded.Interval
	Step           bool // it may step within
	Bilinear       bool // it lies within one cell
	AlongX, AlongY bool // it depends on x, on y
}

// Over is the surface over a stretch of each axis: its least and greatest value are found at the ends and at the
// breakpoints within, and so are those of its slopes.
func (e *Enclosed) Over(x, y *Reach, out *Patch) {
	nx, ny := x.stations(), y.stations()
	exact := true
	lo, hi := math.Inf(1), math.Inf(-1)
	for j := range ny {
		sy := y.station(j, ny)
		for i := range nx {
			sx := x.station(i, nx)
			v := e.Between(sx, sy)
			lo, hi = min(lo, v), max(hi, v)
			exact = exact && (sx.t == 0 || sx.t == 1) && (sy.t == 0 || sy.t == 1) || nx*ny == 1
		}
	}
	most := 0.0
	if !exact {
		most = e.most(x, y)
	}
	out.Value = widened(lo, hi, most)
	out.Step = false
	fx, lx := x.segments()
	fy, ly := y.segments()
	out.AlongX, out.AlongY = lx > fx, ly > fy
	out.Bilinear = lx-fx <= 1 && ly-fy <= 1 && !(x.held && lx > fx) && !(y.held && ly > fy)
	out.SlopeX, out.SlopeY = bounded.Interval{}, bounded.Interval{}
	if out.AlongX {
		out.SlopeX = e.slopeX(x, y, fx, lx, ny, &out.Step)
	}
	if out.AlongY {
		out.SlopeY = e.slopeY(x, y, fy, ly, nx, &out.Step)
	}
}

// most is the greatest amount of the cells around two reaches.
func (e *Enclosed) most(x, y *Reach) float64 {
	most := 0.0
	for r := y.first.lo; r <= y.last.hi; r++ {
		for _, v := range e.Values[r*e.columns+x.first.lo : r*e.columns+x.last.hi+1] {
			most = max(most, math.Abs(v))
		}
	}
	return most
}

// widened leaves room for the rounding of what is interpolated between amounts as great as most.
func widened(lo, hi, most float64) bounded.Interval {
	by := float64(rounding * most)
	if lo, hi = lo-by, hi+by; lo-lo == 0 && hi-hi == 0 {
		return bounded.Interval{Lo: lo, Hi: hi}
	}
	return bounded.Whole()
}

func (e *Enclosed) slopeX(x, y *Reach, first, last, ny int, step *bool) bounded.Interval {
	s := newSlope(x.held)
	for c := first; c < last; c++ {
		if e.X[c+1] == e.X[c] {
			*step = true
			continue
		}
		for j := range ny {
			at := y.station(j, ny)
			s.add(e.alongX[at.lo*e.gaps+c], e.alongX[at.hi*e.gaps+c], at.t)
		}
	}
	return s.interval()
}

func (e *Enclosed) slopeY(x, y *Reach, first, last, nx int, step *bool) bounded.Interval {
	s := newSlope(y.held)
	for r := first; r < last; r++ {
		if e.Y[r+1] == e.Y[r] {
			*step = true
			continue
		}
		for i := range nx {
			at := x.station(i, nx)
			s.add(e.alongY[r*e.columns+at.lo], e.alongY[r*e.columns+at.hi], at.t)
		}
	}
	return s.interval()
}

// slope gathers the slopes along a reach.
type slope struct{ lo, hi, most float64 }

func newSlope(held bool) slope {
	if held {
		return slope{}
	}
	return slope{lo: math.Inf(1), hi: math.Inf(-1)}
}

func (s *slope) add(a, b, t float64) {
	v := mix(a, b, t)
	s.lo, s.hi = min(s.lo, v), max(s.hi, v)
	s.most = max(s.most, math.Abs(a), math.Abs(b))
}

func (s *slope) interval() bounded.Interval {
	if s.lo > s.hi { // nothing but steps
		return bounded.Interval{}
	}
	return widened(s.lo, s.hi, s.most)
}

// Less is how far a surface lies above another one on the same breakpoints. Where both hold no number, they do not differ.
func (e *Enclosed) Less(o *Enclosed) *Enclosed {
	return (&Grid{X: e.X, Y: e.Y, Values: less(e.Values, o.Values)}).Enclose()
}

// less is the difference of values, nothing where both are no number.
func less(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i, v := range a {
		if w := b[i]; v != w && (v == v || w == w) {
			out[i] = v - w
		}
	}
	return out
}
