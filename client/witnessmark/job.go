package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
)

func newJobCommand(a *app) *cobra.Command {
	list := &cobra.Command{Use: "list", Short: "Every job", Args: cobra.NoArgs,
		RunE: a.looks(func(_ context.Context, c *client.Client, _ []string) error {
			jobs, err := c.Jobs()
			if err != nil {
				return err
			}
			return a.print(&servicev1.JobsListResponse{Jobs: jobs}, func(w io.Writer) error { return writeJobs(w, jobs) })
		})}
	show := &cobra.Command{Use: "show JOB", Short: "A job's card: its alarms first", Args: takes(1),
		RunE: a.looks(func(_ context.Context, c *client.Client, args []string) error {
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
	return group("job", "Jobs: one car's visit each", newJobOpen(a), newJobAmend(a), newJobClose(a), newJobReopen(a), list, show)
}

// onJob is a step with one job, whose card's state is the answer.
func (a *app) onJob(do func(ctx context.Context, c *client.Client, n uint32) (*recordv1.Job, error), said func(*recordv1.Job) string) func(*cobra.Command, []string) error {
	return a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		n, err := client.ParseJob(args[0])
		if err != nil {
			return err
		}
		j, err := do(ctx, c, n)
		if err != nil {
			return err
		}
		return a.line(j, "%s", said(j))
	})
}

func writeJobs(w io.Writer, jobs []*recordv1.Job) error {
	rows := [][]string{{"JOB", "CAR", "STATE", "DEFINITION", "FUEL", "NEWEST SUBMISSION", "RELEASE"}}
	for _, j := range jobs {
		newest, release := "-", "-"
		for _, s := range j.GetSubmissions() {
			newest = fmt.Sprintf("%s %s, %s", client.Name(s), s.GetJudgement().GetVerdict(), s.GetState())
			if record.IsRelease(s) {
				release = client.Name(s)
			}
		}
		rows = append(rows, []string{fmt.Sprint(j.GetNumber()), sheet.Sealed(j.GetPlate()), j.GetState(), j.GetDefinition().GetName(),
			clean(j.GetFuel()), newest, release})
	}
	return columns(w, rows)
}
