package main

import (
	"github.com/spf13/cobra"

	"witnessmark/tables/reckon"
)

func newReckonLoad(a *app) *cobra.Command {
	k := &reckon.Load{}
	c := a.reckonCommand("load", "Mean effective pressure, power and specific consumption from torque", k, func(c *cobra.Command) {
		f := c.Flags()
		f.Float64Var(&k.Torque, "torque", 0, "at the crank, N.m (required)")
		f.Float64Var(&k.Displacement, "displacement", 0, "L (required)")
		f.Float64Var(&k.Speed, "engine-speed", 0, "1/min (required)")
		f.Float64Var(&k.FuelFlow, "fuel-flow", 0, "kg/h; left out, no consumption is told")
		f.Float64Var(&k.Limit, "pressure-limit", 0, "highest mean effective pressure, kPa")
	}, "torque", "displacement", "engine-speed")
	return positive(c, "fuel-flow", "pressure-limit")
}

func newReckonCooler(a *app) *cobra.Command {
	k := &reckon.Cooler{}
	c := a.reckonCommand("cooler", "Outlet temperature and density behind a charge cooler", k, func(c *cobra.Command) {
		f := c.Flags()
		f.Float64Var(&k.Inlet, "inlet", 0, "temperature of the charge before it, Cel (required)")
		f.Float64Var(&k.Coolant, "coolant", 0, "temperature of the air or water that cools, at the cooler, Cel (required)")
		f.Float64Var(&k.Effectiveness, "effectiveness", 0, "0 to 1 (required)")
		f.Float64Var(&k.Pressure, "pressure", 0, "before it, kPa, absolute; with --loss")
		f.Float64Var(&k.Loss, "loss", 0, "of pressure across it, kPa")
		f.Float64Var(&k.AirFlow, "air-flow", 0, "kg/h; left out, no heat is told")
		f.Float64Var(&k.Limit, "outlet-limit", 0, "highest temperature behind it, Cel")
	}, "inlet", "coolant", "effectiveness")
	c.MarkFlagsRequiredTogether("pressure", "loss")
	return positive(c, "pressure", "air-flow", "outlet-limit")
}

func newReckonChoke(a *app) *cobra.Command {
	k := &reckon.Choke{}
	c := a.reckonCommand("choke", "Air through a restriction, and the most that passes", k, func(c *cobra.Command) {
		f := c.Flags()
		f.Float64Var(&k.Diameter, "diameter", 0, "mm (required)")
		f.Float64Var(&k.Coefficient, "coefficient", 1, "of discharge; 1 for a restriction without loss")
		f.Float64Var(&k.Pressure, "pressure", 101.325, "of the air before it, kPa, absolute")
		f.Float64Var(&k.Temperature, "temperature", 15, "of the air before it, Cel")
		f.Float64Var(&k.Behind, "pressure-behind", 0, "kPa, absolute; left out, as low as it gets")
		f.Float64Var(&k.AirFlow, "air-flow", 0, "the flow that is wanted, kg/h")
	}, "diameter")
	return positive(c, "pressure-behind", "air-flow")
}

func newReckonMixture(a *app) *cobra.Command {
	k := &reckon.Mixture{}
	c := a.reckonCommand("mixture", "Stoichiometric ratio of a fuel or a blend, and lambda from an air-fuel ratio", k, func(c *cobra.Command) {
		f := c.Flags()
		f.Var((*parts)(&k.Parts), "fuel", "petrol, diesel, ethanol, methanol, or a composition such as C2H6O; of a blend with its share, as in ethanol=85, and repeated (required)")
		f.BoolVar(&k.ByMass, "by-mass", false, "shares are of mass, not of volume")
		f.Float64Var(&k.Lambda, "lambda", 0, "turned into an air-fuel ratio")
		f.Float64Var(&k.Ratio, "air-fuel-ratio", 0, "kg of air for a kg of fuel, turned into lambda")
	}, "fuel")
	return positive(c, "lambda", "air-fuel-ratio")
}

// parts is a flag that is given once for each part of a blend.
type parts []reckon.Part

func (p *parts) String() string { return "" }
func (p *parts) Type() string   { return "FUEL[=SHARE]" }
func (p *parts) Set(s string) error {
	part, err := reckon.ParsePart(s)
	if err == nil {
		*p = append(*p, part)
	}
	return err
}
