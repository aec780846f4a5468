// Package units converts between the units of the trade, written as UCUM codes.
package units

import (
	"fmt"
	"math"
	"math/big"
	"strings"
)

// Converter turns a level: to = from*Factor + Offset. A difference or a slope takes the factor alone.
type Converter struct{ Factor, Offset float64 }

// Level converts a value that is measured from the unit's own zero, as 20 Cel to 293.15 K.
func (c Converter) Level(v float64) float64 { return float64(v*c.Factor) + c.Offset }

// Difference converts the distance of two values, as 20 Cel to 20 K.
func (c Converter) Difference(v float64) float64 { return v * c.Factor }

// Between is the conversion of levels from one unit to another. Equal texts convert to
// themselves even where the unit is not known. The error says why two units do not convert;
// a pressure against ambient, as kPa{gauge}, never becomes an absolute one.
func Between(from, to string) (Converter, error) {
	return BetweenQuantities("", from, "", to)
}

// BetweenQuantities is Between for values whose quantities may say gauge where the units do not.
func BetweenQuantities(fromQuantity, from, toQuantity, to string) (Converter, error) {
	a, b, err := pair(from, to)
	if err != nil {
		return Converter{}, err
	}
	if IsGauge(fromQuantity, from) != IsGauge(toQuantity, to) {
		return Converter{}, fmt.Errorf("%s and %s do not convert: one pressure is gauge and the other absolute; allowed: both of one kind, gauge written as kPa{gauge}",
			named(fromQuantity, from), named(toQuantity, to))
	}
	if a == nil {
		return Converter{Factor: 1}, nil
	}
	c := Converter{Factor: a.over(b)}
	// level = (v*fa + oa - ob) / fb, exact until the end.
	if a.offset != nil || b.offset != nil {
		shift := new(big.Rat)
		if a.offset != nil {
			shift.Add(shift, a.offset)
		}
		if b.offset != nil {
			shift.Sub(shift, b.offset)
		}
		c.Offset, _ = shift.Quo(shift, b.factor).Float64()
	}
	return c, nil
}

func named(quantity, unit string) string {
	if quantity == "" {
		return unit
	}
	return fmt.Sprintf("%s of %s", unit, quantity)
}

// BetweenDifferences is the conversion of differences and slopes, which have no zero: no
// offset, and gauge and absolute are the same.
func BetweenDifferences(from, to string) (Converter, error) {
	a, b, err := pair(from, to)
	if err != nil || a == nil {
		return Converter{Factor: 1}, err
	}
	return Converter{Factor: a.over(b)}, nil
}

// Convert converts a level.
func Convert(from, to string, value float64) (float64, error) {
	c, err := Between(from, to)
	if err != nil {
		return 0, err
	}
	return c.Level(value), nil
}

// ConvertDifference converts a difference or a slope.
func ConvertDifference(from, to string, value float64) (float64, error) {
	c, err := BetweenDifferences(from, to)
	if err != nil {
		return 0, err
	}
	return c.Difference(value), nil
}

// Known says whether a unit is one that converts; the error says what of it is not understood.
func Known(unit string) error {
	_, err := parse(unit)
	return err
}

// IsGauge reports whether values are pressures against ambient: the unit is one of pressure,
// and its annotation or the quantity says gauge.
func IsGauge(quantity, unit string) bool {
	named := strings.Contains(strings.ToLower(quantity), "gauge")
	if !named && !strings.Contains(unit, "{") { // nothing says so, which most units need not be parsed for
		return false
	}
	u, err := parse(unit)
	if err != nil || u.dim != pressure {
		return false
	}
	return u.gauge || named
}

// pair parses two units that must be of one kind; both are nil where the texts are equal
// and there is nothing to convert.
func pair(from, to string) (a, b *unit, err error) {
	if from == to {
		return nil, nil, nil
	}
	if a, err = parse(from); err != nil {
		return nil, nil, err
	}
	if b, err = parse(to); err != nil {
		return nil, nil, err
	}
	a.turns(b)
	b.turns(a)
	if a.dim != b.dim {
		return nil, nil, fmt.Errorf("%s is %s and %s is %s: they do not convert; allowed: two units of one kind", from, a.dim, to, b.dim)
	}
	if f := a.over(b); f == 0 || math.IsInf(f, 0) || math.IsInf(1/f, 0) {
		return nil, nil, fmt.Errorf("%s and %s are too far apart in size; allowed: a factor that a float64 holds, both ways", from, to)
	}
	return a, b, nil
}

// turns makes a plain count per time into an angle per time where the other unit is one:
// 1/min and Hz of a shaft count turns, and a turn is 2 pi rad.
func (u *unit) turns(other *unit) {
	if u.dim == frequency && other.dim == angular {
		u.dim = angular
		u.factor.Mul(u.factor, big.NewRat(2, 1))
		u.pi++
	}
}

// over is the factor of u in terms of v, rounded once where no pi is left.
func (u *unit) over(v *unit) float64 {
	f, _ := new(big.Rat).Quo(u.factor, v.factor).Float64()
	if n := u.pi - v.pi; n != 0 {
		f *= math.Pow(math.Pi, float64(n))
	}
	return f
}
