// Package compare turns two images into a report: cells, surfaces, every differing byte
// accounted for, and what the limits find. It is a pure function.
package compare

import (
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
)

// Semantics counts up when a change of the program would change a report.
const Semantics = 1

// Side is one image: its bytes over the layout's whole range (gaps 0xFF), and the gaps as offsets.
type Side struct {
	Bytes []byte
	Gaps  []definition.Range
}

// Input is everything that a comparison depends on.
type Input struct {
	Base, Candidate Side
	Layout          *definition.Layout
	CandidateLayout *definition.Layout // nil if the same
	Limits          *limits.Limits     // nil for none
	Meant           []string           // tables the author meant to change
	MeantGiven      bool
	Job             *calibrationv1.JobFacts // nil for none
}

// Compare makes the report. An error means that it could not be made at all (an image of
// another size, limits that do not fit, an unknown table in Meant).
func Compare(in Input) (*calibrationv1.Report, error) { panic("contract only") }

// Check judges every table of one image: no base, no origins, all of it counts.
func Check(image Side, lay *definition.Layout, lim *limits.Limits, job *calibrationv1.JobFacts) (*calibrationv1.Report, error) {
	panic("contract only")
}

// Key is a finding's key: RULE:TABLE, or RULE alone where it has no table.
func Key(f *calibrationv1.Finding) string { panic("contract only") }

// Counts says whether a finding counts toward the verdict (it is not inherited).
func Counts(f *calibrationv1.Finding) bool { panic("contract only") }

// Warnings are the sorted keys of the warnings that count: each needs a reason at sign-off.
func Warnings(r *calibrationv1.Report) []string { panic("contract only") }

// SeverityRank orders clear < notice < caution < warning < danger as 0..4; -1 for anything else.
func SeverityRank(s string) int { panic("contract only") }
