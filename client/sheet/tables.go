package sheet

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"charm.land/lipgloss/v2"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
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
	fmt.Fprintf(b, "\n  %s\n  ", head(t.Id, def))
	if t.Kind == "text" {
		writeText(b, t, o)
		return
	}
	fmt.Fprintf(b, "%s, %d of %s changed%s", t.Kind, t.Changed, plural(int(t.Cells), "cell"), before(", in", unit(def)))
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
func writeText(b *strings.Builder, t *calibrationv1.TableReport, o *Options) {
	fmt.Fprintln(b, "text")
	for _, c := range objects(t) {
		fmt.Fprintf(b, "  base       %s\n  candidate  %s\n", quoted(c.Base), quoted(c.Candidate))
	}
	if !o.unjudged {
		fmt.Fprintf(b, "  judged by %s\n", judged(t.JudgedBy))
	}
}

func quoted(v *structpb.Value) string { return strconv.Quote(v.GetStringValue()) }

// writeSlice heads a slice of a block.
func writeSlice(b *strings.Builder, t *definition.Table, s *calibrationv1.Slice) {
	if words := point.slice(t, s); len(words) > 0 {
		fmt.Fprintf(b, "  %s\n", bold.Render(strings.Join(words, ", ")))
	}
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

// writeChanges prints, of each slice that changed, the least rectangle of rows and columns that holds its changes.
func writeChanges(b *strings.Builder, t *calibrationv1.TableReport, def *definition.Table, o *Options) {
	var whole *surface.Decoded
	if def != nil && o.Candidate != nil {
		if whole = surface.Decode(def, o.Candidate); whole.Astray != nil {
			whole = nil
		}
	}
	printed := 0
	all := objects(t)
	for from := 0; from < len(all); {
		slice, to := all[from].Slice, from+1
		for to < len(all) && slices.Equal(all[to].Slice.GetIndex(), slice.GetIndex()) {
			to++
		}
		d := sliceOf(whole, slice)
		writeSlice(b, def, slice)
		printed += writeRectangle(b, all[from:to], def, d, o, o.Table == t.Id)
		from = to
	}
	if folded := int(t.Cells) - printed; folded > 0 && printed > 0 {
		fmt.Fprintf(b, "  %s outside of this: unchanged\n", plural(folded, "cell"))
	}
}

// objects are a table's changed cells; none where its report does not say them.
func objects(t *calibrationv1.TableReport) (out []*calibrationv1.CellChange) {
	cells, err := changed.Of(t)
	if err != nil {
		return nil
	}
	for _, c := range cells.All() {
		out = append(out, c.Object())
	}
	return out
}

// sliceOf is the part of a decoded table that a report's slice names; the table itself where it names none.
func sliceOf(d *surface.Decoded, slice *calibrationv1.Slice) *surface.Decoded {
	if d == nil || d.Slices == nil {
		return d
	}
	for _, s := range d.Slices {
		same := len(slice.GetIndex()) == len(s.Table.Slice.Index)
		for i, at := range slice.GetIndex() {
			same = same && int(at) == s.Table.Slice.Index[i]
		}
		if same {
			return s
		}
	}
	return nil
}

// writeRectangle prints changes of one x and y grid, all of it where that is asked for, and says how many cells it printed.
func writeRectangle(b *strings.Builder, changes []*calibrationv1.CellChange, def *definition.Table, d *surface.Decoded, o *Options, all bool) int {
	n := numbers(def)
	at := map[[2]int]cell{}
	var rows, cols []int
	for _, c := range changes {
		r, k := int(c.Row), int(c.Column)
		at[[2]int{r, k}] = change(value(n, c.Base.AsInterface()), value(n, c.Candidate.AsInterface()), c.GetDelta())
		rows, cols = append(rows, r), append(cols, k)
	}
	rows, cols = span(rows), span(cols)
	var x, y []float64
	if d != nil {
		x, y = d.X, d.Y
		if all {
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
		return cell{cellText(n, d, r*d.NX+c), 0}
	}
	writeGrid(b, def, pick(x, cols), pick(y, rows), len(rows), len(cols), func(r, c int) cell { return fill(rows[r], cols[c]) }, o.width())
	return len(rows) * len(cols)
}

// cellText is a decoded cell: a number, a label, or a code that is no value.
func cellText(n decimals, d *surface.Decoded, i int) string {
	c := d.Table.Cells
	switch {
	case d.Off != nil && d.Off[i]:
		return NoValue
	case c.Conv.Labels != nil:
		return plainText(c.Conv.Label(c.Int(d.Bits[i])))
	}
	return n.text(d.Values[i])
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
func writeSurface(b *strings.Builder, s *calibrationv1.Surface, def *definition.Table, o *Options) {
	n := numbers(def)
	if n >= 0 {
		n = min(n+1, 6) // a value between breakpoints needs a digit more than a raw step
	}
	writeGrid(b, def, s.X, s.Y, len(s.Base), len(s.Base[0].Values), func(r, c int) cell {
		base, candidate := s.Base[r].Values[c], s.Candidate[r].Values[c]
		bt, ct := value(n, base.AsInterface()), value(n, candidate.AsInterface())
		if bt == ct {
			return cell{bt, 0}
		}
		_, was := base.GetKind().(*structpb.Value_NumberValue)
		if _, is := candidate.GetKind().(*structpb.Value_NumberValue); !was || !is {
			return change(bt, ct, 0)
		}
		return change(bt, ct, candidate.GetNumberValue()-base.GetNumberValue())
	}, o.width())
}

// WriteTable prints one table of an image whole, on its breakpoints.
func WriteTable(w io.Writer, t *definition.Table, img []byte, width int) error {
	var b strings.Builder
	d, n := surface.Decode(t, img), numbers(t)
	fmt.Fprintf(&b, "%s\n", head(t.ID, t))
	grid := func(d *surface.Decoded) {
		writeGrid(&b, t, d.X, d.Y, d.NY, d.NX, func(r, c int) cell { return cell{cellText(n, d, r*d.NX+c), 0} }, width)
	}
	switch {
	case d.Astray != nil:
		fmt.Fprintf(&b, "%s: %s\n", t.Kind, d.Astray.Problem)
	case t.Kind == "text":
		fmt.Fprintf(&b, "text of %s\n  %s\n", plural(len(d.TextBits), "byte"), strconv.Quote(d.Text))
	default:
		fmt.Fprintf(&b, "%s, %s%s\n", t.Kind, plural(len(d.Bits), "cell"), before(", in", unit(t)))
		for _, s := range d.Slices {
			fmt.Fprintf(&b, "  %s\n", bold.Render(strings.Join(point.Place(s.Table.Slice), ", ")))
			grid(s)
		}
		if d.Slices == nil {
			grid(d)
		}
	}
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
