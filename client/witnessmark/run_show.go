package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/outcome"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/run"
)

func newRunCommand(a *app) *cobra.Command {
	return group("run", "Runs on the rolling road", newRunAdd(a), newRunList(a), newRunShow(a), newRunGain(a), newRunCheck(a))
}

// shown is what run show was asked for.
type shown struct {
	channels, correction, units, place string
	step, ratio, circumference         float64
	sweep                              int
	anyway, forced                     bool
}

func newRunShow(a *app) *cobra.Command {
	var s shown
	cmd := &cobra.Command{
		Use:   "show FILE.csv [--channels FILE]",
		Short: "Show the sweep of a run, its torque and power, and what is doubtful (needs no server)",
		Long: "Show the sweep of a run, its torque and power, and what is doubtful (needs no server).\n\n" +
			"A header is a quantity and a unit, such as engine_speed [1/min], or an everyday name, such as RPM or Torque (Nm);\n" +
			"notes above it, a row of units below it and a foot are passed over. What each column was taken for is printed.",
		Args: takes(1),
		RunE: func(_ *cobra.Command, args []string) error { return a.showRun(args[0], s) },
	}
	f := cmd.Flags()
	f.StringVar(&s.channels, "channels", "", "channel file, where the headers are others")
	f.StringVar(&s.correction, "correction", string(run.None), run.Corrections)
	f.StringVar(&s.units, "units", string(outcome.Metric), "metric, imperial or both")
	f.StringVar(&s.place, "at", "", "crank or wheels, where the run has torque at both")
	f.IntVar(&s.sweep, "sweep", 0, "which sweep of the file, from 1; else the widest")
	f.Float64Var(&s.ratio, "ratio", 0, "engine speed over wheel speed, of a column wheel_torque")
	f.Float64Var(&s.circumference, "circumference", 0, "m, of what turns with wheel_torque, where the roller's speed is recorded")
	f.Float64Var(&s.step, "step", run.DefaultStep, "engine speed from one point to the next, 1/min")
	f.BoolVar(&s.anyway, "anyway", false, "correct outside the standard's range too, and mark it")
	f.BoolVar(&s.forced, "forced-induction", false, "the engine is boosted: say what a correction does then")
	return cmd
}

func (a *app) showRun(path string, s shown) error {
	in, err := outcome.ParseUnits(s.units)
	if err != nil {
		return err
	}
	std, err := run.ParseStandard(s.correction)
	if err != nil {
		return err
	}
	recorded, err := client.ReadRun(path, s.channels)
	if err != nil {
		return err
	}
	r := recorded.Run
	sweeps, err := run.FindSweeps(r)
	if err != nil {
		return err
	}
	sweep, number, err := run.ChooseSweep(sweeps, s.sweep)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	curve, err := run.MakeCurve(r, sweep, run.Options{Place: run.Place(s.place), Ratio: s.ratio, Circumference: s.circumference,
		Step: s.step, Correction: std, Anyway: s.anyway, Forced: s.forced})
	if err != nil {
		return err
	}
	summary := run.Summary(r, sweeps, number, curve, run.Quality(r, sweep, curve))
	return a.print(summary, func(w io.Writer) error { return writeRun(w, r, summary, curve, in) })
}

func writeRun(w io.Writer, r *run.Run, s *calibrationv1.RunSummary, c *run.Curve, in outcome.Units) error {
	torque, power := in.Torque(), in.Power()
	fmt.Fprintf(w, "%s\n\n", client.OneLine(s.Says))
	fmt.Fprintf(w, "run         %s: %d samples over %.1f s\n", client.OneLine(s.File), s.Samples, s.Duration)
	for i, sweep := range s.Sweeps {
		name, taken := "sweep", ""
		if len(s.Sweeps) > 1 {
			name = fmt.Sprintf("sweep %d", i+1)
		}
		if uint32(i+1) == s.Chosen {
			sweep = s.Sweep
			if len(s.Sweeps) > 1 {
				taken = ", the one shown here"
			}
		}
		fmt.Fprintf(w, "%-11s %.0f to %.0f 1/min, from %.2f s to %.2f s, %d samples, %d left out%s\n", name, sweep.Low, sweep.High, sweep.Begin, sweep.Until, sweep.Samples, sweep.LeftOut, taken)
	}
	writeTaken(w, r)
	fmt.Fprintf(w, "torque at   the %s\n", s.Curve.Place)
	fmt.Fprintf(w, "made of     %s\n", client.OneLine(c.From))
	writeCorrection(w, s.Curve.Correction)
	fmt.Fprintf(w, "scatter     %.1f N·m about the curve\n", s.Curve.Spread)
	for _, q := range s.Quality {
		fmt.Fprintf(w, "quality     %s\n", client.OneLine(q.Text))
	}
	if len(s.Quality) == 0 {
		fmt.Fprintln(w, "quality     nothing doubtful was found")
	}
	doubts := besides(s)
	there := func(speed float64) string {
		if d := doubts[speed]; d != "" {
			return "; doubtful there: " + d
		}
		return ""
	}
	most, strongest := c.PeakTorque, c.PeakPower
	fmt.Fprintf(w, "peak torque %s at %.0f 1/min, ± %s%s\n", outcome.Text(most.Torque, torque, false), most.Speed, outcome.Text(most.PlusMinus, torque, false), there(most.Speed))
	fmt.Fprintf(w, "peak power  %s at %.0f 1/min, ± %s%s\n\n", outcome.Text(strongest.Power, power, false), strongest.Speed,
		outcome.Text(run.Power(strongest.PlusMinus, strongest.Speed), power, false), there(strongest.Speed))
	rows := [][]string{{"1/min"}}
	for _, u := range slices.Concat(torque, power) {
		rows[0] = append(rows[0], u.Name)
	}
	for _, p := range s.Curve.Points {
		row := []string{fmt.Sprintf("%.0f", p.Speed)}
		for _, u := range torque {
			row = append(row, fmt.Sprintf("%.1f", p.Torque/u.Per))
		}
		for _, u := range power {
			row = append(row, fmt.Sprintf("%.1f", p.Power/u.Per))
		}
		rows = append(rows, append(row, doubts[p.Speed]))
	}
	return columns(w, rows)
}

// besides is what is doubtful at each engine speed of the curve, in a word.
func besides(s *calibrationv1.RunSummary) map[float64]string {
	out := map[float64]string{}
	for _, q := range s.Quality {
		nearest := math.Inf(1)
		for _, p := range s.Curve.Points {
			if math.Abs(p.Speed-q.Speed) < math.Abs(nearest-q.Speed) {
				nearest = p.Speed
			}
		}
		if q.Speed > 0 && !strings.Contains(out[nearest], q.Kind) {
			out[nearest] = strings.TrimSpace(out[nearest] + " " + q.Kind)
		}
	}
	return out
}

// writeTaken says what each column of the file was taken for, and which were not read.
func writeTaken(w io.Writer, r *run.Run) {
	for _, c := range r.Channels {
		how := ""
		if c.FromGauge {
			how = ", the barometer added"
		}
		fmt.Fprintf(w, "taken       column %s as %s [%s]%s\n", client.OneLine(c.Header), c.Quantity, client.OneLine(c.Unit), how)
	}
	for _, h := range r.Left {
		fmt.Fprintf(w, "left out    column %s\n", client.OneLine(h))
	}
}

func writeCorrection(w io.Writer, c *calibrationv1.RunCorrection) {
	if c.Pressure == nil {
		fmt.Fprintln(w, "correction  none")
		return
	}
	fmt.Fprintf(w, "correction  %s: factor %.4f ± %.4f (range %g to %g)\n", c.Title, c.Factor, c.PlusMinus, *c.Low, *c.High)
	fmt.Fprintf(w, "            %s\n", c.Formula)
	fmt.Fprintf(w, "            weather %.2f kPa, %.1f Cel", *c.Pressure, *c.Temperature)
	if c.Humidity != nil {
		fmt.Fprintf(w, ", %.0f %% relative humidity", 100**c.Humidity)
	}
	if *c.Vapour > 0 {
		fmt.Fprintf(w, " (%.3f kPa of vapour)", *c.Vapour)
	}
	fmt.Fprintln(w)
	if c.OutOfRange {
		fmt.Fprintf(w, "            OUT OF RANGE, asked for all the same: %s\n", c.Why)
	}
	for _, n := range c.Notes {
		fmt.Fprintf(w, "            note: %s\n", n)
	}
}
