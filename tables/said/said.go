// Package said is how messages say what a table holds: numbers, labels, codes that are no value, and where slices lie.
package said

import (
	"math"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// Number is a float in a message that JSON has to hold: what is not finite is written as protobuf's JSON writes it, since a
// Value cannot hold it as a number.
func Number(v float64) *structpb.Value {
	switch {
	case math.IsNaN(v):
		return structpb.NewStringValue("NaN")
	case math.IsInf(v, 1):
		return structpb.NewStringValue("Infinity")
	case math.IsInf(v, -1):
		return structpb.NewStringValue("-Infinity")
	}
	return structpb.NewNumberValue(v)
}

// NumberIn is the number that Number wrote; false for a label, and for what is no value.
func NumberIn(v *structpb.Value) (float64, bool) {
	switch k := v.GetKind().(type) {
	case *structpb.Value_NumberValue:
		return k.NumberValue, true
	case *structpb.Value_StringValue:
		switch k.StringValue {
		case "NaN":
			return math.NaN(), true
		case "Infinity":
			return math.Inf(1), true
		case "-Infinity":
			return math.Inf(-1), true
		}
	}
	return 0, false
}

// NumberOr is a number, or null where a code that is no value stands.
func NumberOr(v float64, off bool) *structpb.Value {
	if off {
		return structpb.NewNullValue()
	}
	return Number(v)
}

// Cell is a cell by its index into what is decoded: a number, its label, or null where it is a code that is no value. A text
// has none.
func Cell(d *surface.Decoded, i int) *structpb.Value {
	c := d.Table.Cells
	if c.Conv.Labels != nil {
		return structpb.NewStringValue(c.Conv.Label(c.Int(d.Bits[i])))
	}
	return NumberOr(d.Values[i], d.Off != nil && d.Off[i])
}

// Point is a breakpoint of an axis, or its label.
func Point(a *definition.Axis, v float64) *structpb.Value {
	if a.Labels != nil {
		return structpb.NewStringValue(a.Labels[int(v)])
	}
	return Number(v)
}

// Slice is where a slice lies in its block; nil of what is no block's.
func Slice(s *definition.Slice) *calibrationv1.Slice {
	if s == nil {
		return nil
	}
	out := &calibrationv1.Slice{}
	for i, at := range s.At {
		out.Index, out.At = append(out.Index, uint32(s.Index[i])), append(out.At, Point(at.Axis, at.Point))
	}
	return out
}
