package view

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"witnessmark/client/plot"
	"witnessmark/tables/limits"
	"witnessmark/tables/surface"
)

// The plot's inside, in its own units.
const plotLeft, plotTop, plotWide, plotHigh = 74.0, 12.0, 548.0, 200.0

// frame is the scales of a plot.
type frame struct{ x, y plot.Scale }

// plotted says whether the table is a curve of numbers over x.
func (s *sides) plotted() bool { return s.t.X != nil && s.t.Y == nil && s.cand.Values != nil }

// writePlot draws a curve: base dashed, candidate solid, and the limits as a band. Points without a
// line where nothing lies between two of them, or where the breakpoints neither rise nor fall.
func writePlot(b *strings.Builder, s *sides, lim *limits.Limits, class string) {
	low, high := limits.Bounds(lim, s.t, s.cand)
	f := frameOf(s, low, high)
	label := fmt.Sprintf("%s over %s: base dashed, candidate solid; the numbers are below.", orElse(words(s.t.Quantity), s.t.ID), orElse(axisName(s.t.X, "x"), "x"))
	fmt.Fprintf(b, `<figure class="pane"><svg class="%s" viewBox="0 0 640 260" role="img" aria-label="%s">`, class, esc(label))
	writeAxes(b, f, s)
	joined := !s.t.X.Index && ordered(s.cand.X) && ordered(s.base.X)
	if joined {
		writeBand(b, f, s.cand.X, low, high)
	}
	writeLimit(b, f, s.cand.X, low, joined)
	writeLimit(b, f, s.cand.X, high, joined)
	writeCurve(b, f, "base", s.base.X, s.base.Values, joined)
	writeCurve(b, f, "cand", s.cand.X, s.cand.Values, joined)
	b.WriteString(`</svg><figcaption class="small">`)
	b.WriteString(`<svg class="mini" viewBox="0 0 40 10" aria-hidden="true"><path class="line base" d="M1 5H39"/></svg> base <svg class="mini" viewBox="0 0 40 10" aria-hidden="true"><path class="line cand" d="M1 5H39"/></svg> candidate`)
	if a, z := plot.Extent(low, high); a <= z {
		b.WriteString(` <svg class="mini" viewBox="0 0 40 10" aria-hidden="true"><path class="limit" d="M1 5H39"/></svg> limit at the breakpoints`)
	}
	b.WriteString(`</figcaption></figure>`)
}

// frameOf holds both curves, and the limits as far as they are near enough not to flatten them.
func frameOf(s *sides, low, high []float64) frame {
	y0, y1 := plot.Extent(s.base.Values, s.cand.Values)
	reach, floor, ceiling := y1-y0, y0, y1
	for _, set := range [][]float64{low, high} {
		for _, v := range set {
			if v > ceiling-2*reach && v < floor+2*reach && surface.Finite(v) {
				y0, y1 = min(y0, v), max(y1, v)
			}
		}
	}
	f := frame{y: plot.Round(y0, y1, plotTop+plotHigh, plotTop, 5)}
	x0, x1 := plot.Extent(s.base.X, s.cand.X)
	f.x = plot.Scale{Low: x0, High: x1, From: plotLeft, To: plotLeft + plotWide}
	return f
}

// ordered says whether points rise or fall throughout.
func ordered(p []float64) bool {
	up, down := true, true
	for i := range p {
		if !surface.Finite(p[i]) {
			return false
		}
		if i > 0 {
			up, down = up && p[i] >= p[i-1], down && p[i] <= p[i-1]
		}
	}
	return up || down
}

func writeAxes(b *strings.Builder, f frame, s *sides) {
	for _, v := range f.y.Ticks {
		y := f.y.At(v)
		fmt.Fprintf(b, `<path class="rule" d="M%.1f %.1fH%.1f"/><text class="tick" x="%.1f" y="%.1f" text-anchor="end">%s</text>`, plotLeft, y, plotLeft+plotWide, plotLeft-6, y+4, f.y.Text(v))
	}
	names, last := headings(s.t.X, s.cand.X, len(s.cand.X)), math.Inf(-1)
	for i, v := range s.cand.X {
		if !surface.Finite(v) {
			continue
		}
		x := f.x.At(v)
		fmt.Fprintf(b, `<path class="rule" d="M%.1f %.1fv5"/>`, x, plotTop+plotHigh)
		if half := 3.6*float64(len([]rune(names[i]))) + 4; math.Abs(x-last) > 2*half {
			fmt.Fprintf(b, `<text class="tick" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, x, plotTop+plotHigh+18, esc(names[i]))
			last = x
		}
	}
	fmt.Fprintf(b, `<text class="tick" x="%.1f" y="252" text-anchor="middle">%s</text>`, plotLeft+plotWide/2, esc(axisName(s.t.X, "x")))
}

// writeBand fills what the limits allow, from the floor, or the bottom, to the ceiling, or the top.
func writeBand(b *strings.Builder, f frame, x, low, high []float64) {
	var up, down []string
	bounded := false
	for i := range x {
		top, bottom := f.y.High, f.y.Low
		if surface.Finite(high[i]) {
			top, bounded = high[i], true
		}
		if surface.Finite(low[i]) {
			bottom, bounded = low[i], true
		}
		up = append(up, fmt.Sprintf("%.1f %.1f", f.x.At(x[i]), f.y.At(top)))
		down = append([]string{fmt.Sprintf("%.1f %.1f", f.x.At(x[i]), f.y.At(bottom))}, down...)
	}
	if bounded && len(x) > 1 {
		fmt.Fprintf(b, `<path class="band-allowed" d="M%sZ"/>`, strings.Join(append(up, down...), "L"))
	}
}

// writeLimit is one edge of what is allowed, without what lies outside the plot.
func writeLimit(b *strings.Builder, f frame, x, at []float64, joined bool) {
	inside := slices.Clone(at)
	for i, v := range at {
		if v < f.y.Low || v > f.y.High {
			inside[i] = math.NaN()
		}
	}
	writeLine(b, f, "limit", x, inside, joined)
}

func writeCurve(b *strings.Builder, f frame, class string, x, y []float64, joined bool) {
	writeLine(b, f, "line "+class, x, y, joined)
	for i := range x {
		if surface.Finite(x[i], y[i]) {
			fmt.Fprintf(b, `<circle class="dot %s" cx="%.1f" cy="%.1f" r="3.5"/>`, class, f.x.At(x[i]), f.y.At(y[i]))
		}
	}
}

// writeLine joins points, with a gap where one is no number; unjoined, each is a short stroke.
func writeLine(b *strings.Builder, f frame, class string, x, y []float64, joined bool) {
	d := plot.Marks(x, y, f.x, f.y, 14)
	if joined && len(x) > 1 {
		d = plot.Line(x, y, f.x, f.y)
	}
	if d != "" {
		fmt.Fprintf(b, `<path class="%s" d="%s"/>`, class, d)
	}
}
