package sheet

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
	"witnessmark/tables/definition"
	"witnessmark/tables/printed"
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

// unit is what a table's values are counted in, behind a blank.
func unit(t *definition.Table) string {
	if t == nil {
		return ""
	}
	return Unit(t.Unit, t.UnitText)
}

// head is what a table is called.
func head(id string, t *definition.Table) string {
	s := bold.Render(id)
	if t != nil {
		s += before("  ", plainText(t.Title))
		if t.KnownAs != "" && t.KnownAs != id {
			s += "  (" + plainText(t.KnownAs) + ")"
		}
	}
	return s
}

// writeTables prints each changed table; the one asked for whole, the others folded.
func writeTables(b *paper, r *calibrationv1.Report, o *Options) {
	if len(r.Tables) == 0 {
		return
	}
	fmt.Fprintln(b, "\n"+bold.Render("Changed tables"))
	through := throughSignals(r)
	for _, t := range r.Tables {
		if o.Table != "" && o.Table != t.Id {
			continue
		}
		writeTable(b, t, before("; through ", strings.Join(through[t.Id], "; ")), o)
	}
}

// writeTable prints one table, behind the rules that judge it those that do so through signals.
func writeTable(b *paper, t *calibrationv1.TableReport, through string, o *Options) {
	def := o.table(t.Id)
	fmt.Fprintf(b, "\n  %s\n  ", head(t.Id, def))
	if t.Kind == "text" {
		writeText(b, t, o)
		return
	}
	fmt.Fprintf(b, "%s, %d of %s changed%s", t.Kind, t.Changed, plural(int(t.Cells), "cell"), before(", in", unit(def)))
	if d := t.Delta; d != nil {
		n := numbers(def)
		fmt.Fprintf(b, "; change %s, mean %s", spread(n, d.Min, d.Max), plus(n.near(d.Mean), d.Mean))
	}
	fmt.Fprintln(b)
	switch {
	case t.Regridded:
		fmt.Fprintln(b, "  re-gridded: the breakpoints moved and the surface did not, to half a raw step")
	case t.AxesChanged:
		fmt.Fprintln(b, "  breakpoints changed: read the surface, not the index")
	}
	if !o.unjudged {
		fmt.Fprintf(b, "  judged by %s\n", judged(t.JudgedBy)+through)
	}
	writeFromAsFound(b, t, def)
	if a := t.Alignment; a != nil {
		writeAlignment(b, a)
	}
	switch {
	case t.Surface != nil:
		writeSurface(b, t.Surface, def, o)
	case len(t.Surfaces) > 0:
		for _, s := range t.Surfaces {
			writeSlice(b, def, s.Slice)
			writeSurface(b, s, def, o)
		}
	default:
		writeChanges(b, t, def, o)
	}
}

// writeText prints a text of both images.
func writeText(b *paper, t *calibrationv1.TableReport, o *Options) {
	fmt.Fprintln(b, "text")
	for _, c := range b.changesOf(t).All() {
		fmt.Fprintf(b, "  base       %q\n  candidate  %q\n", c.Base().Word, c.Candidate().Word)
	}
	if !o.unjudged {
		fmt.Fprintf(b, "  judged by %s\n", judged(t.JudgedBy))
	}
}

// writeSlice heads a slice of a block.
func writeSlice(b *paper, t *definition.Table, s *calibrationv1.Slice) {
	if words := point.slice(t, s); len(words) > 0 {
		fmt.Fprintf(b, "  %s\n", bold.Render(strings.Join(words, ", ")))
	}
}

func judged(by []string) string {
	return cmp.Or(strings.Join(by, ", "), "no rule of the limits")
}

// throughSignals says of each table which rules judge it by a signal that it goes into.
func throughSignals(r *calibrationv1.Report) map[string][]string {
	out := map[string][]string{}
	for _, g := range r.Signals {
		for _, table := range g.DependsOn {
			if len(g.JudgedBy) > 0 {
				out[table] = append(out[table], g.Id+": "+strings.Join(g.JudgedBy, ", "))
			}
		}
	}
	return out
}

func writeAlignment(b *paper, a *calibrationv1.Alignment) {
	for _, side := range []struct {
		name string
		at   []*calibrationv1.AlignedIndex
	}{{"column", a.X}, {"row", a.Y}} {
		for _, i := range side.at {
			fmt.Fprintf(b, "  %s %d (%s) is in the %s only\n", side.name, i.Index, fine(i.Point), i.Side)
		}
	}
}

// writeChanges prints, of each slice that changed, the least rectangle of rows and columns that holds its changes.
func writeChanges(b *paper, t *calibrationv1.TableReport, def *definition.Table, o *Options) {
	var whole *surface.Decoded
	if def != nil && o.Candidate != nil {
		if whole = surface.Decode(def, o.Candidate); whole.Astray != nil {
			whole = nil
		}
	}
	all, slice := b.changesOf(t), 0
	shown := 0
	b.cells = b.cells[:0]
	write := func() {
		if len(b.cells) == 0 {
			return
		}
		place := all.Slice(slice)
		writeSlice(b, def, place)
		shown += writeRectangle(b, def, sliceOf(whole, place), o, o.Table == t.Id)
		b.cells = b.cells[:0]
	}
	for _, c := range all.All() {
		if c.Slice != slice {
			write()
			slice = c.Slice
		}
		b.cells = append(b.cells, c)
	}
	write()
	if folded := int(t.Cells) - shown; folded > 0 && shown > 0 {
		fmt.Fprintf(b, "  %s outside of this: unchanged\n", plural(folded, "cell"))
	}
}

// changesOf are a table's changed cells; none, and the sheet fails, where its report contradicts itself.
func (p *paper) changesOf(t *calibrationv1.TableReport) *changed.Cells {
	cells, err := changed.Of(t)
	if err != nil {
		p.err = cmp.Or(p.err, err)
		return &changed.Cells{}
	}
	return cells
}

// sliceOf is the part of a decoded table that a report's slice names; the table itself where it names none.
func sliceOf(d *surface.Decoded, slice *calibrationv1.Slice) *surface.Decoded {
	if d == nil || d.Slices == nil {
		return d
	}
	at, step, axes := 0, 1, d.Table.Axes[2:]
	for k, i := range slice.GetIndex() {
		if k >= len(axes) || int(i) >= axes[k].Count {
			return nil
		}
		at, step = at+int(i)*step, step*axes[k].Count
	}
	return d.Slices[at]
}

// writeRectangle prints the changes at hand, which are of one x and y grid, all of it where that is asked for, and says how
// many cells it printed.
func writeRectangle(b *paper, def *definition.Table, d *surface.Decoded, o *Options, all bool) int {
	rows, cols := span{math.MaxInt, 0}, span{math.MaxInt, 0}
	for _, c := range b.cells {
		rows, cols = rows.with(c.Row), cols.with(c.Column)
	}
	var x, y []float64
	if d != nil {
		if all {
			rows, cols = span{0, d.NY}, span{0, d.NX}
		}
		x, y = cols.of(d.X), rows.of(d.Y)
	}
	wide := cols.to - cols.from
	b.at = slices.Grow(b.at[:0], (rows.to-rows.from)*wide)[:(rows.to-rows.from)*wide]
	for i := range b.at {
		b.at[i] = -1
	}
	for i, c := range b.cells {
		if rows.holds(c.Row) && cols.holds(c.Column) {
			b.at[(c.Row-rows.from)*wide+c.Column-cols.from] = int32(i)
		}
	}
	n := b.number(numbers(def))
	b.grid.clear()
	for i, at := range b.at {
		r, c := rows.from+i/wide, cols.from+i%wide
		switch {
		case at >= 0:
			one := b.cells[at]
			b.grid.change(n, one.Base(), one.Candidate(), one.Delta, false)
		case d == nil || d.Values == nil || r >= d.NY || c >= d.NX:
			b.grid.add("·")
		default:
			b.grid.decoded(n, d, r*d.NX+c)
		}
	}
	writeGrid(b, def, x, y, wide, o.width())
	return len(b.at)
}

// span is indices, to excluded.
type span struct{ from, to int }

func (s span) with(at int) span { return span{min(s.from, at), max(s.to, at+1)} }

func (s span) holds(at int) bool { return s.from <= at && at < s.to }

// of is its part of an axis; nil of one that does not reach so far.
func (s span) of(points []float64) []float64 {
	if s.to > len(points) {
		return nil
	}
	return points[s.from:s.to]
}

// decoded puts a decoded cell: a number, a label, or a code that is no value.
func (g *grid) decoded(n *printed.Numbers, d *surface.Decoded, i int) {
	c := d.Table.Cells
	switch {
	case d.Off != nil && d.Off[i]:
		g.add(NoValue)
	case c.Conv.Labels != nil:
		g.add(plainText(c.Conv.Label(c.Int(d.Bits[i]))))
	default:
		g.number(n, d.Values[i])
	}
}

// writeSurface prints both tables on the joined breakpoints.
func writeSurface(b *paper, s *calibrationv1.Surface, def *definition.Table, o *Options) {
	d := numbers(def)
	if d >= 0 {
		d = min(d+1, 6) // a value between breakpoints needs a digit more than a raw step
	}
	n := b.number(d)
	b.grid.clear()
	for r, row := range s.Base {
		for c, was := range row.Values {
			base, candidate := valueIn(was), valueIn(s.Candidate[r].Values[c])
			delta := 0.0
			if base.Is == changed.Number && candidate.Is == changed.Number {
				delta = candidate.Number - base.Number
			}
			b.grid.change(n, base, candidate, delta, true)
		}
	}
	writeGrid(b, def, s.X, s.Y, len(s.Base[0].Values), o.width())
}

// valueIn is a value of a surface; what is not finite is a word there.
func valueIn(v *structpb.Value) changed.Value {
	switch k := v.GetKind().(type) {
	case *structpb.Value_NumberValue:
		return changed.Value{Is: changed.Number, Number: k.NumberValue}
	case *structpb.Value_StringValue:
		return changed.Value{Is: changed.Word, Word: k.StringValue}
	}
	return changed.Value{}
}

// WriteTable prints one table of an image whole, on its breakpoints.
func WriteTable(w io.Writer, t *definition.Table, img []byte, width int) error {
	b := paperFor(w)
	d, n := surface.Decode(t, img), b.number(numbers(t))
	fmt.Fprintf(b, "%s\n", head(t.ID, t))
	grid := func(d *surface.Decoded) {
		b.grid.clear()
		for i := range d.NY * d.NX {
			b.grid.decoded(n, d, i)
		}
		writeGrid(b, t, d.X, d.Y, d.NX, width)
	}
	switch {
	case d.Astray != nil:
		fmt.Fprintf(b, "%s: %s\n", t.Kind, d.Astray.Problem)
	case t.Kind == "text":
		fmt.Fprintf(b, "text of %s\n  %s\n", plural(len(d.TextBits), "byte"), strconv.Quote(d.Text))
	default:
		fmt.Fprintf(b, "%s, %s%s\n", t.Kind, plural(len(d.Bits), "cell"), before(", in", unit(t)))
		for _, s := range d.Slices {
			fmt.Fprintf(b, "  %s\n", bold.Render(strings.Join(point.Place(s.Table.Slice), ", ")))
			grid(s)
		}
		if d.Slices == nil {
			grid(d)
		}
	}
	return b.done()
}

// writeFromAsFound says how far a table is from the one that the car first came with, where that is not what this changes.
func writeFromAsFound(b *paper, t *calibrationv1.TableReport, def *definition.Table) {
	f, d := t.FromAsFound, t.Delta
	if f == nil || f.Changed == t.Changed && f.GetMin() == d.GetMin() && f.GetMax() == d.GetMax() {
		return
	}
	n, u := numbers(def), unit(def)
	fmt.Fprintf(b, "  since the car first came: %d of %s", f.Changed, plural(int(t.Cells), "cell"))
	if f.Min != nil && f.Max != nil {
		fmt.Fprintf(b, ", %s%s", spread(n, *f.Min, *f.Max), u)
	}
	fmt.Fprintf(b, "; in this submission: %d", t.Changed)
	if d != nil {
		fmt.Fprintf(b, ", %s%s", spread(n, d.Min, d.Max), u)
	}
	fmt.Fprintln(b)
}
