package sheet

import (
	"cmp"
	"fmt"
	"io"
	"slices"
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

// writeFromAsFound says how far a table is from the one that the car first came with, where that is not what this changes.
func writeFromAsFound(b *strings.Builder, t *calibrationv1.TableReport, def *definition.Table) {
	f, d := t.FromAsFound, t.Delta
	if f == nil || f.Changed == t.Changed && f.GetMin() == d.GetMin() && f.GetMax() == d.GetMax() {
		return
	}
	n, u := numbers(def), unit(def)
	fmt.Fprintf(b, "  since the car first came: %d of %s", f.Changed, plural(int(t.Cells), "cell"))
	if f.Min != nil && f.Max != nil {
		fmt.Fprintf(b, ", %s to %s%s", signed(n, *f.Min), signed(n, *f.Max), u)
	}
	fmt.Fprintf(b, "; in this submission: %d", t.Changed)
	if d != nil {
		fmt.Fprintf(b, ", %s to %s%s", signed(n, d.Min), signed(n, d.Max), u)
	}
	fmt.Fprintln(b)
}
