package sheet

import (
	"cmp"
	"fmt"
	"io"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Since is a submission held against another of its job.
type Since struct {
	Was, Is               string // their names
	WasVerdict, IsVerdict string
	Gone, New, Worse      []Step
	Better, Same          []Step
	Changed               *calibrationv1.Report // of the two images, that of Was as its base
	Image                 []byte                // of Was
}

// Step is what became of a finding; Was is nil of a new one, Is of one that is gone.
type Step struct {
	Key     string
	Was, Is *calibrationv1.Finding
}

// WriteSince prints what became of a submission's findings since another of its job, and the cells that
// differ between the two. The options are those of Is's own sheet.
func WriteSince(w io.Writer, s *Since, o Options) error {
	was, is := plainText(s.Was), plainText(s.Is)
	b := paperFor(w)
	for _, line := range o.Heading {
		fmt.Fprintln(b, plainText(line))
	}
	fmt.Fprintf(b, "Verdict  %s  since %s, which was %s\n", Word(s.IsVerdict), was, Word(s.WasVerdict))
	for _, part := range []struct {
		title string
		list  []Step
	}{{"New since " + was, s.New}, {"Worse than in " + was, s.Worse}, {"Better than in " + was, s.Better}, {"Gone since " + was, s.Gone}, {"As in " + was, s.Same}} {
		writeSteps(b, part.title, part.list, &o)
	}
	r := plainReport(s.Changed)
	o.Base, o.holes = s.Image, r.Holes
	if len(r.Tables) == 0 {
		fmt.Fprintf(b, "\nno cell differs between %s and %s\n", was, is)
	}
	writeTables(b, r, &o)
	writeAccount(b, r)
	return b.done()
}

func writeSteps(b *paper, title string, list []Step, o *Options) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintln(b, "\n"+bold.Render(title))
	for _, step := range list {
		is, was := plainFinding(step.Is), plainFinding(step.Was)
		if is == nil {
			is, was = was, nil
		}
		fmt.Fprintf(b, "  %s %s", Word(is.Severity), plainText(step.Key))
		if is.Origin != "" {
			fmt.Fprintf(b, "  (%s)", is.Origin)
		}
		fmt.Fprintln(b)
		if s := cmp.Or(worst(is, o), is.Detail); s != "" {
			fmt.Fprintf(b, "      %s\n", s)
		}
		if was == nil {
			continue
		}
		if s := cmp.Or(worst(was, o), was.Detail); s != "" && s != cmp.Or(worst(is, o), is.Detail) {
			fmt.Fprintf(b, "      was: %s\n", s)
		}
		if was.Severity != is.Severity {
			fmt.Fprintf(b, "      was: %s\n", Word(was.Severity))
		}
	}
}

// plainFinding is a finding whose texts are plain; nil of none.
func plainFinding(f *calibrationv1.Finding) *calibrationv1.Finding {
	if f == nil {
		return nil
	}
	return plainReport(&calibrationv1.Report{Findings: []*calibrationv1.Finding{f}}).Findings[0]
}
