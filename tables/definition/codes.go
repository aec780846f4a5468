package definition

import (
	"fmt"
	"slices"
)

// maxCodes is the most raw codes of one table that mean no value.
const maxCodes = 256

// codes reads the raw codes that mean no value.
func (c *compiler) codes(path string, codes []int64, cells *Cells) error {
	if len(codes) == 0 {
		return nil
	}
	switch {
	case cells.Float:
		return c.at.Errorf(path, "codes of whole numbers only", "the stored type is a float")
	case cells.Conv.Labels != nil:
		return c.at.Errorf(path, "codes of numbers only; a label says what a raw value means", "the table holds labels")
	case len(codes) > maxCodes:
		return c.at.Errorf(path, fmt.Sprintf("at most %d", maxCodes), "%d codes", len(codes))
	}
	low, high := cells.rawRange()
	for i, code := range codes {
		at := fmt.Sprintf("%s[%d]", path, i)
		if code < low || code > 0 && uint64(code) > high {
			return c.at.Errorf(at, fmt.Sprintf("raw values from %d to %d", low, high), "the stored type cannot hold %d", code)
		}
		if slices.Contains(codes[:i], code) {
			return c.at.Errorf(at, "each code once", "%d is there already", code)
		}
	}
	cells.NotAValue = slices.Sorted(slices.Values(codes))
	return nil
}

// Off says whether raw bits are a code that is no value.
func (c *Cells) Off(bits uint64) bool {
	if len(c.NotAValue) == 0 {
		return false
	}
	_, off := slices.BinarySearch(c.NotAValue, c.Int(bits)) // below 0 where no code of the type can be
	return off
}
