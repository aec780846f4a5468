package units

import "strings"

// spellings are units as people and controllers' descriptions write them, folded, and the UCUM code of each.
var spellings = map[string]string{
	"s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "ms": "ms", "msec": "ms", "millisecond": "ms", "milliseconds": "ms",
	"min": "min", "minutes": "min", "h": "h", "hours": "h",
	"rpm": "1/min", "1/min": "1/min", "min1": "1/min", "/min": "1/min", "r/min": "1/min", "rev/min": "1/min", "revs/min": "1/min", "u/min": "1/min",
	"nm": "N.m", "newtonmetre": "N.m", "newtonmeter": "N.m", "kgm": "kgf.m", "kgfm": "kgf.m",
	"lbft": "[lbf_av].[ft_i]", "ftlb": "[lbf_av].[ft_i]", "lbsft": "[lbf_av].[ft_i]", "ftlbs": "[lbf_av].[ft_i]", "lbfft": "[lbf_av].[ft_i]",
	"ftlbf": "[lbf_av].[ft_i]", "poundfeet": "[lbf_av].[ft_i]", "lbin": "[lbf_av].[in_i]", "inlb": "[lbf_av].[in_i]",
	"kw": "kW", "w": "W", "hp": "[HP]", "bhp": "[HP]", "whp": "[HP]", "ps": "PS", "cv": "PS", "metrichp": "PS", "hp(metric)": "PS",
	"n": "N", "kn": "kN", "lbf": "[lbf_av]", "kgf": "kgf", "m": "m", "mm": "mm",
	"km/h": "km/h", "kph": "km/h", "kmh": "km/h", "kmph": "km/h", "mph": "[mi_i]/h", "mi/h": "[mi_i]/h", "m/s": "m/s",
	"c": "Cel", "°c": "Cel", "degc": "Cel", "℃": "Cel", "celsius": "Cel", "cel": "Cel", "f": "[degF]", "°f": "[degF]", "degf": "[degF]", "℉": "[degF]",
	"fahrenheit": "[degF]", "k": "K", "°k": "K", "kelvin": "K",
	"pa": "Pa", "hpa": "hPa", "kpa": "kPa", "bar": "bar", "mbar": "mbar", "atm": "atm", "psi": "[psi]",
	"kpaa": "kPa", "kpaabs": "kPa", "kpa(a)": "kPa", "kpa(abs)": "kPa", "bara": "bar", "barabs": "bar", "bar(a)": "bar", "bar(abs)": "bar",
	"mbara": "mbar", "mbarabs": "mbar", "mbar(a)": "mbar", "psia": "[psi]", "psiabs": "[psi]", "psi(a)": "[psi]",
	"kpag": "kPa{gauge}", "kpagauge": "kPa{gauge}", "kpa(g)": "kPa{gauge}", "barg": "bar{gauge}", "bargauge": "bar{gauge}", "bar(g)": "bar{gauge}",
	"mbarg": "mbar{gauge}", "mbargauge": "mbar{gauge}", "mbar(g)": "mbar{gauge}", "psig": "[psi]{gauge}", "psigauge": "[psi]{gauge}", "psi(g)": "[psi]{gauge}",
	"inhg": "[in_i'Hg]", "inchhg": "[in_i'Hg]", "\"hg": "[in_i'Hg]", "mmhg": "mm[Hg]",
	"%": "%", "pct": "%", "percent": "%", "%rh": "%", "rh%": "%", "rh": "%",
	"deg": "deg", "°": "deg", "degree": "deg", "degrees": "deg", "degbtdc": "deg", "°btdc": "deg", "degca": "deg", "°ca": "deg", "degcrk": "deg", "°crk": "deg", "btdc": "deg",
	"gradc": "Cel", "grdc": "Cel", "gradcelsius": "Cel", "grad": "deg", "gradkw": "deg", "grdkw": "deg", "°kw": "deg", "degkw": "deg", "degcrs": "deg", "°crs": "deg",
	"upm": "1/min", "umin": "1/min", "hpaabs": "hPa", "prozent": "%", "mg/stk": "mg/{stroke}", "mg/hub": "mg/{stroke}", "mg/stroke": "mg/{stroke}",
	"mg/str": "mg/{stroke}", "mg/inj": "mg/{injection}", "mm3/stk": "mm3/{stroke}", "mm3/hub": "mm3/{stroke}", "mm3/stroke": "mm3/{stroke}", "mm³/hub": "mm3/{stroke}",
	"µs": "us", "μs": "us", "us": "us", "ohm": "Ohm", "ω": "Ohm", "kohm": "kOhm", "ma": "mA", "amp": "A", "g/kwh": "g/(kW.h)", "nounit": "1", "none": "1", "[]": "1",
	"": "1", "1": "1", "λ": "1", "lambda": "1", "afr": "1", ":1": "1", "v": "V", "volt": "V", "volts": "V", "mv": "mV", "g/s": "g/s", "kg/h": "kg/h",
}

// fold leaves of a unit what its spellings agree on, beside capitals.
var fold = strings.NewReplacer(" ", "", "\u00a0", "", ".", "", "·", "", "*", "", "^", "", "-", "", "−", "", "_", "", "⁻¹", "1", "¹", "1", "º", "°")

// Folded is what the spellings of a unit have in common.
func Folded(written string) string { return strings.ToLower(fold.Replace(strings.TrimSpace(written))) }

// Spelled is the UCUM code of a unit as people write it, where one is known; codes themselves are not looked at.
func Spelled(written string) (code string, known bool) {
	code, known = spellings[Folded(written)]
	return code, known
}
