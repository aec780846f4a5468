package outcome

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"witnessmark/tables/run"
)

// Units says which units are printed. Values inside are always N.m, kW and 1/min.
type Units string

// The choices of --units.
const (
	Metric   Units = "metric"
	Imperial Units = "imperial"
	Both     Units = "both"
)

// ParseUnits reads a --units flag.
func ParseUnits(s string) (Units, error) {
	switch u := Units(s); u {
	case Metric, Imperial, Both:
		return u, nil
	}
	return "", fmt.Errorf("--units %q: allowed are metric, imperial and both", s)
}

// Exact by definition: the pound-force foot from the international pound, foot and standard
// gravity; the horsepower as 550 of them a second; the PS as 75 kgf.m/s.
const (
	newtonMetresPerPoundFoot = 1.3558179483314004
	kilowattsPerHorsepower   = 0.74569987158227022
	kilowattsPerPS           = 0.73549875
)

// Unit is one to print in: a value is divided by Per.
type Unit struct {
	Name string
	Per  float64
}

// Torque is the units of torque.
func (u Units) Torque() []Unit {
	metric, imperial := Unit{"N·m", 1}, Unit{"lb·ft", newtonMetresPerPoundFoot}
	return u.pick([]Unit{metric}, []Unit{imperial})
}

// Power is the units of power.
func (u Units) Power() []Unit {
	return u.pick([]Unit{{"kW", 1}, {"PS", kilowattsPerPS}}, []Unit{{"hp", kilowattsPerHorsepower}})
}

func (u Units) pick(metric, imperial []Unit) []Unit {
	switch u {
	case Imperial:
		return imperial
	case Both:
		return append(metric, imperial...)
	}
	return metric
}

// Text prints a value in every unit of a list; signed puts a + before a rise.
func Text(v float64, in []Unit, signed bool) string {
	var s []string
	for _, o := range in {
		n := math.Round(v/o.Per*10) / 10
		if n == 0 {
			n = 0 // never -0.0
		}
		f := "%.1f %s"
		if signed {
			f = "%+.1f %s"
		}
		s = append(s, strings.Replace(fmt.Sprintf(f, n, o.Name), "-", "−", 1))
	}
	return strings.Join(s, " / ")
}

// place says where torque was measured.
func place(p run.Place) string {
	if p == run.Wheels {
		return "at the wheels"
	}
	return "at the crank"
}

// ParseBand reads a --band flag: LOW-HIGH in 1/min.
func ParseBand(s string) (low, high float64, err error) {
	a, b, ok := strings.Cut(s, "-")
	low, err1 := strconv.ParseFloat(a, 64)
	high, err2 := strconv.ParseFloat(b, 64)
	if !ok || err1 != nil || err2 != nil || !(low >= 0 && high > low && high <= 1e6) {
		return 0, 0, fmt.Errorf("--band %.40q: allowed are two engine speeds in 1/min, the lower first, as in 2000-6000", s)
	}
	return low, high, nil
}

// ParsePlace reads an --at flag; empty is the place that a run has.
func ParsePlace(s string) (run.Place, error) {
	switch p := run.Place(s); p {
	case "", run.Crank, run.Wheels:
		return p, nil
	}
	return "", fmt.Errorf("--at %.40q: allowed are crank and wheels", s)
}
