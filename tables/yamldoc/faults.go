package yamldoc

import (
	"cmp"
	"errors"
	"slices"
	"strconv"
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

// Entry is Element as the name of a list and a place in it: tables and 3 of tables[3].stored.type. The place is below 0
// where the error is about no entry.
func Entry(err error) (list string, i int) {
	list, place, _ := strings.Cut(strings.TrimSuffix(Element(err), "]"), "[")
	i, bad := strconv.Atoi(place)
	if bad != nil {
		return list, -1
	}
	return list, i
}

// What is an *Error without its place: what is wrong, and what is allowed.
func What(err error) string {
	e := faultOf(err)
	if e.Allowed == "" {
		return e.Problem
	}
	return e.Problem + "; allowed: " + e.Allowed
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
