package main

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

func newJobList(a *app) *cobra.Command {
	var f client.JobFilter
	var opened, closed bool
	cmd := &cobra.Command{
		Use:   "list [TEXT] [--open | --closed] [--car …] [--person …] [--state …] [--verdict …] [--definition …] [--since DATE] [--until DATE] [--sort newest|oldest|worst]",
		Short: "Jobs, the newest first: what became of each, and what comes next",
		Long: "Jobs, the newest first: what became of each, and what comes next.\n\n" +
			"TEXT is words; each must begin a word of the job's plate, parts, notes, reasons, tables or files, and of a\n" +
			"plate any part will do. State and verdict are those of one of its submissions, by the newest revisions;\n" +
			"--sort worst goes by what waits or is released. Dates are when a job was opened, by the server's clock, UTC.",
		Args: cobra.ArbitraryArgs,
	}
	fl := cmd.Flags()
	fl.BoolVar(&opened, "open", false, "only open jobs")
	fl.BoolVar(&closed, "closed", false, "only closed jobs")
	cmd.MarkFlagsMutuallyExclusive("open", "closed")
	fl.StringVar(&f.Car, "car", "", "plate or frame number, or a car's number: all jobs of that car, whatever their plate")
	fl.StringVar(&f.Person, "person", "", "who did something in the job")
	fl.StringVar(&f.Submission, "state", "", "waiting, returned, withdrawn, replaced, released or in car")
	fl.StringVar(&f.Verdict, "verdict", "", "clear, notice, caution, warning or danger")
	fl.StringVar(&f.Definition, "definition", "", "name of the definition")
	fl.StringVar(&f.Since, "since", "", "opened on this day or later, such as 2026-11-27")
	fl.StringVar(&f.Until, "until", "", "opened on this day or earlier")
	fl.StringVar(&f.Sort, "sort", record.Newest, "newest, oldest or worst")
	fl.IntVar(&f.Skip, "skip", 0, "how many to leave out, for the next page")
	mostFlag(cmd, &f.Most)
	cmd.RunE = a.looks(func(_ context.Context, c *client.Client, args []string) error {
		f.Text = strings.Join(args, " ")
		switch {
		case opened:
			f.State = "open"
		case closed:
			f.State = "closed"
		}
		page, err := c.FindJobs(f)
		if err != nil {
			return err
		}
		return a.printJobs(c, page, max(0, page.Found-f.Skip-len(page.Jobs)))
	})
	return cmd
}

func (a *app) printJobs(c *client.Client, page *client.JobPage, left int) error {
	if a.json() {
		answer := struct {
			Jobs []json.RawMessage `json:"jobs"`
			More int               `json:"more"`
		}{Jobs: []json.RawMessage{}, More: left}
		for _, listed := range page.Jobs {
			j, err := c.Job(listed.GetNumber())
			if err != nil {
				return err
			}
			card, err := messageJSON(j)
			if err != nil {
				return err
			}
			answer.Jobs = append(answer.Jobs, card)
		}
		return a.printJSON(answer, nil)
	}
	if len(page.Jobs) == 0 {
		_, err := fmt.Fprintln(a.out, "no jobs")
		return err
	}
	rows := [][]string{{"JOB", "CAR", "OPENED", "STATE", "NEWEST SUBMISSION", "RELEASE", "NEXT"}}
	for _, j := range page.Jobs {
		rows = append(rows, jobRow(j))
	}
	if err := columns(a.out, rows); err != nil {
		return err
	}
	return more(a.out, left, "")
}

func jobRow(j *recordv1.Job) []string {
	newest, release, state := "-", "-", j.GetState()
	for _, s := range j.GetSubmissions() {
		newest = fmt.Sprintf("%s %s, %s", client.Name(s), record.Verdict(s), s.GetState())
		if record.IsRelease(s) {
			release = client.Name(s)
		}
	}
	if j.GetOutcome() != "" {
		state += ", " + j.GetOutcome()
	}
	var next []string
	for _, al := range inForce(j.GetAlarms()) {
		next = append(next, "ALARM "+al.GetAlarm())
	}
	if n := client.Next(j); n != "" {
		next = append(next, n)
	}
	return []string{fmt.Sprint(j.GetNumber()), sheet.Sealed(j.GetPlate()), day(j.GetOpened()), state, newest, release, strings.Join(next, "; ")}
}

// day is the day of an event by the server's clock.
func day(e *recordv1.Event) string {
	at, _, _ := strings.Cut(e.GetAdmittedAt(), "T")
	return at
}
