package limits

import (
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// JudgeInput is what the rules look at. The two functions answer from a cache, and nil where
// that side lacks the table.
type JudgeInput struct {
	Layout          *definition.Layout
	CandidateLayout *definition.Layout               // nil if the same
	Changed         []string                         // table ids in definition order; in a check all of them
	Base            func(id string) *surface.Decoded // nil in a check
	Candidate       func(id string) *surface.Decoded
	Job             *calibrationv1.JobFacts // nil for none
	Check           bool                    // one image: no base, no origins, everything counts
}

// Judged is what the rules found.
type Judged struct {
	Findings []*calibrationv1.Finding
	JudgedBy map[string][]string // table id to the rules that looked at it, in limits order
	Margins  []*calibrationv1.Margin
	Unjudged []*calibrationv1.Unjudged
}

// Judge runs every rule. The limits must fit the layout (see Check); the error says which rule does not.
func Judge(l *Limits, in JudgeInput) (*Judged, error) { panic("contract only") }
