package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

func newJobOpen(a *app) *cobra.Command {
	var n client.NewJob
	cmd := &cobra.Command{
		Use:   "open --car PLATE --definition NAME --limits NAME",
		Short: "Open a job; prints its number alone",
		Args:  cobra.NoArgs,
	}
	cmd.Flags().StringVar(&n.Definition, "definition", "", "name of the definition")
	set := detailFlags(cmd)
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, _ []string) error {
		set(&n.Details)
		j, err := c.OpenJob(ctx, n)
		if err != nil {
			return err
		}
		return a.line(j, "%v", j.GetNumber())
	})
	return required(cmd, "car", "definition", "limits")
}

func newJobAmend(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "amend JOB [--car PLATE] [--frame NUMBER] [--fuel …] [--part …]… [--number K=V]… [--limits NAME] [--note …]",
		Short: "Correct what was said of a job; what is not given stays, parts and numbers are given anew",
		Args:  takes(1),
	}
	set := detailFlags(cmd)
	cmd.RunE = a.onJob(func(ctx context.Context, c *client.Client, n uint32) (*recordv1.Job, error) {
		j, err := c.Job(n)
		if err != nil {
			return nil, err
		}
		d := client.DetailsOf(j)
		set(&d)
		return c.AmendJob(ctx, n, d)
	}, func(j *recordv1.Job) string { return fmt.Sprintf("amended job %d", j.GetNumber()) })
	return cmd
}

// detailFlags adds a flag for each detail of a job; the answer sets those that were given.
func detailFlags(cmd *cobra.Command) func(*client.Details) {
	var given client.Details
	var same, another bool
	f := cmd.Flags()
	f.StringVar(&given.Plate, "car", "", "the car's plate")
	f.StringVar(&given.Frame, "frame", "", "the car's frame number")
	f.StringVar(&given.Limits, "limits", "", "name of the limits")
	f.StringVar(&given.Fuel, "fuel", "", "the fuel, as the limits call it")
	f.StringArrayVar(&given.Parts, "part", nil, "a part that is fitted; may be repeated")
	f.StringArrayVar(&given.Numbers, "number", nil, numberUsage)
	f.StringVar(&given.Note, "note", "", "anything else")
	f.BoolVar(&same, "same-car", false, "it is the car that the ledger knows by this frame number, under another plate")
	f.BoolVar(&another, "not-same-car", false, "it is another car than the one that the ledger knows by this plate")
	cmd.MarkFlagsMutuallyExclusive("same-car", "not-same-car")
	return func(d *client.Details) {
		for name, set := range map[string]func(){
			"car": func() { d.Plate = given.Plate }, "frame": func() { d.Frame = given.Frame }, "limits": func() { d.Limits = given.Limits },
			"fuel": func() { d.Fuel = given.Fuel }, "part": func() { d.Parts = given.Parts }, "number": func() { d.Numbers = given.Numbers },
			"note": func() { d.Note = given.Note }, "same-car": func() { d.Car = client.SameCar }, "not-same-car": func() { d.Car = client.AnotherCar },
		} {
			if f.Changed(name) {
				set()
			}
		}
	}
}
