package main

import (
	"context"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/runcheck"
)

func newRunAdd(a *app) *cobra.Command {
	var when, channels, of string
	cmd := &cobra.Command{
		Use:   "add JOB FILE.csv --when before|after [--of NAME] [--channels FILE]",
		Short: "Add a run on the rolling road to a job; prints its number alone",
		Long: "Add a run on the rolling road to a job; prints its number alone.\n\n" +
			"The file is CSV; a header is a quantity and a unit, such as engine_speed [1/min] or torque [N.m], or an everyday name\n" +
			"(rpm, torque, boost, lambda, IAT …): run show says what is taken for what.\n" +
			"A channel file (YAML: channels, each with header, quantity and unit) says what other headers are.\n" +
			"The run is of the map in the car: what was collected last, else what was read; --of says another.",
		Args: takes(2),
	}
	cmd.Flags().StringVar(&when, "when", "", "before or after the change")
	cmd.Flags().StringVar(&channels, "channels", "", "channel file, where the headers are others")
	cmd.Flags().StringVar(&of, "of", "", "what was in the car, where that is not what the ledger presumes: 7.read1, 7.12")
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, args []string) error {
		n, err := client.ParseJob(args[0])
		if err != nil {
			return err
		}
		r, err := c.AddRunOf(ctx, n, args[1], channels, when, of)
		if err != nil {
			return err
		}
		if err := a.raised(c, r.GetAdded().GetEntry()); err != nil {
			return err
		}
		return a.line(r, "%v", r.Number)
	})
	return required(cmd, "when")
}

func newRunList(a *app) *cobra.Command {
	return &cobra.Command{Use: "list JOB", Short: "The runs of a job, oldest first", Args: takes(1),
		RunE: a.looks(func(ctx context.Context, c *client.Client, args []string) error {
			n, err := client.ParseJob(args[0])
			if err != nil {
				return err
			}
			j, err := c.Job(n)
			if err != nil {
				return err
			}
			if a.json() {
				return a.printRuns(ctx, c, j)
			}
			rows := mapColumns(ctx, c, j)
			rows[0] = append(rows[0], "file", "added", "held against the map")
			for i, r := range j.Runs {
				rows[i+1] = append(rows[i+1], "sha256 "+short(r.GetFileSha256()), eventText(r.Added), showed(ctx, c, j, r))
			}
			return columns(a.out, rows)
		})}
}

// showed is what a run showed when it was held against what was in the car.
func showed(ctx context.Context, c *client.Client, j *recordv1.Job, r *recordv1.Run) string {
	if j.GetImagesErased() {
		return "erased"
	}
	check, err := c.RunCheck(ctx, r)
	switch {
	case err != nil:
		return "not told: " + client.OneLine(err.Error())
	case check == nil:
		return "not held: what was in the car was not known"
	}
	return client.OneLine(runcheck.Says(check))
}
