package definition

import (
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// conversion checks how raw becomes physical for cells; nil means unchanged.
func (c *compiler) conversion(path string, v *calibrationv1.Conversion, cells *Cells) error {
	affine := v != nil && (v.Factor != nil || v.Offset != nil)
	kinds := 0
	for _, given := range []bool{affine, v.GetRational() != nil, v.GetPoints() != nil, len(v.GetLabels()) > 0} {
		if given {
			kinds++
		}
	}
	if kinds > 1 {
		return c.at.Errorf(path, "one of: factor and offset, rational, points, labels", "more than one kind of conversion is given")
	}
	cells.Conv = Conversion{Factor: 1}
	switch {
	case v.GetRational() != nil:
		return c.rational(path+".rational", v.GetRational(), &cells.Conv)
	case v.GetPoints() != nil:
		return c.points(path+".points", v.GetPoints(), &cells.Conv)
	case len(v.GetLabels()) > 0:
		return c.labels(path+".labels", v.GetLabels(), cells)
	case affine:
		if v.Factor != nil {
			cells.Conv.Factor = v.GetFactor()
		}
		cells.Conv.Offset = v.GetOffset()
		if cells.Conv.Factor == 0 {
			return c.at.Errorf(path+".factor", "any number but 0", "with a factor of 0 every raw value means the same")
		}
		return c.finite(path, cells.Conv.Factor, cells.Conv.Offset)
	}
	return nil
}

func (c *compiler) rational(path string, r *calibrationv1.Rational, conv *Conversion) error {
	conv.Rational = true
	for _, side := range []struct {
		name string
		from []float64
		to   *[3]float64
	}{{"num", r.GetNum(), &conv.Num}, {"den", r.GetDen(), &conv.Den}} {
		at := path + "." + side.name
		if len(side.from) < 1 || len(side.from) > 3 {
			return c.at.Errorf(at, "1 to 3 numbers: of 1, raw and raw²; those left out are 0", "%d numbers", len(side.from))
		}
		if err := c.finite(at, side.from...); err != nil {
			return err
		}
		copy(side.to[:], side.from)
	}
	if conv.Den == [3]float64{} {
		return c.at.Errorf(path+".den", "at least one number that is not 0", "the denominator is 0 for every raw value")
	}
	if conv.Num[1] == 0 && conv.Num[2] == 0 && conv.Den[1] == 0 && conv.Den[2] == 0 {
		return c.at.Errorf(path, "a number for raw or raw² in num or den", "every raw value means the same")
	}
	return nil
}

// rawRange is the least and the greatest raw value that cells of whole numbers can hold.
func (c *Cells) rawRange() (low int64, high uint64) {
	if !c.Signed {
		return 0, ^uint64(0) >> (64 - c.Width)
	}
	high = uint64(1)<<(c.Width-1) - 1
	if c.Magnitude {
		return -int64(high), high
	}
	return -int64(high) - 1, high
}
