package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
	"witnessmark/tables/definition"
	"witnessmark/tables/run"
)

// Visit is a changed cell and the time that the runs spent in it: bilinear weights times time.
type Visit struct {
	Table   *definition.Table
	Change  changed.Cell
	Seconds float64
}

// Visited is what runs say about a report's changed tables.
type Visited struct {
	Runs    int
	Cells   []Visit // changed cells that were visited, longest first
	Unseen  int     // changed cells that were not, in tables whose axes are channels
	Outside []string
	Untold  []string // tables whose axes the runs did not record, and which
}

// Visits works out where the runs were in the changed tables, on the candidate's breakpoints.
func Visits(r *calibrationv1.Report, lay *definition.Layout, candidate []byte, runs []*run.Run) *Visited {
	if len(runs) == 0 {
		return nil
	}
	v := &Visited{Runs: len(runs)}
	for _, t := range r.Tables {
		if def := lay.ByID[t.Id]; def != nil && def.X != nil {
			v.table(t, def, candidate, runs)
		}
	}
	slices.SortStableFunc(v.Cells, func(a, b Visit) int { return cmp.Compare(b.Seconds, a.Seconds) })
	return v
}

func (v *Visited) table(t *calibrationv1.TableReport, def *definition.Table, candidate []byte, runs []*run.Run) {
	var seconds []float64
	var outside, total float64
	var below, above [2]float64
	for _, r := range runs {
		d, err := run.DwellIn(r, def, candidate)
		if err != nil {
			v.Untold = append(v.Untold, fmt.Sprintf("%s: %v", def.ID, err))
			return
		}
		if def = d.Table; seconds == nil {
			seconds = make([]float64, len(d.Seconds))
		}
		for i, s := range d.Seconds {
			seconds[i] += s
		}
		outside, total = outside+d.Outside, total+d.Total
		for i := range 2 {
			below[i], above[i] = below[i]+d.Below[i], above[i]+d.Above[i]
		}
	}
	cells, err := changed.Of(t)
	if err != nil {
		return // which the sheet says
	}
	for _, c := range cells.All() {
		i := c.Row*def.Cells.NX + c.Column
		if i < len(seconds) && seconds[i] > 0 {
			v.Cells = append(v.Cells, Visit{def, c, seconds[i]})
		} else {
			v.Unseen++
		}
	}
	if outside > 0 {
		v.Outside = append(v.Outside, fmt.Sprintf("%s: %s of %s outside its axes%s", def.ID, secs(outside), secs(total), ends(def, below, above)))
	}
}

// place is where it lies, in words.
func (v *Visit) place() string {
	o := v.Change.Object()
	return plainText(point.Where(v.Table, o, o.X, o.Y))
}

func (v *Visit) value(c changed.Value) string {
	return plainText(string(appendValue(nil, numbers(v.Table), c)))
}

// ends names the ends of the axes that were left, and for how long.
func ends(t *definition.Table, below, above [2]float64) string {
	var s []string
	for i, a := range [2]*definition.Axis{t.X, t.Y} {
		if a == nil {
			continue
		}
		name := Named(a, Side(i))
		if below[i] > 0 {
			s = append(s, fmt.Sprintf("%s below its first %s", name, secs(below[i])))
		}
		if above[i] > 0 {
			s = append(s, fmt.Sprintf("%s above its last %s", name, secs(above[i])))
		}
	}
	if len(s) == 0 {
		return ""
	}
	return " (" + strings.Join(s, ", ") + ")"
}

func secs(s float64) string { return fmt.Sprintf("%.2f s", s) }

// shownVisits bounds the list: a reviewer reads where the engine was longest.
const shownVisits = 24

// writeVisited prints where the runs were, longest first.
func writeVisited(b *paper, v *Visited) {
	if v == nil {
		return
	}
	fmt.Fprintln(b, "\n"+bold.Render("Changed cells that the run visited")+fmt.Sprintf("  (%s, longest first)", plural(v.Runs, "run")))
	for _, c := range v.Cells[:min(len(v.Cells), shownVisits)] {
		sign := ""
		if c.Change.HasDelta {
			sign = "  (" + signed(numbers(c.Table), c.Change.Delta) + unit(c.Table) + ")"
		}
		fmt.Fprintf(b, "  %9s  %-20s %s: %s→%s%s\n", secs(c.Seconds), c.Table.ID, c.place(), c.value(c.Change.Base()), c.value(c.Change.Candidate()), sign)
	}
	if more := len(v.Cells) - shownVisits; more > 0 {
		fmt.Fprintf(b, "  and %s more, each visited for less\n", plural(more, "cell"))
	}
	if v.Unseen > 0 {
		fmt.Fprintf(b, "  %s changed and not visited: the run says nothing about them\n", plural(v.Unseen, "cell"))
	}
	for _, s := range v.Outside {
		fmt.Fprintf(b, "  %s, where it is held at its last value\n", plainText(s))
	}
	for _, s := range v.Untold {
		fmt.Fprintf(b, "  not told: %s\n", plainText(s))
	}
}
