package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/outcome"
	"witnessmark/tables/run"
)

// sidedFile is a file of one side; the flags of both sides fill one list, so that the order in which the
// runs were made is kept.
type sidedFile struct {
	path  string
	after bool
}

type sideFlag struct {
	files *[]sidedFile
	after bool
}

func (f *sideFlag) String() string { return "" }
func (f *sideFlag) Type() string   { return "FILE" }
func (f *sideFlag) Set(path string) error {
	*f.files = append(*f.files, sidedFile{path, f.after})
	return nil
}

// gainAsked is what run gain was asked for.
type gainAsked struct {
	files                              []sidedFile
	channels, correction, units, place string
	options                            run.Options
	from, to                           float64
}

func newRunGain(a *app) *cobra.Command {
	var g gainAsked
	cmd := &cobra.Command{
		Use:   "gain --before FILE... --after FILE... [--from RPM] [--to RPM] [--correction NAME]",
		Short: "Say whether runs after a change show more than runs before it (needs no server)",
		Long: "Say whether runs after a change show more than runs before it (needs no server).\n\n" +
			"--before and --after are given once for each file, in the order in which the runs were made; every sweep of a file is a run.\n" +
			"A gain is shown if it is beyond what the runs of a side differ by and what the weather can have made.",
		Args: takes(0),
		RunE: func(cmd *cobra.Command, _ []string) error {
			for _, name := range []string{"from", "to"} {
				if v, err := cmd.Flags().GetFloat64(name); err == nil && cmd.Flags().Changed(name) && !(v > 0) {
					return fmt.Errorf("--%s %g; allowed: above 0, in 1/min", name, v)
				}
			}
			return a.showGain(&g)
		},
	}
	f := cmd.Flags()
	f.Var(&sideFlag{&g.files, false}, "before", "a run before the change; may be repeated (required)")
	f.Var(&sideFlag{&g.files, true}, "after", "a run after it; may be repeated (required)")
	f.Float64Var(&g.from, "from", 0, "lowest engine speed that counts, 1/min")
	f.Float64Var(&g.to, "to", 0, "highest one, 1/min")
	f.StringVar(&g.channels, "channels", "", "channel file of all runs, where the headers are others")
	f.StringVar(&g.correction, "correction", string(run.None), run.Corrections)
	f.StringVar(&g.units, "units", string(outcome.Metric), "metric, imperial or both")
	f.StringVar(&g.place, "at", "", "crank or wheels, where runs have torque at both")
	f.Float64Var(&g.options.Ratio, "ratio", 0, "engine speed over wheel speed, of a column wheel_torque")
	f.Float64Var(&g.options.Circumference, "circumference", 0, "m, of what turns with wheel_torque, where the roller's speed is recorded")
	f.Float64Var(&g.options.Step, "step", run.DefaultStep, "engine speed from one point to the next, 1/min")
	f.BoolVar(&g.options.Anyway, "anyway", false, "correct outside the standard's range too, and mark it")
	f.BoolVar(&g.options.Forced, "forced-induction", false, "the engine is boosted, though the runs do not show it")
	return required(cmd, "before", "after")
}

func (a *app) showGain(g *gainAsked) error {
	in, err := outcome.ParseUnits(g.units)
	if err != nil {
		return err
	}
	if g.options.Correction, err = run.ParseStandard(g.correction); err != nil {
		return err
	}
	if g.options.Place, err = outcome.ParsePlace(g.place); err != nil {
		return err
	}
	before, after, doubts, err := g.pulls()
	if err != nil {
		return err
	}
	m, err := run.Gained(before, after, g.from, g.to)
	if err != nil {
		return err
	}
	return a.print(m, func(w io.Writer) error { return writeGain(w, outcome.NewGain(m, in), in, doubts) })
}

// pulls reads the runs of both sides, and what is doubtful about each.
func (g *gainAsked) pulls() (before, after []*run.Pull, doubts []string, err error) {
	order := 0
	for _, f := range g.files {
		r, err := client.ReadRun(f.path, g.channels)
		if err != nil {
			return nil, nil, nil, err
		}
		sweeps, err := run.FindSweeps(r.Run)
		if err != nil {
			return nil, nil, nil, err
		}
		for i, s := range sweeps {
			p, err := run.MakePull(r.Run, s, g.options)
			if err != nil {
				return nil, nil, nil, err
			}
			order++
			p.Order, p.Name = order, run.SweepName(f.path, i+1, len(sweeps))
			for _, q := range run.Quality(r.Run, s, p.Curve) {
				doubts = append(doubts, p.Name+": "+q.Text)
			}
			if f.after {
				after = append(after, p)
			} else {
				before = append(before, p)
			}
		}
	}
	return before, after, doubts, nil
}

func writeGain(w io.Writer, g *outcome.Gain, in outcome.Units, doubts []string) error {
	fmt.Fprintf(w, "%s\n\n", g.Verdict)
	rows := [][]string{{g.At(), "before", "after", "gain", ""}}
	for _, r := range g.Rows() {
		rows = append(rows, []string{r.What, r.Before, r.After, r.Gain, r.Note})
	}
	if err := columns(w, rows); err != nil {
		return err
	}
	fmt.Fprintln(w, g.Band())
	for _, r := range g.GetRemarks() {
		fmt.Fprintf(w, "note: %s\n", client.OneLine(r.GetText()))
	}
	for _, d := range doubts {
		fmt.Fprintf(w, "doubt: %s\n", client.OneLine(d))
	}
	fmt.Fprintln(w)
	rows = [][]string{{"1/min", "torque gained", "±", ""}}
	for _, p := range g.GetPoints() {
		row := []string{fmt.Sprintf("%.0f", p.GetSpeed()), outcome.Text(p.GetGain(), in.Torque(), true), "not known", ""}
		if p.PlusMinus != nil {
			row[2] = outcome.Text(p.GetPlusMinus(), in.Torque(), false)
		}
		if p.GetShown() {
			row[3] = "shown"
		}
		rows = append(rows, row)
	}
	return columns(w, rows)
}
