package image

import (
	"cmp"
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Range is half-open: Start is in it, End is not. What it counts, addresses or offsets, its holder says.
type Range struct{ Start, End uint64 }

// Join sorts ranges, leaves empty ones out, and makes one of those that touch or overlap.
func Join(ranges []Range) []Range {
	sorted := slices.Clone(ranges)
	slices.SortFunc(sorted, func(a, b Range) int { return cmp.Compare(a.Start, b.Start) })
	var out []Range
	for _, r := range sorted {
		switch n := len(out); {
		case r.Start >= r.End:
		case n > 0 && r.Start <= out[n-1].End:
			out[n-1].End = max(out[n-1].End, r.End)
		default:
			out = append(out, r)
		}
	}
	return out
}

// Minus is what of a lies in no range of b; both are as Join makes them.
func Minus(a, b []Range) []Range {
	var out []Range
	for _, r := range a {
		for len(b) > 0 && b[0].End <= r.Start {
			b = b[1:]
		}
		for _, cut := range b {
			if cut.Start >= r.End {
				break
			}
			if r.Start < cut.Start {
				out = append(out, Range{r.Start, cut.Start})
			}
			r.Start = cut.End
		}
		if r.Start < r.End {
			out = append(out, r)
		}
	}
	return out
}

// Common is what lies in a range of a and in one of b; both are as Join makes them.
func Common(a, b []Range) []Range { return Minus(a, Minus(a, b)) }

// Messages is ranges of addresses as messages say them; the end of the address space, which 32 bits
// cannot hold, is 0 there.
func Messages(ranges []Range) []*calibrationv1.AddressRange {
	var out []*calibrationv1.AddressRange
	for _, r := range ranges {
		out = append(out, &calibrationv1.AddressRange{Start: uint32(r.Start), End: uint32(r.End)})
	}
	return out
}

// FromMessages reads what Messages made. Ranges that are empty, do not ascend or touch are an error.
func FromMessages(messages []*calibrationv1.AddressRange) ([]Range, error) {
	var out []Range
	for i, m := range messages {
		r := Range{uint64(m.GetStart()), uint64(m.GetEnd())}
		if r.End == 0 {
			r.End = addressSpace
		}
		if r.Start >= r.End || i > 0 && r.Start <= out[i-1].End {
			return nil, fmt.Errorf("range %d, 0x%x to 0x%x, is not allowed; ranges hold a byte or more, ascend and do not touch", i, r.Start, r.End)
		}
		out = append(out, r)
	}
	return out, nil
}
