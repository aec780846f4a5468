package signal

import (
	"math"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
)

// rational converts an interpolated raw value, as a controller does.
type rational struct {
	raw   *Function
	conv  *definition.Conversion
	whole bool       // raw values are whole numbers
	bend  [3]float64 // the numerator of the conversion's slope, in powers of raw
}

func (s *Space) rational(raw *Function, cells *definition.Cells) *Function {
	n, d := cells.Conv.Num, cells.Conv.Den
	return s.function(&rational{raw, &cells.Conv, !cells.Float, [3]float64{
		float64(n[1]*d[0]) - float64(n[0]*d[1]),
		2 * (float64(n[2]*d[0]) - float64(n[0]*d[2])),
		float64(n[2]*d[1]) - float64(n[1]*d[2]),
	}}, raw)
}

func (o *rational) at(c *Box, p *Point) float64 { return o.conv.Apply(o.raw.at(c, p)) }

func (o *rational) over(c, b *Box, out *bounded.Bounds) {
	raw := o.raw.over(c, b)
	*out = *raw
	out.Multilinear = raw.Inputs == 0
	den := quadratic(&o.conv.Den, raw.Interval)
	if den.Holds(0) || raw.Undefined {
		out.Interval, out.Smooth = bounded.Whole(), false
		return
	}
	num := quadratic(&o.conv.Num, raw.Interval)
	out.Interval = num.Div(den)
	bend := quadratic(&o.bend, raw.Interval)
	if bend.Lo >= 0 || bend.Hi <= 0 { // it rises or falls throughout, so its ends are the raw ones'
		ends := o.converted(raw.Lo).Hull(o.converted(raw.Hi))
		if raw.Lo != raw.Hi {
			ends = o.loosened(ends, raw.Interval, den)
		}
		if lo, hi := max(ends.Lo, out.Lo), min(ends.Hi, out.Hi); lo <= hi { // numbers, which they are not where something overflows
			out.Lo, out.Hi = lo, hi
		}
	}
	slope := bend.Div(den).Div(den)
	for i := range o.raw.space.inputs {
		out.Slope[i] = times(raw.Slope[i], slope)
	}
}

// converted is the conversion of one raw value.
func (o *rational) converted(raw float64) bounded.Interval {
	r := bounded.Exactly(raw)
	return quadratic(&o.conv.Num, r).Div(quadratic(&o.conv.Den, r))
}

// loosened leaves room for what rounding makes of the values between two ends.
func (o *rational) loosened(v, raw, den bounded.Interval) bounded.Interval {
	r := max(math.Abs(raw.Lo), math.Abs(raw.Hi))
	by := size(&o.conv.Num, r) + float64(max(math.Abs(v.Lo), math.Abs(v.Hi))*size(&o.conv.Den, r))
	by = 0x1p-50 * by / min(math.Abs(den.Lo), math.Abs(den.Hi))
	return bounded.Interval{Lo: v.Lo - by, Hi: v.Hi + by, Undefined: v.Undefined}
}

// size bounds the parts of a quadratic of an amount.
func size(c *[3]float64, r float64) float64 {
	return math.Abs(c[0]) + float64(math.Abs(c[1])*r) + float64(math.Abs(c[2])*float64(r*r))
}

func quadratic(c *[3]float64, r bounded.Interval) bounded.Interval {
	v := bounded.Exactly(c[0])
	if c[1] != 0 {
		v = v.Add(bounded.Exactly(c[1]).Mul(r))
	}
	if c[2] != 0 {
		square := r.Mul(r)
		square.Lo = max(square.Lo, 0)
		v = v.Add(bounded.Exactly(c[2]).Mul(square))
	}
	return v
}

// rawStep is what one raw step makes of a value between two raw ones: the greater of the steps at both ends; 0 where that
// is no number.
func (o *rational) rawStep(raw bounded.Interval) float64 {
	if !o.whole {
		return 0
	}
	low, high := math.Floor(raw.Lo), math.Ceil(raw.Hi)
	if high == low {
		high++
	}
	step := max(math.Abs(o.conv.Apply(low+1)-o.conv.Apply(low)), math.Abs(o.conv.Apply(high)-o.conv.Apply(high-1)))
	if step-step != 0 {
		return 0
	}
	return step
}
