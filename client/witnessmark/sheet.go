package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/printed"
)

func newSheetCommand(a *app) *cobra.Command {
	var table, since string
	c := &cobra.Command{
		Use:   "sheet NAME [--since NAME] [--table ID]",
		Short: "A report for a person to read: of a submission, a read or a read-back",
		Long: "A report for a person to read.\n\n" +
			"Of a submission (7.2), compared again here with the car as found; with --since 7.1 what became of that one's\n" +
			"findings, and the cells that differ between the two. Of a read (7.read2), judged by itself when it was added, and\n" +
			"what somebody had changed in the car since it was last in. Of a read-back (7.back1), how it differs from what was\n" +
			"written. --format csv prints the changed cells, one a line.",
		Args:        takes(1),
		Annotations: csvAllowed,
	}
	c.Flags().StringVar(&table, "table", "", "show this changed table whole")
	c.Flags().StringVar(&since, "since", "", "an earlier submission of the job")
	c.RunE = a.looks(func(ctx context.Context, cl *client.Client, args []string) error {
		name, err := nameOf(args[0])
		if err != nil {
			return err
		}
		switch {
		case since != "":
			return a.sinceSheet(ctx, cl, name, since, table)
		case name.Part == record.ASubmission:
			return a.submissionSheet(ctx, cl, name, table)
		case name.Part == record.ARead:
			return a.readSheet(ctx, cl, name, table)
		case name.Part == record.AReadback:
			return a.readbackSheet(ctx, cl, name, table)
		}
		return usage("%s has no sheet; a submission (7.2), a read (7.read1) and a read-back (7.back1) have", name)
	})
	return c
}

func (a *app) submissionSheet(ctx context.Context, c *client.Client, name record.Name, table string) error {
	r, err := c.Review(ctx, name.Job, name.N)
	if err != nil {
		return err
	}
	o := a.sheetOf(c, r)
	if err := oneTable(&o, table); err != nil {
		return err
	}
	if a.json() {
		out, err := submissionJSON(ctx, c, r)
		return a.printJSON(out, err)
	}
	farther, err := distancesIn(ctx, c, r)
	if err != nil {
		return err
	}
	o.Heading = append(o.Heading, farther...)
	runs, err := c.Runs(ctx, name.Job, "before")
	if err != nil {
		return err
	}
	o.Visited = sheet.Visits(r.Report, o.Layout, o.Candidate, client.Recordings(runs))
	for _, run := range runs {
		ahead, err := r.Ahead(run)
		if err != nil {
			return err
		}
		for _, text := range ahead.Ahead {
			o.Heading = append(o.Heading, client.OneLine(fmt.Sprintf("%s: %s", client.RunName(run.Entry), text)))
		}
	}
	return a.printReport(r.Report, o)
}

// sinceSheet is a submission held against an earlier one of its job.
func (a *app) sinceSheet(ctx context.Context, c *client.Client, is record.Name, since, table string) error {
	was, err := nameOf(since)
	if err != nil {
		return err
	}
	s, err := c.Since(ctx, is, was)
	if err != nil {
		return err
	}
	o := a.sheetOf(c, s.Is)
	if err := oneTable(&o, table); err != nil {
		return err
	}
	switch a.format {
	case "csv":
		return printed.CSV(a.out, s.Changed)
	case "json":
		out, err := submissionJSON(ctx, c, s.Is)
		if err == nil {
			out.Since, err = sinceOf(s)
		}
		return a.printJSON(out, err)
	}
	if o.Heading, err = noteSince(o.Heading, s); err != nil {
		return err
	}
	_, image := s.Was.Images()
	return sheet.WriteSince(a.out, &sheet.Since{Was: client.Name(s.Was.Submission), Is: client.Name(s.Is.Submission),
		WasVerdict: s.Was.Report.GetVerdict(), IsVerdict: s.Is.Report.GetVerdict(),
		Gone: steps(s.Gone), New: steps(s.New), Worse: steps(s.Worse), Better: steps(s.Better), Same: steps(s.Same), Changed: s.Changed, Image: image}, o)
}

func steps(list []client.FindingSince) (out []sheet.Step) {
	for _, f := range list {
		out = append(out, sheet.Step(f))
	}
	return out
}

// noteSince adds how the two authors' notes differ, where both said something.
func noteSince(heading []string, s *client.Since) ([]string, error) {
	was, is := s.Was.Submission, s.Is.Submission
	old, now := sheet.Sealed(was.GetNote()), sheet.Sealed(is.GetNote())
	if old == "" || now == "" || old == now {
		return heading, nil
	}
	var b strings.Builder
	err := sheet.WriteDifference(&b, "note of "+client.Name(was), "note of "+client.Name(is), old, now)
	return append(heading, strings.TrimRight(b.String(), "\n")), err
}

// readSheet is a read: first what somebody changed since, then the image judged by itself.
func (a *app) readSheet(ctx context.Context, c *client.Client, name record.Name, table string) error {
	r, err := c.ReadReport(ctx, name.Job, name.N)
	if err != nil {
		return err
	}
	if a.json() {
		out, err := readJSON(c, r, name)
		return a.printJSON(out, err)
	}
	said := fmt.Sprintf("read %s of car %s: %s", name, sheet.Sealed(r.Job.GetPlate()), readText(r.Read))
	o := a.enteredOptions(r.Check)
	if r.Changed != nil {
		o = a.enteredOptions(r.Changed)
		said = andIs(said, knownAs(r.Job, name, r.Read.GetImage()))
	}
	heading := append([]string{said}, alarmLines(r.Job, name)...)
	if err := oneTable(&o, table); err != nil {
		return err
	}
	if r.Changed != nil {
		o.Heading = heading
		if err := a.printDiffering(r.Changed, fmt.Sprintf("as our job %d left it", r.Read.GetLastKnown().GetJob()), "this read", o); err != nil || a.format == "csv" {
			return err
		}
		o, heading = a.enteredOptions(r.Check), []string{"", "Judged by itself, when it was added:"}
	}
	o.Heading = heading
	return a.printReport(r.Check.Report, o)
}

// printDiffering prints how a car differs from what should be in it, in the format that was asked for.
func (a *app) printDiffering(e *client.Entered, base, candidate string, o sheet.Options) error {
	if a.format == "csv" {
		return printed.CSV(a.out, e.Report)
	}
	return sheet.WriteDiffering(a.out, e.Report, base, candidate, o)
}

// knownAs says which other image of its job an image is, in words; empty where it is none.
func knownAs(job *recordv1.Job, itself record.Name, im *recordv1.Image) string {
	is := func(n record.Name, other *recordv1.Image) bool {
		return n != itself && other.GetSha256() == im.GetSha256()
	}
	for _, r := range job.GetReads() {
		if n := (record.Name{Job: job.GetNumber(), Part: record.ARead, N: r.GetNumber()}); r.GetVoided() == nil && is(n, r.GetImage()) {
			return record.WriteFailed(n, r.GetAsFound())
		}
	}
	for _, s := range job.GetSubmissions() {
		if n := (record.Name{Job: job.GetNumber(), Part: record.ASubmission, N: s.GetNumber()}); is(n, s.GetImage()) {
			return record.WriteFailed(n, false)
		}
	}
	return ""
}

func (a *app) readbackSheet(ctx context.Context, c *client.Client, name record.Name, table string) error {
	r, err := c.ReadbackReport(ctx, name.Job, name.N)
	if err != nil {
		return err
	}
	if a.json() {
		out, err := readbackJSON(c, r, name)
		return a.printJSON(out, err)
	}
	b := r.Readback
	said := fmt.Sprintf("read-back %s of car %s: %s: %s", name, sheet.Sealed(r.Job.GetPlate()), ofJob(name.Job, b.GetSubmission()), backText(b))
	if !b.GetMatches() {
		said = andIs(said, knownAs(r.Job, name, b.GetImage()))
	}
	heading := []string{said + ", " + eventText(b.GetAdded())}
	heading = append(heading, alarmLines(r.Job, name)...)
	if r.Report == nil {
		if table != "" || a.format == "csv" {
			return usage("%s has no changed cells: %s", name, backText(b))
		}
		_, err := fmt.Fprintln(a.out, strings.Join(heading, "\n"))
		return err
	}
	o := a.enteredOptions(r.Report)
	o.Heading = heading
	if err := oneTable(&o, table); err != nil {
		return err
	}
	return a.printDiffering(r.Report, asWritten, asFoundInCar, o)
}

func (a *app) enteredOptions(e *client.Entered) sheet.Options {
	return sheet.Options{Layout: e.Layout, Base: e.Base, Candidate: e.Candidate, Width: a.width()}
}

// oneTable has the sheet show one table whole.
func oneTable(o *sheet.Options, table string) error {
	if o.Table = table; table != "" && o.Layout.ByID[table] == nil {
		return usage("--table %s: definition %s has no such table; it has %s", table, o.Layout.Name, tableNames(o.Layout))
	}
	return nil
}

func review(ctx context.Context, c *client.Client, arg string) (*client.Review, error) {
	job, n, err := client.ParseSubmission(arg)
	if err != nil {
		return nil, err
	}
	return c.Review(ctx, job, n)
}

// sheetOf is a submission's sheet: what it is, above its report.
func (a *app) sheetOf(c *client.Client, r *client.Review) sheet.Options {
	s := r.Submission
	name := record.Name{Job: s.GetJob(), Part: record.ASubmission, N: s.GetNumber()}
	heading := []string{
		fmt.Sprintf("submission %s of car %s, by %s: %s", name, sheet.Sealed(r.Job.GetPlate()), client.OneLine(s.GetSubmitted().GetPerson()), s.GetState()),
		"started from " + ofJob(s.GetJob(), s.GetFrom()),
	}
	if s.GetNote() != nil {
		heading = append(heading, "note: "+sheet.Sealed(s.GetNote()))
	}
	heading = append(heading, yesLines(r.Job, s)...)
	heading = append(heading, corridorLines(r)...)
	heading = append(heading, alarmLines(r.Job, name)...)
	heading = append(heading, askedLines(r.Asked())...)
	for _, n := range r.Job.GetNotes() {
		if n.GetSubmission() == s.GetNumber() {
			for _, row := range noteRows(r.Job, n) {
				heading = append(heading, strings.TrimSpace(strings.Join(row, " ")))
			}
		}
	}
	if r.ByNewer {
		heading = append(heading, fmt.Sprintf("compared again, since what it is judged by changed: %s when it was submitted, %s now",
			s.GetJudgement().GetVerdict(), r.Judgement.GetVerdict()))
	}
	base, candidate := r.Images()
	return sheet.Options{Layout: r.Layout(), Base: base, Candidate: candidate, Width: a.width(), Heading: heading, OnePerson: c.OnePerson()}
}

// askedLines are the reasons of returned submissions as they stand above a later one's report.
func askedLines(asked []client.Asked) (lines []string) {
	for _, a := range asked {
		state := "its findings are gone"
		if a.Open() {
			state = "open"
		}
		lines = append(lines, fmt.Sprintf("%s was returned by %s: %s  [%s]", client.Name(a.Returned), a.Returned.GetReturned().GetPerson(),
			client.OneLine(a.Returned.GetReturn().GetReason()), state))
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

// alarmLines are the alarms about one thing of a job that count now, a line each.
func alarmLines(job *recordv1.Job, name record.Name) (lines []string) {
	for _, al := range inForce(job.GetAlarms()) {
		if al.GetAbout() == name.String() {
			lines = append(lines, alarmText(al))
		}
	}
	return lines
}

// writeFindings writes a report's findings, one a line.
func writeFindings(w io.Writer, r *calibrationv1.Report) error {
	for _, f := range r.Findings {
		if _, err := fmt.Fprintf(w, "%-8s %s  %s\n", f.Severity, client.Key(f), client.OneLine(f.Reason+" "+f.Detail)); err != nil {
			return err
		}
	}
	return nil
}
