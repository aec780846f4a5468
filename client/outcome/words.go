package outcome

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode"
)

// WriteText prints the outcome for a terminal: what was gained first.
func (o *Outcome) WriteText(out io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\noutcome of job %d, car %s\n", o.Says(), o.Job.GetNumber(), o.Plate())
	if o.Gain != nil {
		w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
		fmt.Fprintf(w, "%s\tbefore\tafter\tgain\t\n", o.MeasuredAt())
		for _, r := range o.Rows() {
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", r.What, r.Before, r.After, r.Gain, r.Note)
		}
		if err := w.Flush(); err != nil {
			return err
		}
		fmt.Fprintf(&b, "%s\n", o.Band())
	}
	fmt.Fprintf(&b, "%s\n", o.Corrected)
	for _, n := range o.Notes {
		fmt.Fprintf(&b, "note: %s\n", n)
	}
	fmt.Fprintln(&b)
	for _, m := range o.Runs {
		fmt.Fprintf(&b, "%s: %s\n", m.Name, m.About())
		for _, r := range m.Remarks {
			fmt.Fprintf(&b, "  doubt: %s\n", r.Text)
		}
	}
	fmt.Fprintf(&b, "\n%s\n", o.About)
	for _, c := range o.Changed {
		fmt.Fprintf(&b, "  %s  %s: %s\n", c.ID, c.Title, c.What)
	}
	fmt.Fprintf(&b, "%s\n\n", o.InCar)
	for _, c := range Cautions {
		fmt.Fprintf(&b, "caution: %s\n", c)
	}
	_, err := io.WriteString(out, plain(b.String()))
	return err
}

// Says is what was gained, in one sentence.
func (o *Outcome) Says() string {
	if o.Gain == nil {
		return "before against after: " + o.NoGain
	}
	return o.Gain.Verdict
}

// Band says over which speeds the means are taken, how many runs there are, and what could have been shown.
func (o *Outcome) Band() string { return o.Gain.Band() }

// About says what a run holds.
func (m *Measured) About() string {
	of := ""
	if m.Map != "" {
		of = "of " + m.Map + ", "
	}
	if m.Curve == nil {
		return of + "no curve: " + m.Why
	}
	return of + fmt.Sprintf("%.0f to %.0f 1/min in %.1f s, %d points, %s%s", m.Sweep.Low, m.Sweep.High,
		m.Sweep.Until-m.Sweep.Begin, len(m.Curve.Raw), place(m.Curve.Place), m.corrected())
}

// plain takes out what could steer a terminal: notes are other people's words.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || unicode.IsPrint(r) {
			return r
		}
		return '�'
	}, s)
}
