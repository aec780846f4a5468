package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/reckon"
)

// reckoner is parts arithmetic with its inputs filled in.
type reckoner interface {
	Reckon() (*calibrationv1.Reckoning, error)
}

func newReckonCommand(a *app) *cobra.Command {
	return group("reckon", "Parts arithmetic, with its formula, inputs, assumptions and source (needs no server)",
		newReckonBlower(a), newReckonCompressor(a), newReckonAirFlow(a), newReckonInjector(a), newReckonDuty(a), newReckonPressure(a),
		newReckonLoad(a), newReckonCooler(a), newReckonChoke(a), newReckonMixture(a))
}

// reckonCommand is one kind; the flags named must be given. Remarks say that a result is beyond its
// limit, and then the answer is no.
func (a *app) reckonCommand(use, short string, r reckoner, flags func(c *cobra.Command), needed ...string) *cobra.Command {
	c := &cobra.Command{Use: use, Short: short, Args: takes(0), RunE: func(*cobra.Command, []string) error {
		m, err := r.Reckon()
		if err != nil {
			return err
		}
		a.saidNo = len(m.Remarks) > 0
		return a.print(m, func(w io.Writer) error { return writeReckoning(w, m) })
	}}
	flags(c)
	return required(c, needed...)
}

func newReckonBlower(a *app) *cobra.Command {
	b := &reckon.Blower{}
	c := a.reckonCommand("blower", "Rotor speed of a belt-driven blower, and its margin", b, func(c *cobra.Command) {
		f := c.Flags()
		f.Float64Var(&b.Crank, "crank", 0, "crank pulley, effective diameter in mm (required)")
		f.Float64Var(&b.Pulley, "pulley", 0, "blower pulley, effective diameter in mm (required)")
		f.Float64Var(&b.OldPulley, "old-pulley", 0, "the pulley before, in mm; the ratio is set against it")
		f.Float64Var(&b.Gear, "internal-ratio", 1, "turns of the rotor for one of the blower pulley")
		f.Float64Var(&b.EngineSpeed, "engine-speed", 0, "highest engine speed, 1/min (required)")
		f.Float64Var(&b.RotorLimit, "rotor-limit", 0, "highest rotor speed that the maker allows, 1/min (required)")
	}, "crank", "pulley", "engine-speed", "rotor-limit")
	return positive(c, "old-pulley", "internal-ratio")
}

// positive refuses a zero that was given: left out, these flags stand for something else.
func positive(c *cobra.Command, names ...string) *cobra.Command {
	c.PreRunE = func(c *cobra.Command, _ []string) error {
		for _, n := range names {
			if v, err := c.Flags().GetFloat64(n); err == nil && c.Flags().Changed(n) && !(v > 0) {
				return fmt.Errorf("--%s %g; allowed: above 0", n, v)
			}
		}
		return nil
	}
	return c
}

func newReckonCompressor(a *app) *cobra.Command {
	k := &reckon.Compressor{}
	return a.reckonCommand("compressor", "Outlet temperature of a compressor", k, func(c *cobra.Command) {
		f := c.Flags()
		f.Float64Var(&k.Inlet, "inlet", 0, "inlet temperature, Cel (required)")
		f.Float64Var(&k.PressureRatio, "pressure-ratio", 0, "outlet to inlet, absolute pressures (required)")
		f.Float64Var(&k.Efficiency, "efficiency", 0, "isentropic, 0 to 1 (required)")
	}, "inlet", "pressure-ratio", "efficiency")
}

func newReckonAirFlow(a *app) *cobra.Command {
	k := &reckon.AirFlow{}
	return a.reckonCommand("airflow", "Air mass flow of a four-stroke engine", k, func(c *cobra.Command) {
		f := c.Flags()
		f.Float64Var(&k.Displacement, "displacement", 0, "L (required)")
		f.Float64Var(&k.Speed, "engine-speed", 0, "1/min (required)")
		f.Float64Var(&k.Efficiency, "efficiency", 0, "volumetric, 1 for a whole filling at this pressure and temperature (required)")
		f.Float64Var(&k.Pressure, "pressure", 101.325, "kPa, absolute")
		f.Float64Var(&k.Temperature, "temperature", 15, "Cel")
	}, "displacement", "engine-speed", "efficiency")
}

func newReckonInjector(a *app) *cobra.Command {
	k := &reckon.Injector{}
	return a.reckonCommand("injector", "Injector duty against a ceiling", k, func(c *cobra.Command) {
		f := c.Flags()
		f.Float64Var(&k.AirFlow, "air-flow", 0, "kg/h (required)")
		f.Float64Var(&k.Lambda, "lambda", 0, "1 (required)")
		f.Float64Var(&k.Stoichiometric, "stoichiometric", 0, "kg of air for a kg of the fuel, as 14.7 for petrol (required)")
		f.IntVar(&k.Injectors, "injectors", 0, "how many, as a rule one a cylinder (required)")
		f.Float64Var(&k.Flow, "flow", 0, "of one injector held open, cm3/min at the working pressure (required)")
		f.Float64Var(&k.Density, "density", 0, "of the fuel, kg/L (required)")
		f.Float64Var(&k.Ceiling, "ceiling", 85, "highest duty, %")
	}, "air-flow", "lambda", "stoichiometric", "injectors", "flow", "density")
}

func newReckonDuty(a *app) *cobra.Command {
	k := &reckon.Duty{}
	return a.reckonCommand("duty", "Injector duty from its pulse width, against a ceiling", k, func(c *cobra.Command) {
		f := c.Flags()
		f.Float64Var(&k.Width, "pulse-width", 0, "ms (required)")
		f.Float64Var(&k.Speed, "engine-speed", 0, "1/min (required)")
		f.Float64Var(&k.Ceiling, "ceiling", 85, "highest duty, %")
	}, "pulse-width", "engine-speed")
}

func newReckonPressure(a *app) *cobra.Command {
	k := &reckon.Pressure{}
	c := a.reckonCommand("pressure", "Gauge against absolute pressure at an altitude", k, func(c *cobra.Command) {
		f := c.Flags()
		f.Float64Var(&k.Gauge, "gauge", 0, "kPa above ambient")
		f.Float64Var(&k.Absolute, "absolute", 0, "kPa")
		f.Float64Var(&k.Ambient, "ambient", 0, "kPa, measured; left out, the standard atmosphere at --altitude")
		f.Float64Var(&k.Altitude, "altitude", 0, "m")
	})
	c.MarkFlagsOneRequired("gauge", "absolute")
	c.MarkFlagsMutuallyExclusive("gauge", "absolute")
	c.MarkFlagsMutuallyExclusive("ambient", "altitude")
	return positive(c, "ambient", "absolute")
}

func writeReckoning(w io.Writer, m *calibrationv1.Reckoning) error {
	var rows [][]string
	add := func(list []*calibrationv1.Quantity) {
		for _, q := range list {
			rows = append(rows, []string{"  " + strings.ReplaceAll(q.Name, "_", " "), fmt.Sprintf("%.6g", q.Value), q.Unit})
		}
	}
	rows = append(rows, []string{m.Kind})
	add(m.Results)
	rows = append(rows, []string{"from"})
	add(m.Inputs)
	if err := columns(w, rows); err != nil {
		return err
	}
	fmt.Fprintf(w, "formula     %s\n", m.Formula)
	for _, s := range m.Assumptions {
		fmt.Fprintf(w, "assumed     %s\n", s)
	}
	fmt.Fprintf(w, "source      %s\n", m.Source)
	for _, s := range m.Remarks {
		fmt.Fprintf(w, "WARNING     %s\n", s)
	}
	return nil
}
