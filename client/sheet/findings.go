package sheet

import (
	"cmp"
	"fmt"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
)

// writeUnjudged names what nothing looked at, which is not the same as clear.
func writeUnjudged(b *paper, r *calibrationv1.Report) {
	var lines []string
	for _, f := range r.Findings {
		if f.Rule == "no-limit" {
			lines = append(lines, fmt.Sprintf("%s: %s", cmp.Or(f.Table, f.Signal), cmp.Or(f.Detail, f.Reason)))
		}
	}
	for _, u := range r.Unjudged {
		what := cmp.Or(u.Table, u.Signal)
		if u.Rule != "" { // without one it is no rule that could not look
			what += " by " + u.Rule
		}
		lines = append(lines, what+": "+u.Reason)
	}
	if len(lines) == 0 {
		return
	}
	fmt.Fprintln(b, "\n"+bold.Render("Not judged"))
	for _, l := range lines {
		fmt.Fprintln(b, "  "+l)
	}
}

// writeFindings prints them in the report's order: what counts first, worst first.
func writeFindings(b *paper, r *calibrationv1.Report, o *Options) {
	if len(r.Findings) == 0 {
		return
	}
	fmt.Fprintln(b, "\n"+bold.Render("Findings"))
	for _, f := range r.Findings {
		fmt.Fprintf(b, "  %s %s", Word(f.Severity), compare.Key(f))
		if f.Origin != "" {
			fmt.Fprintf(b, "  (%s)", f.Origin)
		}
		fmt.Fprintln(b)
		if s := worst(f, o); s != "" {
			fmt.Fprintf(b, "      %s\n", s)
		}
		if f.Detail != "" {
			fmt.Fprintf(b, "      %s\n", f.Detail)
		}
		for _, u := range f.Ranges {
			fmt.Fprintf(b, "      %s to %s: %s in %s\n", u.Start, u.End, plural(int(u.Bytes), "byte"), u.Content)
		}
		if f.Reason != "" {
			fmt.Fprintf(b, "      why: %s\n", f.Reason)
		}
		if f.Source != "" {
			fmt.Fprintf(b, "      source: %s\n", f.Source)
		}
	}
}

// worst says what was found against what is allowed, and at which operating point.
func worst(f *calibrationv1.Finding, o *Options) string {
	p := f.Worst
	if p == nil {
		return ""
	}
	m := o.measured(f.Table, f.Signal, p.GetAlong())
	at := point.Where(o.table(f.Table), p, p.X, p.Y)
	if m.signal != nil {
		at = o.Operating(m.signal, p.Inputs)
	}
	var s []string
	say := func(format string, args ...any) { s = append(s, fmt.Sprintf(format, args...)) }
	switch {
	case m.signal != nil && p.Value != nil:
		say("%s %s%s%s", called(m.signal), m.near(*p.Value), m.unit, before(" at ", at))
	case p.Value != nil:
		say("found %s%s", m.near(*p.Value), m.unit)
	}
	if p.Limit != nil {
		say("allowed %s%s, beyond by %s", m.near(*p.Limit), m.unit, m.near(p.Excess))
	}
	if at != "" && (m.signal == nil || p.Value == nil) {
		say("at %s", at)
	}
	if p.Bound != nil && *p.Bound > p.Excess {
		say("nowhere beyond by more than %s", m.near(*p.Bound))
	}
	if f.Count > 1 {
		say("worst of %d points", f.Count)
	}
	if m.signal != nil && len(m.signal.Tables) > 0 {
		say("computed from %s", tablesOf(m.signal))
	}
	return strings.Join(s, "; ")
}

// before puts a word before what is not empty.
func before(word, s string) string {
	if s == "" {
		return ""
	}
	return word + s
}

// measured is how a finding's values are written: those of a signal, of a table, or of the axis that they lie along.
type measured struct {
	decimals
	unit   string
	signal *definition.Signal
}

func (o *Options) measured(table, signal, axis string) measured {
	if s := o.signal(signal); s != nil {
		return measured{o.signalDigits(s), Unit(s.Unit, ""), s}
	}
	t := o.table(table)
	if t != nil {
		if a := map[string]*definition.Axis{"x": t.X, "y": t.Y}[axis]; a != nil {
			return measured{stored(a.Cells), axisUnit(a), nil}
		}
	}
	return measured{numbers(t), unit(t), nil}
}

func axisUnit(a *definition.Axis) string {
	if a == nil {
		return ""
	}
	return Unit(a.Unit, a.UnitText)
}

// margin is where there is least room: never on an axis of labels.
type margin struct{ *calibrationv1.Margin }

func (margin) GetXLabel() string { return "" }
func (margin) GetYLabel() string { return "" }

func writeMargins(b *paper, r *calibrationv1.Report, o *Options) {
	if len(r.Margins) == 0 {
		return
	}
	fmt.Fprintln(b, "\n"+bold.Render("Margins left"))
	for _, g := range r.Margins {
		m := o.measured(g.Table, g.Signal, "")
		at, of := point.Where(o.table(g.Table), margin{g}, g.X, g.Y), ""
		if m.signal != nil {
			at, of = o.Operating(m.signal, g.Inputs), called(m.signal)+" "
		}
		fmt.Fprintf(b, "  %-36s %s%s%s: %s%s against %s\n", g.Rule+":"+cmp.Or(g.Table, g.Signal), m.near(g.Margin), m.unit, before(" at ", at),
			of, m.near(g.Value), m.near(g.Limit))
	}
}
