package main

import (
	"bytes"
	"context"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/outcome"
	"witnessmark/tables/run"
)

func newOutcomeCommand(a *app) *cobra.Command {
	var out client.Out
	var units, correction, at, band string
	var anyway bool
	cmd := &cobra.Command{
		Use:   "outcome JOB [--out FILE.html]",
		Short: "What a job came to: runs before and after, what was changed, who signed, what is in the car",
		Args:  takes(1),
	}
	f := cmd.Flags()
	f.StringVar(&out.Path, "out", "", "also write a page that prints to two sheets of A4, for the customer")
	replaceFlag(cmd, &out.Replace)
	f.StringVar(&units, "units", string(outcome.Metric), "metric, imperial or both")
	f.StringVar(&correction, "correction", string(run.None), run.Corrections)
	f.StringVar(&at, "at", "", "crank or wheels, where runs have torque at both")
	f.StringVar(&band, "band", "", "engine speeds of the means, as in 2000-6000; left out, all that both sides have")
	f.BoolVar(&anyway, "anyway", false, "correct outside the standard's range too, and mark it")
	cmd.RunE = a.looks(func(ctx context.Context, c *client.Client, args []string) error {
		n, err := client.ParseJob(args[0])
		if err != nil {
			return err
		}
		in := outcome.Input{Anyway: anyway}
		if in.Units, err = outcome.ParseUnits(units); err != nil {
			return err
		}
		if in.Correction, err = run.ParseStandard(correction); err != nil {
			return err
		}
		if in.Place, err = outcome.ParsePlace(at); err != nil {
			return err
		}
		if band != "" {
			if in.Low, in.High, err = outcome.ParseBand(band); err != nil {
				return err
			}
		}
		if err := out.Free(); out.Path != "" && err != nil {
			return err
		}
		o, err := outcome.Fetch(ctx, c, n, in)
		if err != nil {
			return err
		}
		if out.Path != "" {
			var page bytes.Buffer
			if err := o.WriteHTML(&page); err != nil {
				return err
			}
			if err := out.Write(page.Bytes()); err != nil {
				return err
			}
		}
		if !a.json() {
			return o.WriteText(a.out)
		}
		b, err := o.JSON()
		if err == nil {
			_, err = a.out.Write(b)
		}
		return err
	})
	return cmd
}
