// Package sheet writes reports and tables as text for a person to read: the verdict first,
// then the findings, then what changed.
package sheet

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"charm.land/lipgloss/v2"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// Options is what a sheet may show beyond the report itself.
type Options struct {
	Layout          *definition.Layout // of the base, and of the candidate unless it has its own
	CandidateLayout *definition.Layout
	Base, Candidate []byte // flat images; without them unchanged cells show as a dot
	Width           int    // columns of the terminal; 0 is 100
	Table           string // show this table whole; empty folds what did not change
	Heading         []string
	OnePerson       bool     // a workshop where an author may sign their own
	Visited         *Visited // where runs were; nil where none is given

	unjudged bool // limits have nothing to say of it
	holes    []*calibrationv1.Hole
}

func (o *Options) width() int {
	if o.Width <= 0 {
		return 100
	}
	return max(o.Width, 40)
}

// candidateLayout is where the candidate's tables are.
func (o *Options) candidateLayout() *definition.Layout {
	if o.CandidateLayout != nil {
		return o.CandidateLayout
	}
	return o.Layout
}

// Signal words keep the colours of ANSI Z535.6, and always stand as words too.
var severityStyle = map[string]ink{
	"danger":  inkOf(lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Color("#ffffff")).Background(lipgloss.Color("#c8102e"))),
	"warning": inkOf(lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Color("#000000")).Background(lipgloss.Color("#ff8200"))),
	"caution": inkOf(lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Color("#000000")).Background(lipgloss.Color("#ffd100"))),
	"notice":  inkOf(lipgloss.NewStyle().Bold(true).Foreground(lipgloss.Color("#ffffff")).Background(lipgloss.Color("#0057b8"))),
	"clear":   inkOf(lipgloss.NewStyle().Bold(true)),
}

var (
	bold = inkOf(lipgloss.NewStyle().Bold(true))
	up   = inkOf(lipgloss.NewStyle().Foreground(lipgloss.Color("#0f8b80"))) // teal
	down = inkOf(lipgloss.NewStyle().Foreground(lipgloss.Color("#a0651e"))) // brown
)

// Word prints a severity or verdict as its signal word.
func Word(severity string) string {
	return severityStyle[severity].Render(" " + strings.ToUpper(severity) + " ")
}

// Write prints the sheet of a report. Colour is dropped where w is not a terminal or NO_COLOR is set.
func Write(w io.Writer, r *calibrationv1.Report, o Options) error {
	r, o.holes = plainReport(r), r.Holes
	b := paperFor(w)
	for _, line := range o.Heading {
		fmt.Fprintln(b, plainText(line))
	}
	writeVerdict(b, r, &o)
	writeUnjudged(b, r)
	writeFindings(b, r, &o)
	writeTables(b, r, &o)
	writeSignals(b, r, &o)
	writeVisited(b, o.Visited)
	writeMargins(b, r, &o)
	writeAccount(b, r)
	return b.done()
}

// writeVerdict says the worst severity, what it asks for, and what was compared.
func writeVerdict(b *paper, r *calibrationv1.Report, o *Options) {
	counting, inherited := 0, 0
	for _, f := range r.Findings {
		if f.Origin == "inherited" {
			inherited++
		} else {
			counting++
		}
	}
	fmt.Fprintf(b, "Verdict  %s  %s", Word(r.Verdict), plural(counting, "finding"))
	if inherited > 0 {
		fmt.Fprintf(b, ", and %d already in the base", inherited)
	}
	fmt.Fprintln(b)
	if r.Base != nil {
		fmt.Fprintf(b, "         %s\n", o.asks(r.Verdict))
		fmt.Fprintf(b, "base        sha256 %s\n", r.Base.Sha256)
	}
	fmt.Fprintf(b, "candidate   sha256 %s\n", r.Candidate.GetSha256())
	if r.AsFound != nil {
		fmt.Fprintf(b, "first came  sha256 %s\n", r.AsFound.Sha256)
	}
	fmt.Fprintf(b, "definition  %s\n", document(r.Definition))
	if r.DefinitionCandidate != nil {
		fmt.Fprintf(b, "            %s (the candidate's)\n", document(r.DefinitionCandidate))
	}
	if r.Limits != nil {
		fmt.Fprintf(b, "limits      %s\n", document(r.Limits))
	} else {
		fmt.Fprintln(b, "limits      none given: only the always-on rules looked")
	}
	if r.Run != nil {
		fmt.Fprintf(b, "run         sha256 %s\n", r.Run.Sha256)
	}
	if r.Meant != nil {
		fmt.Fprintf(b, "meant       %s\n", cmp.Or(strings.Join(r.Meant.Tables, ", "), "none"))
	}
}

// asks is what each verdict needs before the file can go to a car.
var asks = map[string]string{
	"clear":   "a calibrator or lead other than its author may sign it off",
	"notice":  "a calibrator or lead other than its author may sign it off",
	"caution": "a calibrator or lead other than its author may sign it off",
	"warning": "a lead other than its author must sign it off, with a reason for each warning",
	"danger":  "nobody can sign it off: it is returned, or the limits get a new revision",
}

func (o *Options) asks(verdict string) string {
	if o.OnePerson {
		return strings.Replace(asks[verdict], " other than its author", " (in this one-person workshop its author too, with a reason)", 1)
	}
	return asks[verdict]
}

func document(d *calibrationv1.DocumentRef) string {
	if d == nil {
		return "none"
	}
	return fmt.Sprintf("%s  sha256 %s", d.Name, d.Sha256)
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// writeAccount ends the sheet with the bytes, so that nothing differs unseen.
func writeAccount(b *paper, r *calibrationv1.Report) {
	if r.Bytes != nil && r.Base != nil {
		c := r.Bytes
		fmt.Fprintf(b, "\n%s %s differ: %d in tables and axes, %d identity, %d checksum, %d volatile, %d unmapped\n", bold.Render("Bytes"),
			grouped(c.Differing), c.Mapped, c.Identity, c.Checksum, c.Volatile, c.Unmapped)
	}
	for _, u := range r.Unmapped {
		fmt.Fprintf(b, "  unmapped %s to %s: %s in %s\n", u.Start, u.End, plural(int(u.Bytes), "byte"), u.Content)
	}
	for _, h := range r.Holes {
		fmt.Fprintf(b, "  the %s lacks %s to %s: not compared\n", h.Side, h.Start, h.End)
	}
	for _, c := range r.Checksums {
		state := "right"
		if !c.CandidateOk {
			state = fmt.Sprintf("wrong: stored %s, computed %s", c.Stored, c.Computed)
		}
		fmt.Fprintf(b, "  checksum %s: %s\n", c.Id, state)
	}
	for _, f := range r.Identity {
		state := "matches"
		if !f.Match {
			state = "does not match"
		}
		if f.Candidate != nil {
			state += fmt.Sprintf(" (%s)", *f.Candidate)
		} else {
			state += " (private: not shown)"
		}
		fmt.Fprintf(b, "  identity %s: %s\n", f.Id, state)
	}
}
