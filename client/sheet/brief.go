package sheet

import (
	"fmt"
	"io"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
	"witnessmark/tables/definition"
)

// A brief difference shows so many tables, and of each so many cells.
const (
	fewTables = 8
	fewCells  = 6
)

// WriteBrief prints in some lines how two images differ: of each table how many cells and how far, and its first
// cells; of what is further down only how much it is. Title says which two they are.
func WriteBrief(w io.Writer, r *calibrationv1.Report, title string, o Options) error {
	r = plainReport(r)
	b := paperFor(w)
	fmt.Fprintf(b, "%s: %s\n", bold.Render(plainText(title)), differing(r))
	for i, t := range r.Tables {
		if i == fewTables && len(r.Tables) > fewTables+1 {
			fmt.Fprintf(b, "  and %d tables more\n", len(r.Tables)-fewTables)
			break
		}
		def := o.table(t.Id)
		fmt.Fprintf(b, "  %s  %d of %s%s", bold.Render(t.Id), t.Changed, plural(int(t.Cells), "cell"), before(", in", unit(def)))
		if d := t.Delta; d != nil {
			fmt.Fprintf(b, ", %s", spread(numbers(def), d.Min, d.Max))
		}
		if t.AxesChanged {
			fmt.Fprint(b, "; breakpoints changed")
		}
		fmt.Fprintln(b)
		writeFirst(b, t, def)
	}
	return b.done()
}

// writeFirst prints the first changed cells of a table, each with its place in words.
func writeFirst(b *paper, t *calibrationv1.TableReport, def *definition.Table) {
	cells := b.changesOf(t)
	n := b.number(numbers(def))
	for i, c := range cells.All() {
		if i == fewCells && cells.Len() > fewCells+1 {
			fmt.Fprintf(b, "    and %d more\n", cells.Len()-fewCells)
			return
		}
		var at []string
		for k, p := range []changed.Place{c.X(), c.Y()} {
			switch a := Axis(def, k); {
			case p.Named:
				at = append(at, Named(a, Side(k))+" "+plainText(p.Label))
			case p.Given:
				at = append(at, point.Along(a, Side(k), p.Point))
			}
		}
		at = append(at, point.slice(def, cells.Slice(c.Slice))...)
		b.grid.clear()
		b.grid.change(n, c.Base(), c.Candidate(), c.Delta, false)
		fmt.Fprintf(b, "    %s", strings.Join(at, ", "))
		b.grid.write(b, 0, b.grid.cells[0].wide)
		fmt.Fprintln(b)
	}
}

// WriteTitle prints a line that is found again among others.
func WriteTitle(w io.Writer, text string) error {
	b := paperFor(w)
	fmt.Fprintln(b, bold.Render(plainText(text)))
	return b.done()
}

// WriteShout prints a line that nobody may overlook, under a signal word.
func WriteShout(w io.Writer, severity, text string) error {
	b := paperFor(w)
	fmt.Fprintf(b, "\n%s  %s\n\n", Word(severity), bold.Render(plainText(text)))
	return b.done()
}
