package units

import (
	"math"
	"strings"
	"testing"
)

// Expected figures with their sources: "SP 811" is NIST Special Publication 811 (2008),
// appendix B.8, as printed with seven significant digits (so within 5e-7 of the true value);
// "exact" is the rational worked out from the definitions of inch, pound, standard gravity and
// degree, checked with GNU units 2.22.
func TestLevels(t *testing.T) {
	const exact, printed = 1e-12, 5e-7
	tests := []struct {
		from, to    string
		value, want float64
		tolerance   float64
		source      string
	}{
		{"[lb_av]", "kg", 1, 0.4535924, printed, "SP 811"},
		{"[lbf_av]", "N", 1, 4.448222, printed, "SP 811"},
		{"[lbf.ft]", "N.m", 1, 1.355818, printed, "SP 811"},
		{"[lbf.in]", "N.m", 1, 0.1129848, printed, "SP 811"},
		{"kgf.m", "N.m", 1, 9.80665, exact, "SP 811"},
		{"hp", "W", 1, 745.6999, printed, "SP 811"},
		{"PS", "W", 1, 735.4988, printed, "SP 811"},
		{"[psi]", "Pa", 1, 6894.757, printed, "SP 811"},
		{"bar", "Pa", 1, 100000, exact, "SP 811"},
		{"atm", "Pa", 1, 101325, exact, "SP 811"},
		{"[in_i'Hg]", "Pa", 1, 3386.389, printed, "SP 811"},
		{"mm[Hg]", "Pa", 1, 133.3224, printed, "SP 811"},
		{"[lb_av]/min", "g/s", 1, 7.559873, printed, "SP 811"},
		{"[lb_av]/h", "g/s", 1, 0.1259979, printed, "SP 811"},
		{"[lbf.ft]", "N.m", 1, 1.3558179483314004, exact, "exact"},
		{"hp", "W", 1, 745.69987158227022, exact, "exact"},
		{"psi", "Pa", 1, 6894.757293168361, exact, "exact"},
		{"bar", "psi", 1, 14.503773773020922, exact, "exact"},
		{"atm", "[psi]", 1, 14.695948775513449, exact, "exact"},
		{"atm", "[in_i'Hg]", 1, 29.921255579748476, exact, "exact"},
		{"kW", "[HP]", 1, 1.341022089595028, exact, "exact"},
		{"kW", "PS", 1, 1.359621617303904, exact, "exact"},
		{"hp", "PS", 1, 1.013869665424, exact, "exact"},
		{"[cin_i]", "cm3", 1, 16.387064, exact, "exact"},
		{"Cel", "K", 25, 298.15, exact, "definition of the degree Celsius, BIPM SI brochure"},
		{"[degF]", "Cel", 212, 100, exact, "SP 811 B.9"},
		{"[degF]", "K", -459.67, 0, exact, "SP 811 B.9"},
		{"Cel", "[degF]", -40, -40, exact, "the two scales meet at -40"},
		{"1/min", "rad/s", 9549.296585513720, 1000, exact, "60000/(2 pi), pi to 50 digits"},
		{"rpm", "Hz", 6000, 100, exact, "arithmetic"},
		{"Hz", "deg/s", 1, 360, exact, "arithmetic"},
		{"deg", "rad", 180, math.Pi, exact, "arithmetic"},
		{"mbar", "kPa", 1013.25, 101.325, exact, "arithmetic"},
		{"%", "1", 12.5, 0.125, exact, "arithmetic"},
		{"kg/h", "g/s", 3.6, 1, exact, "arithmetic"},
		{"km/h", "m/s", 3.6, 1, exact, "arithmetic"},
		{"mph", "km/h", 1, 1.609344, exact, "the international mile is 1609.344 m"},
		{"L", "cm3", 1.8, 1800, exact, "arithmetic"},
		{"us", "ms", 2500, 2.5, exact, "arithmetic"},
		{"mV", "V", 250, 0.25, exact, "arithmetic"},
		{"mg/{stroke}", "g/{stroke}", 500, 0.5, exact, "arithmetic"},
		{"W/(m2.K)", "kW/m2/K", 500, 0.5, exact, "arithmetic"},
		{"/min", "s-1", 60, 1, exact, "arithmetic"},
	}
	for _, tt := range tests {
		got, err := Convert(tt.from, tt.to, tt.value)
		if err != nil {
			t.Errorf("%s to %s: %v", tt.from, tt.to, err)
			continue
		}
		if math.Abs(got-tt.want) > tt.tolerance*max(math.Abs(tt.want), 1) {
			t.Errorf("%v %s = %.17g %s, want %.17g (%s)", tt.value, tt.from, got, tt.to, tt.want, tt.source)
		}
		back, err := Convert(tt.to, tt.from, got)
		if err != nil || math.Abs(back-tt.value) > 1e-12*max(math.Abs(tt.value), 1000) {
			t.Errorf("%s to %s and back: %v %v, want %v", tt.from, tt.to, back, err, tt.value)
		}
	}
}

// Decimal factors leave no trace of the base units that they went through.
func TestRoundedOnce(t *testing.T) {
	for _, tt := range []struct {
		from, to string
		want     Converter
	}{
		{"bar", "kPa", Converter{Factor: 100}}, {"kPa", "bar", Converter{Factor: 0.01}}, {"mbar", "Pa", Converter{Factor: 100}},
		{"Cel", "K", Converter{Factor: 1, Offset: 273.15}}, {"K", "Cel", Converter{Factor: 1, Offset: -273.15}},
		{"g/s", "kg/h", Converter{Factor: 3.6}}, {"deg", "deg{crank}", Converter{Factor: 1}},
	} {
		if got, err := Between(tt.from, tt.to); got != tt.want || err != nil {
			t.Errorf("%s to %s: %v, %v; want %v", tt.from, tt.to, got, err, tt.want)
		}
	}
}

func TestDifferences(t *testing.T) {
	for _, tt := range []struct {
		from, to    string
		value, want float64
	}{
		{"Cel", "K", 20, 20}, {"[degF]", "K", 9, 5}, {"%/Cel", "%/K", 2, 2}, {"bar", "kPa{gauge}", 0.5, 50}, {"kPa{gauge}", "kPa", 3, 3},
	} {
		if got, err := ConvertDifference(tt.from, tt.to, tt.value); math.Abs(got-tt.want) > 1e-12 || err != nil {
			t.Errorf("difference of %v %s = %v %s, %v; want %v", tt.value, tt.from, got, tt.to, err, tt.want)
		}
	}
}

func TestRefused(t *testing.T) {
	for _, tt := range []struct{ from, to, says string }{
		{"kPa", "deg", "kPa is a pressure and deg is an angle: they do not convert"},
		{"m2", "m", "m2 is of kind m2 and m is a length"},
		{"deg", "%", "do not convert"},
		{"rad", "1", "do not convert"},
		{"kPa{gauge}", "kPa", "gauge"},
		{"bar", "[psi]{gauge}", "gauge"},
		{"kg/h", "kg", "do not convert"},
		{"furlong", "m", "not known"},
		{"m", "", "not a unit"},
		{"Gm9.Gm9.Gm9.Gm9", "nm9.nm9.nm9.nm9", "too far apart"},
		{"kPa", "kPa/", "not known"},
		{"m", "m0", "not known"},
		{"m", "m99", "not known"},
		{"m", "(m", "not known"},
		{"m", "m)", "not known"},
		{"m", "0.m", "not known"},
		{"m", "m{", "not known"},
		{"m", "((((((((((m))))))))))", "not known"},
		{"m", strings.Repeat("m.", 100) + "m", "not a unit"},
	} {
		if _, err := Between(tt.from, tt.to); err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%q to %q: %v, want an error that says %q", tt.from, tt.to, err, tt.says)
		}
	}
}

func TestGauge(t *testing.T) {
	for _, tt := range []struct {
		quantity, unit string
		want           bool
	}{
		{"manifold_pressure", "kPa", false}, {"manifold_pressure_gauge", "kPa", true}, {"", "bar{gauge}", true},
		{"fuel_gauge", "L", false}, {"Gauge pressure", "psi", true},
	} {
		if got := IsGauge(tt.quantity, tt.unit); got != tt.want {
			t.Errorf("IsGauge(%q, %q) = %v", tt.quantity, tt.unit, got)
		}
	}
	if _, err := BetweenQuantities("boost_gauge", "kPa", "", "bar{gauge}"); err != nil {
		t.Error(err)
	}
	if _, err := BetweenQuantities("boost_gauge", "kPa", "boost", "kPa"); err == nil {
		t.Error("gauge became absolute between equal units of other quantities")
	}
}

func TestUnknownButEqual(t *testing.T) {
	c, err := Between("teeth", "teeth")
	if err != nil || c != (Converter{Factor: 1}) {
		t.Errorf("%v %v", c, err)
	}
}

func TestEveryAtomParses(t *testing.T) {
	for name := range atoms {
		if _, err := parse(name); err != nil {
			t.Error(err)
		}
	}
	for name := range spoken {
		if _, err := parse(name); err != nil {
			t.Error(err)
		}
	}
}

func FuzzBetween(f *testing.F) {
	for _, s := range []string{"kPa{gauge}", "1/min", "W/(m2.K)", "[in_i'Hg]", "m-2", "{", "10.m", "%/Cel"} {
		f.Add(s, "kPa")
	}
	f.Fuzz(func(t *testing.T, from, to string) {
		c, err := Between(from, to)
		if err != nil {
			return
		}
		if !(math.Abs(c.Factor) > 0) || math.IsInf(c.Factor, 0) || math.IsNaN(c.Offset) {
			t.Fatalf("%q to %q: %v", from, to, c)
		}
		if _, err := Between(to, from); err != nil {
			t.Fatalf("%q to %q converts and back it does not: %v", from, to, err)
		}
	})
}
