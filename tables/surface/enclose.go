package surface

import (
	"math"

	"witnessmark/tables/bounded"
)

// Enclosed is a grid that can say what its surface does over a stretch of each axis. Values are before the
// grid's conversion.
type Enclosed struct {
	*Grid
	alongX, alongY []float64 // slopes: between columns, [row*(NX-1)+col]; between rows, [row*NX+col]
	most           float64   // of the values, by amount
	steepX, steepY float64   // of the slopes, by amount
	columns, gaps  int       // NX, and NX-1
}

// Enclose prepares a grid.
func (g *Grid) Enclose() *Enclosed {
	nx, ny := len(g.X), len(g.Y)
	e := &Enclosed{Grid: g, alongX: make([]float64, (nx-1)*ny), alongY: make([]float64, nx*(ny-1)), columns: nx, gaps: nx - 1}
	for r := range ny {
		for c := range nx {
			v := g.Values[r*nx+c]
			e.most = max(e.most, math.Abs(v))
			if c+1 < nx && g.X[c+1] > g.X[c] {
				d := (g.Values[r*nx+c+1] - v) / (g.X[c+1] - g.X[c])
				e.alongX[r*(nx-1)+c], e.steepX = d, max(e.steepX, math.Abs(d))
			}
			if r+1 < ny && g.Y[r+1] > g.Y[r] {
				d := (g.Values[(r+1)*nx+c] - v) / (g.Y[r+1] - g.Y[r])
				e.alongY[r*nx+c], e.steepY = d, max(e.steepY, math.Abs(d))
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
	out.Value = widened(lo, hi, e.most, exact)
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

func widened(lo, hi, most float64, exact bool) bounded.Interval {
	if !(lo-lo == 0 && hi-hi == 0) {
		return bounded.Whole()
	}
	if !exact {
		by := rounding * most
		lo, hi = lo-by, hi+by
	}
	return bounded.Interval{Lo: lo, Hi: hi}
}

func (e *Enclosed) slopeX(x, y *Reach, first, last, ny int, step *bool) bounded.Interval {
	lo, hi := math.Inf(1), math.Inf(-1)
	if x.held {
		lo, hi = 0, 0
	}
	for c := first; c < last; c++ {
		if e.X[c+1] == e.X[c] {
			*step = true
			continue
		}
		for j := range ny {
			s := y.station(j, ny)
			v := mix(e.alongX[s.lo*e.gaps+c], e.alongX[s.hi*e.gaps+c], s.t)
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if lo > hi {
		return bounded.Interval{}
	}
	return widened(lo, hi, e.steepX, false)
}

func (e *Enclosed) slopeY(x, y *Reach, first, last, nx int, step *bool) bounded.Interval {
	lo, hi := math.Inf(1), math.Inf(-1)
	if y.held {
		lo, hi = 0, 0
	}
	for r := first; r < last; r++ {
		if e.Y[r+1] == e.Y[r] {
			*step = true
			continue
		}
		for i := range nx {
			s := x.station(i, nx)
			v := mix(e.alongY[r*e.columns+s.lo], e.alongY[r*e.columns+s.hi], s.t)
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if lo > hi {
		return bounded.Interval{}
	}
	return widened(lo, hi, e.steepY, false)
}
