package sheet

import (
	"fmt"
	"io"
	"strings"

	"charm.land/lipgloss/v2"

	"witnessmark/client"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// WriteSince prints what became of a submission's findings since another of its job, and the cells that
// differ between the two. o's layout and images are those of s.
func WriteSince(w io.Writer, s *client.Since, o Options) error {
	o.Layout, o.CandidateLayout = s.Is.Layout(), nil
	_, o.Base = s.Was.Images()
	_, o.Candidate = s.Is.Images()
	was, is := client.Name(s.Was.Submission), client.Name(s.Is.Submission)
	var b strings.Builder
	for _, line := range o.Heading {
		fmt.Fprintln(&b, plainText(line))
	}
	fmt.Fprintf(&b, "Verdict  %s  since %s, which was %s\n", Word(s.Is.Report.GetVerdict()), was, Word(s.Was.Report.GetVerdict()))
	for _, part := range []struct {
		title string
		list  []client.FindingSince
	}{{"New since " + was, s.New}, {"Worse than in " + was, s.Worse}, {"Better than in " + was, s.Better}, {"Gone since " + was, s.Gone}, {"As in " + was, s.Same}} {
		writeSteps(&b, part.title, part.list, &o)
	}
	r := plainReport(s.Changed)
	if len(r.Tables) == 0 {
		fmt.Fprintf(&b, "\nno cell differs between %s and %s\n", was, is)
	}
	writeTables(&b, r, &o)
	writeAccount(&b, r)
	_, err := lipgloss.Fprint(w, b.String())
	return err
}

func writeSteps(b *strings.Builder, title string, list []client.FindingSince, o *Options) {
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
		if s := firstOf(worst(is, o), is.Detail); s != "" {
			fmt.Fprintf(b, "      %s\n", s)
		}
		if was == nil {
			continue
		}
		if s := firstOf(worst(was, o), was.Detail); s != "" && s != firstOf(worst(is, o), is.Detail) {
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

// AskedLines are the reasons of returned submissions as they stand above a later one's report.
func AskedLines(asked []client.Asked) (lines []string) {
	for _, a := range asked {
		state := "its findings are gone"
		if a.Open() {
			state = "open"
		}
		lines = append(lines, fmt.Sprintf("%s was returned by %s: %s  [%s]", client.Name(a.Returned), a.Returned.GetReturned().GetPerson(),
			strings.Join(strings.Fields(plainText(a.Returned.GetReturn().GetReason())), " "), state))
		for _, f := range a.Findings {
			state := "still there"
			if f.Gone {
				state = "gone"
			}
			lines = append(lines, fmt.Sprintf("    %s: %s", f.Key, state))
		}
	}
	return lines
}
