package reckon

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// fuel is what a blend is made of.
type fuel struct{ stoichiometric, density float64 } // kg of air for a kg; kg/L

// fuels by name. The ratios are those of the US Department of Energy's table of fuel properties (Alternative
// Fuels Data Center; methanol's from memory); densities are common practice, at 15 to 20 Cel.
var fuels = map[string]fuel{"petrol": {14.7, 0.745}, "diesel": {14.7, 0.835}, "ethanol": {9, 0.789}, "methanol": {6.45, 0.792}}

// Part of a blend: a name of fuels or a composition such as C2H6O or CH1.85, and its share, of what does
// not matter as long as it is one measure for all. A composition in a blend by volume has its density in
// kg/L; of a named fuel 0 is the usual one.
type Part struct {
	Fuel           string
	Share, Density float64
}

// Mixture is a fuel or a blend by volume, or by mass if ByMass. Of Lambda and Ratio (kg of air for a kg of
// fuel) one is turned into the other; 0 is none.
type Mixture struct {
	Parts         []Part
	ByMass        bool
	Lambda, Ratio float64
}

// Reckon is the blend's stoichiometric ratio, mixed by mass as it has to be, and its density where known.
func (m Mixture) Reckon() (*calibrationv1.Reckoning, error) {
	if len(m.Parts) == 0 {
		return nil, fmt.Errorf("mixture: no fuel; allowed: one or more of %s, or a composition", fuelNames)
	}
	var bounds []bound
	var mass, volume, air float64
	var masses []float64
	for _, p := range m.Parts {
		f, err := fuelOf(p)
		if err != nil {
			return nil, fmt.Errorf("mixture: %w", err)
		}
		bounds = append(bounds, bound{"share_" + p.Fuel, p.Share, "1", 1e-9, 1e9})
		if f.density != 0 || !m.ByMass && len(m.Parts) > 1 {
			bounds = append(bounds, bound{"density_" + p.Fuel, f.density, "kg/L", 0.3, 1.5})
		}
		of := p.Share
		if !m.ByMass && f.density != 0 {
			of = float64(p.Share * f.density)
		}
		masses = append(masses, of)
		mass += of
		air += float64(of * f.stoichiometric)
		volume += of / f.density // infinite where a density is not known
	}
	if m.Lambda != 0 {
		bounds = append(bounds, bound{"lambda", m.Lambda, "1", 0.3, 3})
	}
	if m.Ratio != 0 {
		bounds = append(bounds, bound{"air_fuel_ratio", m.Ratio, "1", 1, 120})
	}
	inputs, err := check(bounds)
	if err != nil {
		return nil, fmt.Errorf("mixture: %w", err)
	}
	ratio := air / mass
	r := &calibrationv1.Reckoning{Kind: "mixture", Inputs: inputs, Results: []*calibrationv1.Quantity{quantity("stoichiometric_ratio", ratio, "1")},
		Formula:     "stoichiometric_ratio = sum(mass * ratio) / sum(mass); air_fuel_ratio = lambda * stoichiometric_ratio; of CcHhOo: (c + h/4 - o/2) * 138.27 / (12.011 c + 1.008 h + 15.999 o)",
		Assumptions: []string{"fuels are mixed by mass: shares by volume are taken times their densities", "dry air is O2 and 3.774 of atmospheric nitrogen, 28.16 g/mol", "volumes add up"},
		Source:      "US Department of Energy, Alternative Fuels Data Center, fuel properties; densities are common practice",
	}
	if !math.IsInf(volume, 0) {
		r.Results = append(r.Results, quantity("density", mass/volume, "kg/L"))
	}
	for i, p := range m.Parts {
		if len(m.Parts) > 1 {
			r.Results = append(r.Results, quantity("mass_share_"+p.Fuel, 100*masses[i]/mass, "%"))
		}
	}
	if m.Lambda != 0 {
		r.Results = append(r.Results, quantity("air_fuel_ratio", m.Lambda*ratio, "1"))
	}
	if m.Ratio != 0 {
		r.Results = append(r.Results, quantity("lambda", m.Ratio/ratio, "1"))
	}
	return r, nil
}

const fuelNames = "petrol, diesel, ethanol, methanol"

var composed = regexp.MustCompile(`^C(\d+(?:\.\d+)?)?(?:H(\d+(?:\.\d+)?)?)?(?:O(\d+(?:\.\d+)?)?)?$`)

// fuelOf is a named fuel, or one by its composition.
func fuelOf(p Part) (fuel, error) {
	if f, ok := fuels[p.Fuel]; ok {
		if p.Density != 0 {
			f.density = p.Density
		}
		return f, nil
	}
	parts := composed.FindStringSubmatch(p.Fuel)
	if parts == nil {
		return fuel{}, fmt.Errorf("fuel %.40q; allowed: %s, or a composition such as C2H6O or CH1.85", p.Fuel, fuelNames)
	}
	count := func(i int, element string) float64 {
		if parts[i] == "" {
			return float64(strings.Count(p.Fuel, element))
		}
		v, _ := strconv.ParseFloat(parts[i], 64) // digits, by the expression
		return v
	}
	c, h, o := count(1, "C"), count(2, "H"), count(3, "O")
	oxygen := c + float64(h/4) - float64(o/2)
	if !(c <= 1000 && h <= 4000 && o <= 1000) || !(oxygen > 0) {
		return fuel{}, fmt.Errorf("fuel %.40q needs no air; allowed: a composition that burns", p.Fuel)
	}
	const air = 31.998 + 3.774*28.16 // g for a mol of oxygen
	return fuel{oxygen * air / (float64(12.011*c) + float64(1.008*h) + float64(15.999*o)), p.Density}, nil
}

// ParsePart reads FUEL[=SHARE[:DENSITY]]; the share is 1 where it is left out.
func ParsePart(s string) (Part, error) {
	name, rest, shared := strings.Cut(s, "=")
	p := Part{Fuel: name, Share: 1}
	share, density, dense := strings.Cut(rest, ":")
	var err1, err2 error
	if shared {
		p.Share, err1 = strconv.ParseFloat(share, 64)
	}
	if dense {
		p.Density, err2 = strconv.ParseFloat(density, 64)
	}
	if err1 != nil || err2 != nil || !(p.Share > 0) || dense && !(p.Density > 0) {
		return p, fmt.Errorf("fuel %.40q; allowed: a fuel, as in petrol, with its share, as in ethanol=85, and its density in kg/L, as in C8H18=5:0.69", s)
	}
	return p, nil
}
