package yamldoc

import (
	"cmp"
	"errors"
	"slices"
	"strings"
)

// Element is the part of the document that an *Error is about: tables[3] of tables[3].stored.type.
func Element(err error) string {
	e := faultOf(err)
	first, rest, deeper := strings.Cut(e.Path, ".")
	if second, _, _ := strings.Cut(rest, "."); deeper && !strings.HasSuffix(first, "]") && strings.HasSuffix(second, "]") {
		return first + "." + second // a list within a block, as image.segments
	}
	return first
}

// InOrder sorts faults by line, and leaves MaxFaults of them.
func InOrder(faults []error) []error {
	slices.SortStableFunc(faults, func(a, b error) int { return cmp.Compare(faultOf(a).Line, faultOf(b).Line) })
	return faults[:min(len(faults), MaxFaults)]
}

func faultOf(err error) *Error {
	var e *Error
	if !errors.As(err, &e) {
		return &Error{}
	}
	return e
}
