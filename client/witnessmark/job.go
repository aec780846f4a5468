package main

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

func newJobCommand(a *app) *cobra.Command {
	list := &cobra.Command{Use: "list", Short: "Every job", Args: cobra.NoArgs,
		RunE: a.with(func(_ context.Context, c *client.Client, _ []string) error {
			jobs := c.Jobs()
			return a.print(&servicev1.JobsListResponse{Jobs: jobs}, func(w io.Writer) error { return writeJobs(w, jobs) })
		})}
	show := &cobra.Command{Use: "show JOB", Short: "A job's card", Args: takes(1),
		RunE: a.with(func(_ context.Context, c *client.Client, args []string) error {
			n, err := client.ParseJob(args[0])
			if err != nil {
				return err
			}
			j, err := c.Job(n)
			if err != nil {
				return err
			}
			return a.print(j, func(w io.Writer) error { return writeCard(w, j) })
		})}
	return group("job", "Jobs: one car's visit each", newJobOpen(a), list, show)
}

func newJobOpen(a *app) *cobra.Command {
	var n client.NewJob
	cmd := &cobra.Command{
		Use:   "open --car PLATE --definition NAME --limits NAME",
		Short: "Open a job; prints its number alone",
		Args:  cobra.NoArgs,
		RunE: a.with(func(ctx context.Context, c *client.Client, _ []string) error {
			j, err := c.OpenJob(ctx, n)
			if err != nil {
				return err
			}
			return a.print(j, func(w io.Writer) error {
				_, err := fmt.Fprintln(w, j.Number)
				return err
			})
		}),
	}
	f := cmd.Flags()
	f.StringVar(&n.Car, "car", "", "the car's plate")
	f.StringVar(&n.Definition, "definition", "", "name of the definition")
	f.StringVar(&n.Limits, "limits", "", "name of the limits")
	f.StringVar(&n.Frame, "frame", "", "the frame number; only a digest of it is kept")
	f.StringVar(&n.Fuel, "fuel", "", "the fuel, as the limits call it")
	f.StringArrayVar(&n.Parts, "part", nil, "a part that is fitted; may be repeated")
	f.StringVar(&n.Note, "note", "", "anything else")
	f.StringArrayVar(&n.Numbers, "number", nil, numberUsage)
	return required(cmd, "car", "definition", "limits")
}

func writeJobs(w io.Writer, jobs []*recordv1.Job) error {
	rows := [][]string{{"JOB", "CAR", "DEFINITION", "FUEL", "NEWEST SUBMISSION", "RELEASE"}}
	for _, j := range jobs {
		newest, release := "-", "-"
		if n := len(j.Submissions); n > 0 {
			s := j.Submissions[n-1]
			newest = fmt.Sprintf("%s %s, %s", client.Name(s), s.Judgement.GetVerdict(), s.State)
		}
		if j.Release != 0 {
			release = fmt.Sprintf("%d.%d", j.Number, j.Release)
		}
		rows = append(rows, []string{fmt.Sprint(j.Number), clean(j.Car), j.Definition.GetName(), clean(j.Fuel), newest, release})
	}
	return columns(w, rows)
}

// writeCard writes a job's card: the facts, and everything that followed in order of its kind.
func writeCard(w io.Writer, j *recordv1.Job) error {
	rows := [][]string{
		{"job", fmt.Sprint(j.Number)}, {"car", clean(j.Car)}, {"frame number", yes(j.FrameGiven, "given, kept as a digest", "not given")},
		{"definition", j.Definition.GetName()}, {"limits", j.Limits.GetName()}, {"fuel", clean(j.Fuel)},
	}
	for _, p := range j.Parts {
		rows = append(rows, []string{"part", clean(p)})
	}
	rows = append(rows, client.NumberRows(j)...)
	if j.Note != "" {
		rows = append(rows, []string{"note", clean(j.Note)})
	}
	rows = append(rows, []string{"opened", eventText(j.Opened)})
	for _, r := range j.Reads {
		rows = append(rows, []string{fmt.Sprintf("read %d", r.Number), readText(r)})
	}
	for _, s := range j.Submissions {
		rows = append(rows, submissionRows(s)...)
	}
	for _, c := range j.Collections {
		rows = append(rows, []string{"collected", fmt.Sprintf("%s, %s", ofJob(j.Number, c.Submission), eventText(c.Collected))})
	}
	for _, b := range j.ReadBacks {
		rows = append(rows, []string{"read back", fmt.Sprintf("%s: %s, %s", ofJob(j.Number, b.Submission), backText(b), eventText(b.Added))})
	}
	if in := j.InCar; in != nil {
		rows = append(rows, []string{"in the car", fmt.Sprintf("%s (%s)", ofJob(in.Job, in.Submission), in.KnownBy)})
	}
	return columns(w, rows)
}

func submissionRows(s *recordv1.Submission) [][]string {
	label := "submission " + client.Name(s)
	rows := [][]string{{label, fmt.Sprintf("%s, %s, %s", s.State, s.Judgement.GetVerdict(), eventText(s.Submitted))}}
	if s.Note != "" {
		rows = append(rows, []string{"", clean(s.Note)})
	}
	if s.Signed != nil {
		text := "signed by " + eventText(s.Signed)
		if s.SignOff.GetByAuthor() {
			text += "; signed by its author: " + clean(s.SignOff.GetReason())
		}
		if s.Voided {
			text += "; voided, its key was compromised"
		}
		rows = append(rows, []string{"", text})
		because := s.SignOff.GetBecause()
		for _, key := range slices.Sorted(maps.Keys(because)) {
			rows = append(rows, []string{"", fmt.Sprintf("for %s: %s", clean(key), clean(because[key]))})
		}
	}
	if s.Returned != nil {
		rows = append(rows, []string{"", fmt.Sprintf("returned by %s: %s", eventText(s.Returned), clean(s.Return.GetReason()))})
	}
	return rows
}

func readText(r *recordv1.Read) string {
	s := "sha256 " + r.Image.GetSha256()[:min(12, len(r.Image.GetSha256()))] + ", " + eventText(r.Added)
	if r.Original {
		s = "original, " + s
	}
	if r.Check != nil {
		s += "; judged by itself: " + r.Check.Verdict
	}
	if k := r.LastKnown; k != nil {
		s += "; " + lastKnownText(k)
	}
	return s
}

// lastKnownText says how a read compares with what was last in the car.
func lastKnownText(k *recordv1.LastKnown) string {
	what := "as our job " + fmt.Sprint(k.Job) + " left it"
	if k.Same {
		return what
	}
	return "not " + what + ": somebody changed it since"
}

func backText(b *recordv1.Readback) string {
	switch {
	case b.NotPossible != "":
		return "written, not read back: " + clean(b.NotPossible)
	case b.Matches:
		return "matches"
	}
	return "differs from what was written"
}

func ofJob(job, n uint32) string {
	if n == 0 {
		return fmt.Sprintf("the original of job %d", job)
	}
	return fmt.Sprintf("%d.%d", job, n)
}

func eventText(e *recordv1.Event) string {
	return fmt.Sprintf("%s, %s (entry %d)", clean(e.GetPerson()), e.GetSignedAt(), e.GetEntry())
}

func yes(b bool, ifSo, ifNot string) string {
	if b {
		return ifSo
	}
	return ifNot
}
