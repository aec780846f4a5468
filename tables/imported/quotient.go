package imported

import (
	"fmt"
	"math/big"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
)

// quotient is num(raw) / den(raw), exact.
type quotient struct{ num, den poly }

// poly is c[0] + c[1] x + c[2] x² and so on.
type poly []*big.Rat

// number is what a description writes, as a decimal where its digits are few, so that a tenth is one.
func number(text string) *big.Rat {
	v, ok := a2l.Number(text)
	r := new(big.Rat)
	if !ok || v == 0 {
		return r
	}
	mantissa, exponent, _ := strings.Cut(strings.ToLower(text), "e")
	if len(mantissa) <= 40 && len(exponent) <= 3 && !strings.Contains(mantissa, "x") { // exponents of two digits: no giant is made
		if _, ok := r.SetString(text); ok {
			return r
		}
	}
	return r.SetFloat64(v)
}

func one() poly           { return poly{big.NewRat(1, 1)} }
func identity() *quotient { return &quotient{poly{new(big.Rat), big.NewRat(1, 1)}, one()} }
func straight(factor, offset *big.Rat) *quotient {
	return &quotient{poly{offset, factor}, one()}
}

// trim leaves away zeros at the end.
func (p poly) trim() poly {
	for len(p) > 0 && p[len(p)-1].Sign() == 0 {
		p = p[:len(p)-1]
	}
	return p
}

func (p poly) at(x *big.Rat) *big.Rat {
	sum := new(big.Rat)
	for i := len(p) - 1; i >= 0; i-- {
		sum.Mul(sum, x).Add(sum, p[i])
	}
	return sum
}

func (p poly) plus(q poly, sign int64) poly {
	out := make(poly, max(len(p), len(q)))
	for i := range out {
		out[i] = new(big.Rat)
		if i < len(p) {
			out[i].Add(out[i], p[i])
		}
		if i < len(q) {
			out[i].Add(out[i], new(big.Rat).Mul(big.NewRat(sign, 1), q[i]))
		}
	}
	return out.trim()
}

func (p poly) times(q poly) poly {
	out := make(poly, max(len(p)+len(q)-1, 0))
	for i := range out {
		out[i] = new(big.Rat)
	}
	for i, a := range p {
		for j, b := range q {
			out[i+j].Add(out[i+j], new(big.Rat).Mul(a, b))
		}
	}
	return out.trim()
}

// check says whether raw values have a meaning each that a conversion can say.
func (q *quotient) check() error {
	q.num, q.den = q.num.trim(), q.den.trim()
	switch {
	case len(q.den) == 0:
		return fmt.Errorf("no raw value has a meaning")
	case len(q.num) > 3 || len(q.den) > 3:
		return fmt.Errorf("it is of a higher power than raw²")
	}
	if cross := q.num.times(poly{q.den[len(q.den)-1]}).plus(q.den.times(poly{last(q.num)}), -1); len(q.num) == 0 || len(q.num) == len(q.den) && len(cross) == 0 {
		return fmt.Errorf("every raw value means the same")
	}
	return nil
}

func last(p poly) *big.Rat {
	if len(p) == 0 {
		return new(big.Rat)
	}
	return p[len(p)-1]
}

// conversion is nil where raw is physical.
func (q *quotient) conversion() (*calibrationv1.Conversion, error) {
	if err := q.check(); err != nil {
		return nil, err
	}
	if factor, offset, ok := q.straight(); ok {
		c := &calibrationv1.Conversion{}
		if f, _ := factor.Float64(); f != 1 {
			c.Factor = &f
		}
		if o, _ := offset.Float64(); o != 0 {
			c.Offset = &o
		}
		if c.Factor == nil && c.Offset == nil {
			return nil, nil
		}
		return c, nil
	}
	r := &calibrationv1.Rational{}
	sign := big.NewRat(int64(last(q.den).Sign()), 1)
	for _, v := range q.num {
		f, _ := new(big.Rat).Mul(v, sign).Float64()
		r.Num = append(r.Num, f)
	}
	for _, v := range q.den {
		f, _ := new(big.Rat).Mul(v, sign).Float64()
		r.Den = append(r.Den, f)
	}
	return &calibrationv1.Conversion{Rational: r}, nil
}

// straight are factor and offset, where it is no more than that.
func (q *quotient) straight() (factor, offset *big.Rat, ok bool) {
	if len(q.den) != 1 || len(q.num) > 2 {
		return nil, nil, false
	}
	all := append(append(poly{}, q.num...), new(big.Rat), new(big.Rat))
	return new(big.Rat).Quo(all[1], q.den[0]), new(big.Rat).Quo(all[0], q.den[0]), true
}

// at is what a raw value means; false where it has no meaning.
func (q *quotient) at(x *big.Rat) (float64, bool) {
	den := q.den.at(x)
	if den.Sign() == 0 {
		return 0, false
	}
	v, _ := new(big.Rat).Quo(q.num.at(x), den).Float64()
	return v, true
}
