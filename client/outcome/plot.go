package outcome

import (
	"fmt"
	"html/template"
	"strings"

	"witnessmark/client/plot"
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
	low, high := extent(lines, func(l Line) []float64 { return l.X })
	x := plot.Round(low, high, leftMargin, right, 8)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %.0f %d" role="img" aria-label="%s" xmlns="http://www.w3.org/2000/svg">`,
		width, height+34, template.HTMLEscapeString(label))
	top := 0.0
	for _, p := range drawn {
		p.draw(&b, x, top)
		top += float64(p.Height)
	}
	for _, t := range x.Ticks {
		fmt.Fprintf(&b, `<text class="t" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, x.At(t), top+12, x.Text(t))
	}
	fmt.Fprintf(&b, `<text class="t" x="%.0f" y="%.1f" text-anchor="middle">engine speed in 1/min</text></svg>`, (leftMargin+right)/2, top+28)
	return template.HTML(b.String()) // every text in it was escaped above
}

// draw puts one panel below top.
func (p Panel) draw(b *strings.Builder, x plot.Scale, top float64) {
	low, high := extent(p.Lines, func(l Line) []float64 { return l.Y })
	from, to := top+18, top+float64(p.Height)-4
	y := plot.Round(low, high, to, from, max(2, p.Height/45))
	for _, t := range x.Ticks {
		fmt.Fprintf(b, `<path class="g" d="M%.1f %.1fV%.1f"/>`, x.At(t), from, to)
	}
	for _, t := range y.Ticks {
		fmt.Fprintf(b, `<path class="g" d="M%.1f %.1fH%.1f"/><text class="t" x="%.1f" y="%.1f" text-anchor="end">%s</text>`,
			leftMargin, y.At(t), right, leftMargin-5, y.At(t)+3.5, y.Text(t))
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

// mostDots bounds the drawing.
const mostDots = 300

func (l Line) draw(b *strings.Builder, x, y plot.Scale) {
	if !l.Dots {
		fmt.Fprintf(b, `<path class="%s" d="%s"/>`, l.class(), plot.Line(l.X, l.Y, x, y))
		return
	}
	class := "d bd"
	if l.After {
		class = "d ad"
	}
	fmt.Fprintf(b, `<path class="%s" d="%s"/>`, class, plot.Marks(thinned(l.X), thinned(l.Y), x, y, 0))
}

// thinned keeps at most mostDots, evenly.
func thinned(v []float64) []float64 {
	step := max(1, (len(v)+mostDots-1)/mostDots)
	out := make([]float64, 0, len(v)/step+1)
	for i := 0; i < len(v); i += step {
		out = append(out, v[i])
	}
	return out
}

// extent is the range of all lines' values.
func extent(lines []Line, of func(Line) []float64) (low, high float64) {
	var sets [][]float64
	for _, l := range lines {
		sets = append(sets, of(l))
	}
	return plot.Extent(sets...)
}
