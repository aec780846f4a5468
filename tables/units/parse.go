package units

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// dimension counts the powers of metre, gram, second, kelvin, ampere and radian. An angle
// counts as a kind of its own, so that degrees never meet per cent.
type dimension struct{ m, g, s, k, a, rad int }

var (
	pressure  = dimension{m: -1, g: 1, s: -2}
	frequency = dimension{s: -1}
	angular   = dimension{s: -1, rad: 1}
)

// String names the kind where the trade has a word for it.
func (d dimension) String() string {
	if name, ok := kinds[d]; ok {
		return name
	}
	var parts []string
	for _, p := range []struct {
		name  string
		power int
	}{{"m", d.m}, {"g", d.g}, {"s", d.s}, {"K", d.k}, {"A", d.a}, {"rad", d.rad}} {
		switch p.power {
		case 0:
		case 1:
			parts = append(parts, p.name)
		default:
			parts = append(parts, p.name+strconv.Itoa(p.power))
		}
	}
	return "of kind " + strings.Join(parts, ".")
}

// unit is a parsed code: base = raw*factor*pi^pi + offset.
type unit struct {
	factor *big.Rat
	pi     int
	offset *big.Rat // nil for none
	dim    dimension
	gauge  bool
}

// times multiplies u by v to the power n.
func (u *unit) times(v *unit, n int) {
	f := v.factor
	for range max(n, -n) {
		if n > 0 {
			u.factor.Mul(u.factor, f)
		} else {
			u.factor.Quo(u.factor, f)
		}
	}
	u.pi += n * v.pi
	u.dim.m += n * v.dim.m
	u.dim.g += n * v.dim.g
	u.dim.s += n * v.dim.s
	u.dim.k += n * v.dim.k
	u.dim.a += n * v.dim.a
	u.dim.rad += n * v.dim.rad
	u.gauge = u.gauge || v.gauge
}

const (
	maxCode  = 64 // bytes of a code
	maxDepth = 8  // of parentheses
)

// parser reads a code from left to right; operators have one rank, as UCUM has it.
type parser struct {
	code  string
	rest  string
	depth int
}

func parse(code string) (*unit, error) {
	text := code
	if standard, ok := spoken[code]; ok {
		text = standard
	}
	if text == "" || len(text) > maxCode {
		return nil, fmt.Errorf(`%.80q is not a unit; allowed: a UCUM code of 1 to %d bytes, "1" for a plain number`, code, maxCode)
	}
	p := &parser{code: code, rest: text}
	u, err := p.expression()
	if err != nil {
		return nil, err
	}
	if p.rest != "" {
		return nil, p.wrong(p.rest)
	}
	return u, nil
}

func (p *parser) wrong(at string) error {
	return fmt.Errorf("unit %q is not known (at %.20q); allowed: UCUM codes as kPa, deg, 1/min, %%, ms, kg/h, N.m, Cel", p.code, at)
}

func (p *parser) expression() (*unit, error) {
	if p.depth++; p.depth > maxDepth {
		return nil, p.wrong(p.rest)
	}
	defer func() { p.depth-- }()
	out := one()
	sign, alone := 1, true
	if p.take("/") {
		sign, alone = -1, false
	}
	for {
		v, n, err := p.component()
		if err != nil {
			return nil, err
		}
		out.times(v, sign*n)
		switch {
		case p.take("."):
			sign = 1
		case p.take("/"):
			sign = -1
		default:
			// A scale with a zero of its own keeps it only where it stands alone; in a
			// product, as %/Cel, it counts differences.
			if alone && n == 1 {
				out.offset = v.offset
			}
			return out, nil
		}
		alone = false
	}
}

// component reads a factor and its power: a number, a symbol, or an expression in parentheses,
// with annotations in braces.
func (p *parser) component() (*unit, int, error) {
	u, n, found := one(), 1, false
	switch {
	case p.take("("):
		inner, err := p.expression()
		if err != nil {
			return nil, 0, err
		}
		if !p.take(")") {
			return nil, 0, p.wrong(p.rest)
		}
		u, found = inner, true
	case p.rest != "" && p.rest[0] >= '0' && p.rest[0] <= '9':
		digits := p.digits()
		v, err := strconv.ParseInt(digits, 10, 32)
		if err != nil || v == 0 {
			return nil, 0, p.wrong(digits)
		}
		u.factor.SetInt64(v)
		found = true
	case p.rest != "" && p.rest[0] != '{':
		symbol := p.symbol()
		v, ok := lookup(symbol)
		if !ok {
			return nil, 0, p.wrong(symbol)
		}
		u, n, found = v, p.power(), true
		if n == 0 {
			return nil, 0, p.wrong(symbol)
		}
	}
	for p.take("{") {
		note, after, closed := strings.Cut(p.rest, "}")
		if !closed {
			return nil, 0, p.wrong(p.rest)
		}
		p.rest, found = after, true
		u.gauge = u.gauge || strings.Contains(strings.ToLower(note), "gauge")
	}
	if !found {
		return nil, 0, p.wrong(p.rest)
	}
	return u, n, nil
}

func (p *parser) take(s string) bool {
	rest, ok := strings.CutPrefix(p.rest, s)
	p.rest = rest
	return ok
}

func (p *parser) digits() string {
	n := 0
	for n < len(p.rest) && p.rest[n] >= '0' && p.rest[n] <= '9' {
		n++
	}
	digits := p.rest[:n]
	p.rest = p.rest[n:]
	return digits
}

// symbol reads up to an operator, a power or an annotation; brackets belong to it.
func (p *parser) symbol() string {
	n, inside := 0, false
	for ; n < len(p.rest); n++ {
		switch ch := p.rest[n]; {
		case ch == '[':
			inside = true
		case ch == ']':
			inside = false
		case inside:
		case strings.IndexByte("./(){}+-", ch) >= 0 || ch >= '0' && ch <= '9':
			symbol := p.rest[:n]
			p.rest = p.rest[n:]
			return symbol
		}
	}
	symbol := p.rest
	p.rest = ""
	return symbol
}

// power reads an exponent of one digit; 1 if there is none, 0 if it is no exponent.
func (p *parser) power() int {
	sign := 1
	signed := false
	if p.take("-") {
		sign, signed = -1, true
	} else if p.take("+") {
		signed = true
	}
	digits := p.digits()
	switch {
	case digits == "" && !signed:
		return 1
	case len(digits) == 1:
		return sign * int(digits[0]-'0')
	}
	return 0
}
