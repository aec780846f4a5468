package runcheck

import (
	"fmt"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// Says is what a check came to, in one sentence.
func Says(r *calibrationv1.RunCheck) string {
	var held []string
	for _, s := range r.Sides {
		if s.Samples > 0 {
			held = append(held, s.Table+s.Signal)
		}
	}
	against := "it was held against " + strings.Join(held, ", ")
	switch {
	case len(r.Sides) == 0:
		against = "it was held against no table or signal: the definition says of none what shows it (observed)"
	case len(held) == 0:
		against = "it could be held against no table or signal: it lacks channels that they need"
	}
	if len(r.Findings) == 0 {
		return "nothing was found; " + against
	}
	worst := r.Findings[0]
	return fmt.Sprintf("%s: %s%s; %s", worst.Severity, worst.Text, more(len(r.Findings)-1), against)
}

func more(n int) string {
	switch n {
	case 0:
		return ""
	case 1:
		return "; 1 more finding"
	}
	return fmt.Sprintf("; %d more findings", n)
}

// In is a unit after a number; a number without a unit has none.
func In(unit string) string {
	if unit == "1" {
		return ""
	}
	return " " + unit
}
