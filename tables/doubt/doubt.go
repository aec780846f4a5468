// Package doubt finds all that is wrong or doubtful in a definition or in limits, before anybody works
// with them. It is a pure function of the files.
package doubt

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"witnessmark/tables/severity"
	"witnessmark/tables/yamldoc"
)

// Doubt is one thing that is wrong (danger: the file cannot be used so), doubtful (caution), or worth
// knowing (notice). Line is 0 where it is about no line.
type Doubt struct {
	Severity severity.Level `json:"severity"`
	File     string         `json:"file"`
	Line     int            `json:"line"`
	Path     string         `json:"path"`    // as in tables[2].stored.type; empty for the file itself
	Says     string         `json:"says"`    // what is wrong
	Allowed  string         `json:"allowed"` // what would be right; empty where that is said already
}

// Error is the doubt on one line, without its severity.
func (d Doubt) Error() string {
	return (&yamldoc.Error{File: d.File, Line: d.Line, Path: d.Path, Problem: d.Says, Allowed: d.Allowed}).Error()
}

// Worst is the worst severity among doubts; clear where there is none.
func Worst(all []Doubt) severity.Level {
	worst := severity.Clear
	for _, d := range all {
		if severity.Worse(d.Severity, worst) {
			worst = d.Severity
		}
	}
	return worst
}

// finder gathers doubts about one file.
type finder struct {
	file string
	at   *yamldoc.Locator
	all  []Doubt
}

// newFinder begins with what is at fault.
func newFinder(name string, file []byte, faults []error) *finder {
	f := &finder{file: name, at: yamldoc.Locate(name, file)}
	for _, err := range faults {
		var e *yamldoc.Error
		if errors.As(err, &e) {
			f.all = append(f.all, Doubt{severity.Danger, e.File, e.Line, e.Path, e.Problem, e.Allowed})
		}
	}
	return f
}

func (f *finder) say(level severity.Level, path, allowed, format string, args ...any) {
	f.all = append(f.all, Doubt{level, f.file, f.at.Line(path), path, fmt.Sprintf(format, args...), allowed})
}

// InOrder sorts doubts about one file by line.
func InOrder(all []Doubt) []Doubt {
	slices.SortStableFunc(all, func(a, b Doubt) int { return cmp.Compare(a.Line, b.Line) })
	return all
}

// most bounds how many of a kind are listed one by one.
const most = 20

// some names the first few of many.
func some(names []string) string {
	if len(names) > most {
		return strings.Join(names[:most], ", ") + fmt.Sprintf(" and %d more", len(names)-most)
	}
	return strings.Join(names, ", ")
}
