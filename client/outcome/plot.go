package outcome

import (
	"fmt"
	"html/template"
	"math"
	"strings"
)

// Line is one curve of a panel. X and Y have one length; a point that is not finite breaks it.
type Line struct {
	Name  string
	After bool // drawn as after-runs are; else as before-runs are
	Faint bool // a single run beside the mean of its side, or points as recorded
	Dots  bool // points, not joined
	X, Y  []float64
}

// Panel is one quantity over engine speed.
type Panel struct {
	Title  string
	Height int // units of the drawing; the width is 720
	Lines  []Line
}

const (
	width      = 720.0
	leftMargin = 52.0
	right      = 708.0
)

// Before is dashed and ochre, after is solid and blue: told apart without colour as well.
const plotStyle = `<style>.g{stroke:#d9d9d9;stroke-width:.6}.f{fill:none;stroke:#555;stroke-width:.8}.t{font:10.5px sans-serif;fill:#222}.h{font-weight:bold}` +
	`.b,.a{fill:none;stroke-width:2}.b{stroke:#9a5b00;stroke-dasharray:7 4}.a{stroke:#0b4f8a}.faint{stroke-width:.8;opacity:.5}` +
	`.d{fill:none;stroke-width:2.4;stroke-linecap:round}.bd{stroke:#dcb98a}.ad{stroke:#9dc0dd}</style>`

// Plot draws panels below each other on one axis of engine speed. Panels without lines are left out.
func Plot(panels []Panel, label string) template.HTML {
	var lines []Line
	height := 0
	var drawn []Panel
	for _, p := range panels {
		if len(p.Lines) > 0 {
			drawn, lines, height = append(drawn, p), append(lines, p.Lines...), height+p.Height
		}
	}
	if len(drawn) == 0 {
		return ""
	}
	low, high := span(lines, func(l Line) []float64 { return l.X })
	x := scaleOf(low, high, leftMargin, right, 8)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %.0f %d" role="img" aria-label="%s" xmlns="http://www.w3.org/2000/svg">%s`,
		width, height+34, template.HTMLEscapeString(label), plotStyle)
	top := 0.0
	for _, p := range drawn {
		p.draw(&b, x, top)
		top += float64(p.Height)
	}
	for _, t := range x.ticks {
		fmt.Fprintf(&b, `<text class="t" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, x.at(t), top+12, number(t))
	}
	fmt.Fprintf(&b, `<text class="t" x="%.0f" y="%.1f" text-anchor="middle">engine speed in 1/min</text></svg>`, (leftMargin+right)/2, top+28)
	return template.HTML(b.String()) // every text in it was escaped above
}

// draw puts one panel below top.
func (p Panel) draw(b *strings.Builder, x scale, top float64) {
	low, high := span(p.Lines, func(l Line) []float64 { return l.Y })
	from, to := top+18, top+float64(p.Height)-4
	y := scaleOf(low, high, to, from, max(2, p.Height/45))
	for _, t := range x.ticks {
		fmt.Fprintf(b, `<path class="g" d="M%.1f %.1fV%.1f"/>`, x.at(t), from, to)
	}
	for _, t := range y.ticks {
		fmt.Fprintf(b, `<path class="g" d="M%.1f %.1fH%.1f"/><text class="t" x="%.1f" y="%.1f" text-anchor="end">%s</text>`,
			leftMargin, y.at(t), right, leftMargin-5, y.at(t)+3.5, number(t))
	}
	fmt.Fprintf(b, `<rect class="f" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/><text class="t h" x="%.1f" y="%.1f">%s</text>`,
		leftMargin, from, right-leftMargin, to-from, leftMargin, top+13, template.HTMLEscapeString(p.Title))
	// Recorded points lie below, and a dashed line above a solid one that it may lie on.
	for _, pass := range []func(Line) bool{
		func(l Line) bool { return l.Dots },
		func(l Line) bool { return !l.Dots && l.After },
		func(l Line) bool { return !l.Dots && !l.After },
	} {
		for _, l := range p.Lines {
			if pass(l) {
				l.draw(b, x, y)
			}
		}
	}
	p.legend(b, top+9)
}

// legend names the first line of each side, at the panel's upper right.
func (p Panel) legend(b *strings.Builder, y float64) {
	at := right
	for _, after := range []bool{true, false} {
		for _, l := range p.Lines {
			if l.After != after || l.Faint || l.Name == "" {
				continue
			}
			at -= float64(len(l.Name))*5.6 + 44
			fmt.Fprintf(b, `<path class="%s" d="M%.1f %.1fh30"/><text class="t" x="%.1f" y="%.1f">%s</text>`,
				l.class(), at, y, at+35, y+4, template.HTMLEscapeString(l.Name))
			break
		}
	}
}

func (l Line) class() string {
	c := "b"
	if l.After {
		c = "a"
	}
	if l.Faint {
		c += " faint"
	}
	return c
}

// mostDots bounds the drawing: a long run is thinned, evenly.
const mostDots = 300

func (l Line) draw(b *strings.Builder, x, y scale) {
	if l.Dots {
		l.dots(b, x, y)
		return
	}
	var d strings.Builder
	pen := "M"
	for i := range min(len(l.X), len(l.Y)) {
		if !finite(l.X[i]) || !finite(l.Y[i]) {
			pen = "M"
			continue
		}
		fmt.Fprintf(&d, "%s%.1f %.1f", pen, x.at(l.X[i]), y.at(l.Y[i]))
		pen = "L"
	}
	fmt.Fprintf(b, `<path class="%s" d="%s"/>`, l.class(), d.String())
}

// dots draws points as recorded: strokes of no length with round ends, in one path.
func (l Line) dots(b *strings.Builder, x, y scale) {
	step := max(1, (len(l.X)+mostDots-1)/mostDots)
	class := "d bd"
	if l.After {
		class = "d ad"
	}
	var d strings.Builder
	for i := 0; i < min(len(l.X), len(l.Y)); i += step {
		if finite(l.X[i]) && finite(l.Y[i]) {
			fmt.Fprintf(&d, "M%.1f %.1fh0", x.at(l.X[i]), y.at(l.Y[i]))
		}
	}
	fmt.Fprintf(b, `<path class="%s" d="%s"/>`, class, d.String())
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// span is the range of all finite values; 0 to 1 where there are none.
func span(lines []Line, of func(Line) []float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, l := range lines {
		for _, v := range of(l) {
			if finite(v) {
				low, high = min(low, v), max(high, v)
			}
		}
	}
	if low > high {
		return 0, 1
	}
	return low, high
}

// scale places values on the paper.
type scale struct {
	low, high, from, to float64
	ticks               []float64
}

func (s scale) at(v float64) float64 { return s.from + (v-s.low)/(s.high-s.low)*(s.to-s.from) }

// scaleOf widens a range to whole steps of 1, 2 or 5 times a power of ten, about n of them.
func scaleOf(low, high, from, to float64, n int) scale {
	if high-low < 1e-9*max(1, math.Abs(high)) {
		low, high = low-0.5, high+0.5
	}
	rough := (high - low) / float64(n)
	step := math.Pow(10, math.Floor(math.Log10(rough)))
	for _, f := range []float64{1, 2, 5, 10} {
		if f*step >= rough {
			step *= f
			break
		}
	}
	s := scale{low: math.Floor(low/step) * step, high: math.Ceil(high/step) * step, from: from, to: to}
	for i := 0; i <= 40; i++ {
		t := s.low + float64(i)*step
		if t > s.high+step/2 {
			break
		}
		s.ticks = append(s.ticks, math.Round(t/step)*step)
	}
	return s
}

func number(v float64) string {
	return strings.Replace(fmt.Sprintf("%.5g", v), "-", "−", 1)
}
