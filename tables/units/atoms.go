package units

import "math/big"

// Where the figures come from. Units of the SI and those accepted with it: by definition.
// Inch 0.0254 m, pound 0.45359237 kg, standard gravity 9.80665 m/s2, and what follows from
// them (pound-force, psi, horsepower of 550 ft.lbf/s), conventional mercury of 13 595.1 kg/m3,
// metric horsepower of 75 kgf.m/s: the exact definitions in NIST SP 811 (2008), appendix B.
// A level in degrees Fahrenheit: K = (F + 459.67) * 5/9, same place. UCUM's own table rounds
// mercury to 133.322 kPa for a metre; here it is the conventional value. PS is no UCUM code.

// atom is a symbol's own value in the base units, as decimal fractions so that it is exact.
type atom struct {
	num, den string // den "" is 1
	pi       int
	offset   string // of a level, in base units; "" for none
	dim      dimension
	prefixed bool // may have a decimal prefix
}

var (
	force  = dimension{m: 1, g: 1, s: -2}
	energy = dimension{m: 2, g: 1, s: -2}
	power  = dimension{m: 2, g: 1, s: -3}
	volt   = dimension{m: 2, g: 1, s: -3, a: -1}
	length = dimension{m: 1}
	volume = dimension{m: 3}
	mass   = dimension{g: 1}
	moment = dimension{s: 1}
	warmth = dimension{k: 1}
	angle  = dimension{rad: 1}
)

// kinds names the dimensions that the trade has words for.
var kinds = map[dimension]string{
	{}: "a plain number", length: "a length", volume: "a volume", mass: "a mass", moment: "a time", warmth: "a temperature",
	angle: "an angle", frequency: "a number per time", angular: "an angle per time", force: "a force", energy: "an energy or torque",
	power: "a power", pressure: "a pressure", volt: "a voltage", {a: 1}: "a current", {m: 1, s: -1}: "a speed",
	{g: 1, s: -1}: "a mass flow", {m: 3, s: -1}: "a volume flow",
}

// atoms are the symbols that a code is made of. Masses count in grams, as in UCUM.
var atoms = map[string]atom{
	"%": {num: "0.01"}, "[ppm]": {num: "0.000001"},
	"m": {num: "1", dim: length, prefixed: true}, "[in_i]": {num: "0.0254", dim: length},
	"[ft_i]": {num: "0.3048", dim: length}, "[mi_i]": {num: "1609.344", dim: length},
	"L": {num: "0.001", dim: volume, prefixed: true}, "l": {num: "0.001", dim: volume, prefixed: true},
	"[cin_i]": {num: "0.000016387064", dim: volume}, "[gal_us]": {num: "0.003785411784", dim: volume},
	"g": {num: "1", dim: mass, prefixed: true}, "t": {num: "1000000", dim: mass, prefixed: true},
	"[lb_av]": {num: "453.59237", dim: mass},
	"s":       {num: "1", dim: moment, prefixed: true}, "min": {num: "60", dim: moment},
	"h": {num: "3600", dim: moment}, "d": {num: "86400", dim: moment},
	"Hz":  {num: "1", dim: frequency, prefixed: true},
	"rad": {num: "1", dim: angle, prefixed: true}, "deg": {num: "1", den: "180", pi: 1, dim: angle},
	"K": {num: "1", dim: warmth, prefixed: true}, "Cel": {num: "1", offset: "273.15", dim: warmth},
	"[degF]": {num: "5", den: "9", offset: "229835/900", dim: warmth},
	"A":      {num: "1", dim: dimension{a: 1}, prefixed: true}, "V": {num: "1000", dim: volt, prefixed: true},
	"Ohm": {num: "1000", dim: dimension{m: 2, g: 1, s: -3, a: -2}, prefixed: true},
	"N":   {num: "1000", dim: force, prefixed: true}, "[lbf_av]": {num: "4448.2216152605", dim: force},
	"gf": {num: "9.80665", dim: force, prefixed: true},
	"J":  {num: "1000", dim: energy, prefixed: true}, "W": {num: "1000", dim: power, prefixed: true},
	"[HP]": {num: "745699.87158227022", dim: power}, "PS": {num: "735498.75", dim: power},
	"Pa": {num: "1000", dim: pressure, prefixed: true}, "bar": {num: "100000000", dim: pressure, prefixed: true},
	"atm": {num: "101325000", dim: pressure}, "[psi]": {num: "4448.2216152605", den: "0.00064516", dim: pressure},
	"m[Hg]": {num: "133322387.415", dim: pressure, prefixed: true}, "[in_i'Hg]": {num: "3386388.640341", dim: pressure},
	"m[H2O]": {num: "9806650", dim: pressure, prefixed: true},
}

// spoken is what the trade writes for a standard code.
var spoken = map[string]string{
	"psi": "[psi]", "[lbf.ft]": "[lbf_av].[ft_i]", "lbf.ft": "[lbf_av].[ft_i]", "[lbf.in]": "[lbf_av].[in_i]",
	"hp": "[HP]", "rpm": "1/min", "mph": "[mi_i]/h",
}

// prefixes are powers of ten.
var prefixes = []struct {
	name  string
	power int64
}{{"da", 1}, {"G", 9}, {"M", 6}, {"k", 3}, {"h", 2}, {"d", -1}, {"c", -2}, {"m", -3}, {"u", -6}, {"n", -9}}

func one() *unit { return &unit{factor: big.NewRat(1, 1)} }

// lookup finds a symbol: an atom as it stands, else a prefix and an atom.
func lookup(symbol string) (*unit, bool) {
	if a, ok := atoms[symbol]; ok {
		return a.unit(), true
	}
	for _, p := range prefixes {
		if len(symbol) <= len(p.name) || symbol[:len(p.name)] != p.name {
			continue
		}
		a, ok := atoms[symbol[len(p.name):]]
		if !ok || !a.prefixed {
			continue
		}
		u := a.unit()
		ten := new(big.Int).Exp(big.NewInt(10), big.NewInt(max(p.power, -p.power)), nil)
		scale := new(big.Rat).SetInt(ten)
		if p.power < 0 {
			scale.Inv(scale)
		}
		u.factor.Mul(u.factor, scale)
		return u, true
	}
	return nil, false
}

func (a atom) unit() *unit {
	u := &unit{factor: rat(a.num), pi: a.pi, dim: a.dim}
	if a.den != "" {
		u.factor.Quo(u.factor, rat(a.den))
	}
	if a.offset != "" {
		u.offset = rat(a.offset)
	}
	return u
}

// rat reads a decimal or a fraction of the tables above.
func rat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("units: " + s + " is no number")
	}
	return r
}
