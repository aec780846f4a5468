package view

import (
	"fmt"
	"math"
	"strings"

	"witnessmark/tables/limits"
)

// The plot's inside, in its own units.
const plotLeft, plotTop, plotWide, plotHigh = 74.0, 12.0, 548.0, 200.0

// frame puts values into a plot.
type frame struct{ x0, x1, y0, y1 float64 }

func (f frame) at(x, y float64) (px, py float64) {
	return plotLeft + float64(plotWide*part(x, f.x0, f.x1)), plotTop + plotHigh - float64(plotHigh*part(y, f.y0, f.y1))
}

// part is where v lies from a to b, kept inside; in the middle where the two are one.
func part(v, a, b float64) float64 {
	d := b/2 - a/2
	if !(d > 0) {
		return .5
	}
	return min(max((v/2-a/2)/d, 0), 1)
}

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
	if a, z := extent(low, high); a <= z {
		b.WriteString(` <svg class="mini" viewBox="0 0 40 10" aria-hidden="true"><path class="limit" d="M1 5H39"/></svg> limit at the breakpoints`)
	}
	b.WriteString(`</figcaption></figure>`)
}

// frameOf holds both curves, and the limits as far as they are near enough not to flatten them.
func frameOf(s *sides, low, high []float64) frame {
	var f frame
	f.x0, f.x1 = extent(s.base.X, s.cand.X)
	f.y0, f.y1 = extent(s.base.Values, s.cand.Values)
	if f.x0 > f.x1 {
		f.x0, f.x1 = 0, 1
	}
	if f.y0 > f.y1 {
		f.y0, f.y1 = 0, 1
	}
	reach := f.y1 - f.y0
	for _, set := range [][]float64{low, high} {
		for _, v := range set {
			if v > f.y1-2*reach && v < f.y0+2*reach && finite(v) {
				f.y0, f.y1 = min(f.y0, v), max(f.y1, v)
			}
		}
	}
	if pad := (f.y1 - f.y0) / 12; pad > 0 && finite(pad) {
		f.y0, f.y1 = f.y0-pad, f.y1+pad
	} else if f.y0 == f.y1 {
		f.y0, f.y1 = f.y0-1, f.y1+1
	}
	return f
}

// ordered says whether points rise or fall throughout.
func ordered(p []float64) bool {
	up, down := true, true
	for i := range p {
		if !finite(p[i]) {
			return false
		}
		if i > 0 {
			up, down = up && p[i] >= p[i-1], down && p[i] <= p[i-1]
		}
	}
	return up || down
}

func writeAxes(b *strings.Builder, f frame, s *sides) {
	const lines = 4
	n := places(s.t.Cells)
	if step := (f.y1 - f.y0) / lines; n >= 0 && step > 0 {
		n = min(max(n, decimals(math.Ceil(-math.Log10(step)))), 9) // no two lines under one number
	}
	for i := range lines + 1 {
		v := f.y0 + float64((f.y1-f.y0)*float64(i)/lines)
		_, y := f.at(f.x0, v)
		text := n.text(v)
		if n < 0 {
			text = minus(fmt.Sprintf("%.3g", v))
		}
		fmt.Fprintf(b, `<path class="rule" d="M%.1f %.1fH%.1f"/><text class="tick" x="%.1f" y="%.1f" text-anchor="end">%s</text>`, plotLeft, y, plotLeft+plotWide, plotLeft-6, y+4, esc(text))
	}
	names, last := headings(s.t.X, s.cand.X, len(s.cand.X)), math.Inf(-1)
	for i, v := range s.cand.X {
		if !finite(v) {
			continue
		}
		x, _ := f.at(v, f.y0)
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
		top, bottom := f.y1, f.y0
		if finite(high[i]) {
			top, bounded = high[i], true
		}
		if finite(low[i]) {
			bottom, bounded = low[i], true
		}
		px, py := f.at(x[i], top)
		up = append(up, fmt.Sprintf("%.1f %.1f", px, py))
		px, py = f.at(x[i], bottom)
		down = append([]string{fmt.Sprintf("%.1f %.1f", px, py)}, down...)
	}
	if bounded && len(x) > 1 {
		fmt.Fprintf(b, `<path class="band-allowed" d="M%sZ"/>`, strings.Join(append(up, down...), "L"))
	}
}

// writeLimit is one edge of what is allowed.
func writeLimit(b *strings.Builder, f frame, x, at []float64, joined bool) {
	writeLine(b, f, "limit", x, inside(f, at), joined)
}

// inside leaves out what lies outside the plot.
func inside(f frame, vs []float64) []float64 {
	out := make([]float64, len(vs))
	for i, v := range vs {
		if out[i] = v; v < f.y0 || v > f.y1 {
			out[i] = math.NaN()
		}
	}
	return out
}

func writeCurve(b *strings.Builder, f frame, class string, x, y []float64, joined bool) {
	writeLine(b, f, "line "+class, x, y, joined)
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			continue
		}
		px, py := f.at(x[i], y[i])
		fmt.Fprintf(b, `<circle class="dot %s" cx="%.1f" cy="%.1f" r="3.5"/>`, class, px, py)
	}
}

// writeLine joins points, with a gap where one is no number; unjoined, each is a short stroke.
func writeLine(b *strings.Builder, f frame, class string, x, y []float64, joined bool) {
	var d strings.Builder
	pen := "M"
	for i := range x {
		if i >= len(y) || !finite(x[i]) || !finite(y[i]) {
			pen = "M"
			continue
		}
		px, py := f.at(x[i], y[i])
		if joined && len(x) > 1 {
			fmt.Fprintf(&d, "%s%.1f %.1f", pen, px, py)
			pen = "L"
		} else {
			fmt.Fprintf(&d, "M%.1f %.1fh14", px-7, py)
		}
	}
	if d.Len() > 0 {
		fmt.Fprintf(b, `<path class="%s" d="%s"/>`, class, d.String())
	}
}
