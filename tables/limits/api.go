// Package limits reads limits files and judges tables by their rules.
package limits

import (
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// Limits is a parsed limits file.
type Limits struct {
	Source *calibrationv1.Limits
	Name   string
	SHA256 string // hex, of the file as authored
}

// Load parses a limits file and checks what can be checked without a definition.
func Load(name string, file []byte) (*Limits, error) { panic("contract only") }

// Check says whether the limits fit a definition: units convert, every rule selects a table,
// axes pair. The error names the rule, what is wrong and what is allowed. It is what
// `limits add`, `job open` and `compare` call when the two first meet.
func (l *Limits) Check(lay *definition.Layout) error { panic("contract only") }
