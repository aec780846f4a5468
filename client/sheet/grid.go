package sheet

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"charm.land/lipgloss/v2"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// table finds a table of the candidate's definition, or of the base's; nil if neither has it.
func (o *Options) table(id string) *definition.Table {
	for _, l := range []*definition.Layout{o.candidateLayout(), o.Layout} {
		if l != nil && l.ByID[id] != nil {
			return l.ByID[id]
		}
	}
	return nil
}

func unit(t *definition.Table) string {
	if t == nil || t.Unit == "" || t.Unit == "1" {
		return ""
	}
	return " " + t.Unit
}

// decimals is how many digits after the point one raw step needs; -1 for the shortest form.
type decimals int

func numbers(t *definition.Table) decimals {
	if t == nil {
		return -1
	}
	return stored(t.Cells)
}

func stored(c *definition.Cells) decimals {
	if c == nil || !c.Conv.Affine() || c.Float {
		return -1
	}
	return digits(c.Conv.Factor, c.Conv.Offset)
}

func digits(steps ...float64) decimals {
	for d := 0; d <= 3; d++ {
		whole := true
		for _, s := range steps {
			v := s * math.Pow10(d)
			whole = whole && math.Abs(v-math.Round(v)) <= 1e-9*math.Max(1, math.Abs(v))
		}
		if whole {
			return decimals(d)
		}
	}
	// Not a decimal fraction: enough digits that neighbouring steps print apart.
	if s := math.Abs(steps[0]); s > 0 && s < 1 {
		return decimals(min(9, int(math.Ceil(-math.Log10(s)))))
	}
	return -1
}

func (d decimals) text(v float64) string {
	if d < 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return fine(v)
	}
	return strconv.FormatFloat(v, 'f', int(d), 64)
}

// near is a value that lies between two steps, to a tenth of one.
func (d decimals) near(v float64) string {
	if d < 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return fine(v)
	}
	tenth := math.Pow10(int(d) + 1)
	if r := math.Round(v*tenth) / tenth; r != 0 || v == 0 {
		return strconv.FormatFloat(r, 'f', -1, 64)
	}
	return fine(v) // what is not zero does not look like zero
}

// place is where something lies along an axis.
func place(v float64) string {
	if math.Abs(v) >= 1e5 {
		return fine(v)
	}
	return strconv.FormatFloat(v, 'g', 5, 64)
}

// fine is the shortest form of six significant digits.
func fine(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func grouped(n uint32) string {
	s := strconv.FormatUint(uint64(n), 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + " " + s[i:]
	}
	return s
}

// point is an operating point in the words of the table's axes.
func point(t *definition.Table, x, y *float64) string {
	var s []string
	if x != nil {
		s = append(s, along(t, false, *x))
	}
	if y != nil {
		s = append(s, along(t, true, *y))
	}
	return strings.Join(s, ", ")
}

func along(t *definition.Table, isY bool, v float64) string {
	name, u := "x", ""
	if isY {
		name = "y"
	}
	if t != nil {
		a := t.X
		if isY {
			a = t.Y
		}
		if a != nil {
			name, u = a.Quantity, a.Unit
		}
	}
	return amount(name, u, v)
}

// writeTables prints each changed table; the one asked for whole, the others folded.
func writeTables(b *strings.Builder, r *calibrationv1.Report, o *Options) {
	if len(r.Tables) == 0 {
		return
	}
	fmt.Fprintln(b, "\n"+bold.Render("Changed tables"))
	for _, t := range r.Tables {
		if o.Table != "" && o.Table != t.Id {
			continue
		}
		writeTable(b, r, t, o)
	}
}

func writeTable(b *strings.Builder, r *calibrationv1.Report, t *calibrationv1.TableReport, o *Options) {
	def := o.table(t.Id)
	fmt.Fprintf(b, "\n  %s", bold.Render(t.Id))
	if def != nil && def.Title != "" {
		fmt.Fprintf(b, "  %s", plainText(def.Title))
	}
	fmt.Fprintf(b, "\n  %s, %d of %s changed", t.Kind, t.Changed, plural(int(t.Cells), "cell"))
	if t.Unit != "" && t.Unit != "1" {
		fmt.Fprintf(b, ", in %s", t.Unit)
	}
	if d := t.Delta; d != nil {
		n := numbers(def)
		fmt.Fprintf(b, "; change %s to %s, mean %s", signed(n, d.Min), signed(n, d.Max), plus(n.near(d.Mean), d.Mean))
	}
	fmt.Fprintln(b)
	switch {
	case t.Regridded:
		fmt.Fprintln(b, "  re-gridded: the breakpoints moved and the surface did not, to half a raw step")
	case t.AxesChanged:
		fmt.Fprintln(b, "  breakpoints changed: read the surface, not the index")
	}
	if !o.unjudged {
		fmt.Fprintf(b, "  judged by %s\n", judged(t.JudgedBy)+through(r, t.Id))
	}
	writeFromAsFound(b, t, def)
	if a := t.Alignment; a != nil {
		writeAlignment(b, a)
	}
	if t.Surface != nil {
		writeSurface(b, t, def, o)
		return
	}
	writeChanges(b, t, def, o)
}

func judged(by []string) string {
	return cmp.Or(strings.Join(by, ", "), "no rule of the limits")
}

// through says which rules judge a table by the signals that it goes into; empty where none does.
func through(r *calibrationv1.Report, table string) string {
	var s []string
	for _, g := range r.Signals {
		if len(g.JudgedBy) > 0 && slices.Contains(g.DependsOn, table) {
			s = append(s, g.Id+": "+strings.Join(g.JudgedBy, ", "))
		}
	}
	return before("; through ", strings.Join(s, "; "))
}

func writeAlignment(b *strings.Builder, a *calibrationv1.Alignment) {
	for _, side := range []struct {
		name string
		at   []*calibrationv1.AlignedIndex
	}{{"column", a.X}, {"row", a.Y}} {
		for _, i := range side.at {
			fmt.Fprintf(b, "  %s %d (%s) is in the %s only\n", side.name, i.Index, fine(i.Point), i.Side)
		}
	}
}

func signed(n decimals, v float64) string { return plus(n.text(v), v) }

// plus has a number say that it is above 0.
func plus(text string, v float64) string {
	if v > 0 {
		return "+" + text
	}
	return text
}

// cell is one place of a printed grid.
type cell struct {
	text string
	sign int // of the change; 0 is unchanged
}

// change is "base>candidate" with an arrow and, on a terminal, a colour.
func change(base, candidate string, delta float64) cell {
	switch {
	case delta > 0:
		return cell{base + "→" + candidate + " ▲", 1}
	case delta < 0:
		return cell{base + "→" + candidate + " ▼", -1}
	}
	return cell{base + "→" + candidate + " ◆", 2}
}

// writeChanges prints the smallest block of rows and columns that holds every change.
func writeChanges(b *strings.Builder, t *calibrationv1.TableReport, def *definition.Table, o *Options) {
	if len(t.Changes) == 0 {
		return
	}
	n := numbers(def)
	at := map[[2]int]cell{}
	var rows, cols []int
	for _, c := range t.Changes {
		r, k := int(c.Row), int(c.Column)
		at[[2]int{r, k}] = change(value(n, c.Base.AsInterface()), value(n, c.Candidate.AsInterface()), c.GetDelta())
		rows, cols = append(rows, r), append(cols, k)
	}
	rows, cols = span(rows), span(cols)
	whole := def != nil && o.Candidate != nil
	var x, y []float64
	var d *surface.Decoded
	if whole {
		d = surface.Decode(def, o.Candidate)
		x, y = d.X, d.Y
		if o.Table == t.Id {
			rows, cols = indexes(d.NY), indexes(d.NX)
		}
	}
	fill := func(r, c int) cell {
		if v, ok := at[[2]int{r, c}]; ok {
			return v
		}
		if d == nil || d.Values == nil {
			return cell{"·", 0}
		}
		return cell{n.text(d.Values[r*d.NX+c]), 0}
	}
	writeGrid(b, def, pick(x, cols), pick(y, rows), len(rows), len(cols), func(r, c int) cell { return fill(rows[r], cols[c]) }, o.width())
	if folded := int(t.Cells) - len(rows)*len(cols); folded > 0 {
		fmt.Fprintf(b, "  %s outside this block: unchanged\n", plural(folded, "cell"))
	}
}

// span is every index from the least to the greatest.
func span(at []int) []int {
	lo, hi := slices.Min(at), slices.Max(at)
	out := make([]int, 0, hi-lo+1)
	for i := lo; i <= hi; i++ {
		out = append(out, i)
	}
	return out
}

func indexes(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func pick(points []float64, at []int) []float64 {
	if points == nil {
		return nil
	}
	out := make([]float64, len(at))
	for i, k := range at {
		out[i] = points[k]
	}
	return out
}

func value(n decimals, v any) string {
	switch v := v.(type) {
	case float64:
		return n.text(v)
	case string:
		return v
	}
	return fmt.Sprint(v)
}

// writeSurface prints both tables on the joined breakpoints.
func writeSurface(b *strings.Builder, t *calibrationv1.TableReport, def *definition.Table, o *Options) {
	s, n := t.Surface, numbers(def)
	if n >= 0 {
		n = min(n+1, 6) // a value between breakpoints needs a digit more than a raw step
	}
	writeGrid(b, def, s.X, s.Y, len(s.Base), len(s.Base[0].Values), func(r, c int) cell {
		base, candidate := s.Base[r].Values[c], s.Candidate[r].Values[c]
		bt, ct := value(n, base.AsInterface()), value(n, candidate.AsInterface())
		if bt == ct {
			return cell{bt, 0}
		}
		return change(bt, ct, candidate.GetNumberValue()-base.GetNumberValue())
	}, o.width())
}

// writeGrid prints rows and columns with their breakpoints, in blocks of columns that fit the width.
func writeGrid(b *strings.Builder, def *definition.Table, x, y []float64, rows, cols int, at func(r, c int) cell, width int) {
	heads, sides := breakpoints(x, cols), breakpoints(y, rows)
	wide := 0
	for r := range rows {
		for c := range cols {
			wide = max(wide, lipgloss.Width(at(r, c).text), len(heads[c]))
		}
	}
	side := 0
	for _, s := range sides {
		side = max(side, len(s))
	}
	if def != nil && def.X != nil {
		fmt.Fprintf(b, "  across: %s", inUnit(def.X.Quantity, def.X.Unit))
		if def.Y != nil {
			fmt.Fprintf(b, "; down: %s", inUnit(def.Y.Quantity, def.Y.Unit))
		}
		fmt.Fprintln(b)
	}
	block := max(1, (width-4-side)/(wide+2))
	for from := 0; from < cols; from += block {
		to := min(cols, from+block)
		if x != nil {
			fmt.Fprintf(b, "  %*s", side, "")
			for c := from; c < to; c++ {
				fmt.Fprintf(b, "  %s", bold.Render(fmt.Sprintf("%*s", wide, heads[c])))
			}
			fmt.Fprintln(b)
		}
		for r := range rows {
			fmt.Fprintf(b, "  %s", bold.Render(fmt.Sprintf("%*s", side, sides[r])))
			for c := from; c < to; c++ {
				fmt.Fprintf(b, "  %s", at(r, c).render(wide))
			}
			fmt.Fprintln(b)
		}
	}
}

// inUnit is a quantity in words, with what it is counted in.
func inUnit(quantity, unit string) string {
	if quantity = inWords(quantity); unit == "" || unit == "1" {
		return quantity
	}
	return quantity + " in " + unit
}

// inWords is the name of a quantity as it is said.
func inWords(quantity string) string { return strings.ReplaceAll(plainText(quantity), "_", " ") }

func breakpoints(p []float64, n int) []string {
	out := make([]string, n)
	for i := range p {
		out[i] = fine(p[i])
	}
	return out
}

func (c cell) render(wide int) string {
	pad := strings.Repeat(" ", max(0, wide-lipgloss.Width(c.text)))
	switch c.sign {
	case 1:
		return pad + up.Render(c.text)
	case -1:
		return pad + down.Render(c.text)
	}
	return pad + c.text
}

// WriteTable prints one table of an image whole, on its breakpoints.
func WriteTable(w io.Writer, t *definition.Table, img []byte, width int) error {
	var b strings.Builder
	d, n := surface.Decode(t, img), numbers(t)
	fmt.Fprintf(&b, "%s  %s\n%s, %s", bold.Render(t.ID), plainText(t.Title), t.Kind, plural(d.NX*d.NY, "cell"))
	if t.Unit != "" && t.Unit != "1" {
		fmt.Fprintf(&b, ", in %s", t.Unit)
	}
	fmt.Fprintln(&b)
	writeGrid(&b, t, d.X, d.Y, d.NY, d.NX, func(r, c int) cell {
		i := r*d.NX + c
		if t.Cells.Conv.Labels != nil {
			return cell{plainText(t.Cells.Conv.Label(t.Cells.Int(d.Bits[i]))), 0}
		}
		return cell{n.text(d.Values[i]), 0}
	}, width)
	_, err := lipgloss.Fprint(w, b.String())
	return err
}
