package imported

import (
	"fmt"
	"math/big"
	"strings"
)

// maxFormula bounds a formula's text; maxPower its powers while it is read.
const (
	maxFormula = 1000
	maxPower   = 8
	maxParens  = 32
)

// formula reads f(raw), where raw is x or X1, as far as it is a quotient of polynomials.
func formula(text string) (*quotient, error) {
	if len(text) > maxFormula {
		return nil, fmt.Errorf("the formula is longer than %d bytes", maxFormula)
	}
	p := &formulaParser{words: formulaWords(text)}
	q, err := p.sum()
	if err == nil && len(p.words) > 0 {
		err = fmt.Errorf("%.40q is not understood", p.words[0])
	}
	if err == nil {
		err = q.check()
	}
	if err != nil {
		return nil, fmt.Errorf("the formula %.200q is no quotient of polynomials of raw: %w", text, err)
	}
	return q, nil
}

// formulaWords cuts a formula into numbers, names and signs.
func formulaWords(text string) (words []string) {
	for rest := strings.TrimSpace(text); rest != ""; rest = strings.TrimSpace(rest) {
		n := 0
		for n < len(rest) && (rest[n] >= '0' && rest[n] <= '9' || rest[n] == '.' || rest[n] == '_' || rest[n]|0x20 >= 'a' && rest[n]|0x20 <= 'z' ||
			n > 0 && (rest[n] == '-' || rest[n] == '+') && rest[n-1]|0x20 == 'e' && rest[0] <= '9') {
			n++
		}
		n = max(n, 1)
		words, rest = append(words, rest[:n]), rest[n:]
	}
	return words
}

type formulaParser struct {
	words []string
	depth int
}

func (p *formulaParser) take(signs ...string) string {
	for _, s := range signs {
		if len(p.words) > 0 && p.words[0] == s {
			p.words = p.words[1:]
			return s
		}
	}
	return ""
}

func (p *formulaParser) sum() (*quotient, error) {
	if p.depth++; p.depth > maxParens {
		return nil, fmt.Errorf("parentheses are nested too deep")
	}
	defer func() { p.depth-- }()
	left, err := p.product()
	for err == nil {
		sign := p.take("+", "-")
		if sign == "" {
			break
		}
		var right *quotient
		if right, err = p.product(); err == nil {
			to := int64(1)
			if sign == "-" {
				to = -1
			}
			left, err = bounded(left.num.times(right.den).plus(right.num.times(left.den), to), left.den.times(right.den))
		}
	}
	return left, err
}

// bounded keeps what is read from growing.
func bounded(num, den poly) (*quotient, error) {
	if len(den) == 0 {
		return nil, fmt.Errorf("it divides by 0")
	}
	if len(den) == 1 {
		inverse := poly{new(big.Rat).Inv(den[0])}
		num, den = num.times(inverse), one()
	}
	if len(num) > maxPower || len(den) > maxPower {
		return nil, fmt.Errorf("its powers are too high")
	}
	return &quotient{num, den}, nil
}

func (p *formulaParser) product() (*quotient, error) {
	left, err := p.power()
	for err == nil {
		sign := p.take("*", "/")
		if sign == "" {
			break
		}
		var right *quotient
		if right, err = p.power(); err != nil {
			break
		}
		if sign == "/" {
			right = &quotient{right.den, right.num}
		}
		left, err = bounded(left.num.times(right.num), left.den.times(right.den))
	}
	return left, err
}

func (p *formulaParser) power() (*quotient, error) {
	base, err := p.atom()
	if err != nil || p.take("^") == "" {
		return base, err
	}
	if p.take("2") == "" {
		return nil, fmt.Errorf("a power other than 2")
	}
	return bounded(base.num.times(base.num), base.den.times(base.den))
}

func (p *formulaParser) atom() (*quotient, error) {
	if len(p.words) == 0 {
		return nil, fmt.Errorf("it ends too early")
	}
	w := p.words[0]
	p.words = p.words[1:]
	switch lower := strings.ToLower(w); {
	case w == "-":
		q, err := p.atom()
		if err != nil {
			return nil, err
		}
		return bounded(poly{}.plus(q.num, -1), q.den)
	case w == "(":
		q, err := p.sum()
		if err == nil && p.take(")") == "" {
			err = fmt.Errorf("a parenthesis is not closed")
		}
		return q, err
	case lower == "x" || lower == "x1":
		return identity(), nil
	case w[0] >= '0' && w[0] <= '9' || w[0] == '.':
		if v := number(w); v.Sign() != 0 || strings.Trim(w, "0.") == "" {
			return bounded(poly{v}.trim(), one())
		}
	}
	return nil, fmt.Errorf("%.40q is not understood", w)
}
