package view

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"witnessmark/client/plot"
	"witnessmark/client/sheet"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// The plot's inside, in its own units.
const plotLeft, plotTop, plotWide, plotHigh = 74.0, 12.0, 548.0, 200.0

// mostDots is how many points are drawn one by one.
const mostDots = 40

// section is a table along one of its axes, at one breakpoint of the other, or a signal along an input.
type section struct {
	axis         *definition.Axis
	name         string // x or y
	at           string // where on the other axis; empty for a curve
	baseX, candX []float64
	base, cand   []float64
	low, high    []float64   // at candX; nil for none
	named        []float64   // points under the plot
	worst        *worstPoint // nil for none
	here         *float64    // where the cursor stands; nil for nowhere
	x, y         plot.Scale
	headings     []string
	joined       bool
}

// worstPoint is where a limit is exceeded most; from and to are the stretch on which the limit is the same, empty where it is
// known at that point alone.
type worstPoint struct{ x, value, limit, from, to float64 }

// Section is the section along the row and the one along the column of a cell, each with both sides
// and the limits; slice and at name the cell as in a Whole. The error says that there is no such table or cell, or an image has
// another size.
func (c *Comparison) Section(id, slice, at string) (template.HTML, error) {
	p, err := c.read(id)
	if err != nil {
		return "", err
	}
	if why := p.astray(); why != "" || p.t.Kind == "text" {
		return "", fmt.Errorf("table %s has no sections: %s", id, cmp.Or(why, "it is a text"))
	}
	n, ok := p.parseFace(slice)
	if p.beyond != nil && !ok {
		return "", fmt.Errorf("table %s has no slice %.40q; allowed: its place along each axis beyond y", id, slice)
	}
	s := p.face(n)
	row, col, ok := s.parseCell(at)
	if !ok {
		return "", fmt.Errorf("table %s has no cell in row and column %.40q; allowed: 0 to %d, 0 to %d", id, at, s.cand.NY-1, s.cand.NX-1)
	}
	var b strings.Builder
	s.writeSections(&b, row, col)
	return template.HTML(b.String()), nil
}

func (s *sides) writeSections(b *strings.Builder, row, col int) {
	if s.cand.Values == nil {
		return
	}
	if s.t.X != nil && s.cand.NX > 1 {
		s.sectionAlongX(row).through(s.cand.X[col]).write(b, s.called())
	}
	if s.t.Y != nil && s.cand.NY > 1 {
		s.sectionAlongY(col).through(s.cand.Y[row]).write(b, s.called())
	}
}

// called is what a table's values are, in words.
func (s *sides) called() string { return cmp.Or(sheet.Words(s.t.Quantity), s.t.ID) }

// plotted says whether the table is a curve of numbers over x.
func (s *sides) plotted() bool { return s.t.X != nil && s.t.Y == nil && s.cand.Values != nil }

func (s *sides) sectionAlongX(row int) *section {
	cut := s.section(s.t.X, "x", s.base.X, s.cand.X, row*s.cand.NX, 1)
	if s.t.Y != nil {
		cut.at = strings.Join(append([]string{coordinate.Along(s.t.Y, "y", s.cand.Y[row])}, s.in...), ", ")
	}
	return cut
}

func (s *sides) sectionAlongY(col int) *section {
	cut := s.section(s.t.Y, "y", s.base.Y, s.cand.Y, col, s.cand.NX)
	cut.at = strings.Join(append([]string{coordinate.Along(s.t.X, "x", s.cand.X[col])}, s.in...), ", ")
	return cut
}

// section is the cells from one on, a step apart, each side without those that it lacks.
func (s *sides) section(axis *definition.Axis, name string, was, is []float64, from, step int) *section {
	cut := &section{axis: axis, name: name, named: is}
	for n := range is {
		i := from + n*step
		if s.base.has(i) {
			cut.baseX, cut.base = append(cut.baseX, was[n]), append(cut.base, s.base.Values[i])
		}
		if s.cand.has(i) {
			cut.candX, cut.cand = append(cut.candX, is[n]), append(cut.cand, s.cand.Values[i])
			if s.low != nil {
				cut.low, cut.high = append(cut.low, s.low[i]), append(cut.high, s.high[i])
			}
		}
	}
	return cut
}

// through marks where the cursor stands.
func (c *section) through(at float64) *section {
	c.here = &at
	return c
}

// write draws the section: base dashed, candidate solid, and the limits as lines around what they
// allow. Points without a line where nothing lies between
// two of them, or where the breakpoints neither rise nor fall.
func (c *section) write(b *strings.Builder, of string) {
	c.scale()
	over := cmp.Or(axisName(c.axis, c.name), c.name)
	label := fmt.Sprintf("%s over %s: base dashed, candidate solid; the numbers are in the grids.", of, over)
	title := "Over " + over
	if c.at != "" {
		title, label = title+", through "+c.at, strings.Replace(label, ":", ", through "+c.at+":", 1)
	}
	fmt.Fprintf(b, `<figure class="section"><figcaption class="small">%s</figcaption><svg class="plot" viewBox="0 0 640 260" role="img" aria-label="%s">`, esc(title), esc(label))
	c.headings = headings(c.axis, c.named, len(c.named))
	c.writeAxes(b)
	c.joined = !c.axis.Index && ordered(c.candX) && ordered(c.baseX)
	if c.joined && c.high != nil {
		c.writeBand(b)
	}
	if c.here != nil && surface.Finite(*c.here) {
		fmt.Fprintf(b, `<path class="here" d="M%.1f %.1fV%.1f"/>`, c.x.At(*c.here), plotTop, plotTop+plotHigh)
	}
	c.writeLimit(b, c.low)
	c.writeLimit(b, c.high)
	c.writeCurve(b, "base", c.baseX, c.base)
	c.writeCurve(b, "cand", c.candX, c.cand)
	c.writeWorst(b)
	b.WriteString(`</svg><p class="small keys">`)
	writeKey(b, "line base", "base")
	writeKey(b, "line cand", "candidate")
	if a, z := plot.Extent(c.low, c.high); a <= z {
		writeKey(b, "limit", "limit at the breakpoints")
	}
	if c.worst != nil {
		writeKey(b, "limit", map[bool]string{true: "limit", false: "limit at the worst point"}[c.worst.from < c.worst.to])
		b.WriteString(` <svg class="mini" viewBox="0 0 40 10" aria-hidden="true"><circle class="ring" cx="20" cy="5" r="4"/></svg> worst point`)
	}
	b.WriteString(`</p></figure>`)
}

func writeKey(b *strings.Builder, class, text string) {
	fmt.Fprintf(b, ` <svg class="mini" viewBox="0 0 40 10" aria-hidden="true"><path class="%s" d="M1 5H39"/></svg> %s`, class, text)
}

// writeWorst marks the worst point, and draws its limit as far as it is known.
func (c *section) writeWorst(b *strings.Builder) {
	w := c.worst
	if w == nil || !surface.Finite(w.x, w.value, w.limit) {
		return
	}
	fmt.Fprintf(b, `<path class="here" d="M%.1f %.1fV%.1f"/>`, c.x.At(w.x), plotTop, plotTop+plotHigh)
	limit := plot.Marks([]float64{w.x}, []float64{w.limit}, c.x, c.y, 60)
	if w.from < w.to {
		limit = plot.Line([]float64{w.from, w.to}, []float64{w.limit, w.limit}, c.x, c.y)
	}
	fmt.Fprintf(b, `<path class="limit" d="%s"/><circle class="ring" cx="%.1f" cy="%.1f" r="6"/>`, limit, c.x.At(w.x), c.y.At(w.value))
}

// scale holds both curves, and the limits as far as they are near enough not to flatten them.
func (c *section) scale() {
	y0, y1 := plot.Extent(c.base, c.cand)
	reach, floor, ceiling := y1-y0, y0, y1
	sets := [][]float64{c.low, c.high}
	if c.worst != nil {
		sets = append(sets, []float64{c.worst.limit, c.worst.value})
	}
	for _, set := range sets {
		for _, v := range set {
			if v > ceiling-2*reach && v < floor+2*reach && surface.Finite(v) {
				y0, y1 = min(y0, v), max(y1, v)
			}
		}
	}
	c.y = plot.Round(y0, y1, plotTop+plotHigh, plotTop, 5)
	x0, x1 := plot.Extent(c.baseX, c.candX)
	c.x = plot.Scale{Low: x0, High: x1, From: plotLeft, To: plotLeft + plotWide}
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

// writeAxes names what fits; what would not fit where a small screen has larger letters is spare there.
func (c *section) writeAxes(b *strings.Builder) {
	for i, v := range c.y.Ticks {
		y, class := c.y.At(v), "tick"
		if i%2 == 1 {
			class += " spare"
		}
		fmt.Fprintf(b, `<path class="rule" d="M%.1f %.1fH%.1f"/><text class="%s" x="%.1f" y="%.1f" text-anchor="end">%s</text>`, plotLeft, y, plotLeft+plotWide, class, plotLeft-6, y+4, c.y.Text(v))
	}
	last, lastLarge := math.Inf(-1), math.Inf(-1)
	for i, v := range c.named {
		if !surface.Finite(v) {
			continue
		}
		x, letters := c.x.At(v), float64(len([]rune(c.headings[i])))
		fmt.Fprintf(b, `<path class="rule" d="M%.1f %.1fv5"/>`, x, plotTop+plotHigh)
		if math.Abs(x-last) <= 7.2*letters+14 {
			continue
		}
		last = x
		class := "tick"
		if math.Abs(x-lastLarge) <= 13*letters+14 {
			class += " spare"
		} else {
			lastLarge = x
		}
		anchor := "middle"
		switch half := 6.5 * letters; { // what is large on a small screen stays inside, and clear of the scale
		case x+half > 650:
			anchor, x = "end", 638
		case x-half < plotLeft-28:
			anchor, x = "start", plotLeft-4
		}
		fmt.Fprintf(b, `<text class="%s" x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, class, x, plotTop+plotHigh+20, anchor, esc(c.headings[i]))
	}
}

// writeBand fills what the limits allow, from the floor, or the bottom, to the ceiling, or the top.
func (c *section) writeBand(b *strings.Builder) {
	var up, down []string
	bounded := false
	for i := range c.candX {
		top, bottom := c.y.High, c.y.Low
		if surface.Finite(c.high[i]) {
			top, bounded = c.high[i], true
		}
		if surface.Finite(c.low[i]) {
			bottom, bounded = c.low[i], true
		}
		up = append(up, fmt.Sprintf("%.1f %.1f", c.x.At(c.candX[i]), c.y.At(top)))
		down = append([]string{fmt.Sprintf("%.1f %.1f", c.x.At(c.candX[i]), c.y.At(bottom))}, down...)
	}
	if bounded && len(c.candX) > 1 {
		fmt.Fprintf(b, `<path class="band-allowed" d="M%sZ"/>`, strings.Join(append(up, down...), "L"))
	}
}

// writeLimit is one edge of what is allowed, without what lies outside the plot.
func (c *section) writeLimit(b *strings.Builder, at []float64) {
	inside := slices.Clone(at)
	for i, v := range at {
		if v < c.y.Low || v > c.y.High {
			inside[i] = math.NaN()
		}
	}
	c.writeLine(b, "limit", c.candX, inside)
}

func (c *section) writeCurve(b *strings.Builder, class string, x, y []float64) {
	c.writeLine(b, "line "+class, x, y)
	for i := range x {
		if surface.Finite(x[i], y[i]) && len(x) <= mostDots {
			fmt.Fprintf(b, `<circle class="dot %s" cx="%.1f" cy="%.1f" r="3.5"/>`, class, c.x.At(x[i]), c.y.At(y[i]))
		}
	}
}

// writeLine joins points, with a gap where one is no number; unjoined, each is a short stroke.
func (c *section) writeLine(b *strings.Builder, class string, x, y []float64) {
	d := plot.Marks(x, y, c.x, c.y, 14)
	if c.joined && len(x) > 1 {
		d = plot.Line(x, y, c.x, c.y)
	}
	if d != "" {
		fmt.Fprintf(b, `<path class="%s" d="%s"/>`, class, d)
	}
}
