package client

import (
	"strconv"
	"strings"

	"witnessmark/store/record"
	"witnessmark/tables/reckon"
)

// ParseNumbers reads a job's numbers from NAME=VALUE each, and writes the values as the record
// does. What they come to is reckoned too, so that numbers which cannot be are refused here.
func ParseNumbers(pairs []string) (map[string]string, error) {
	if len(pairs) == 0 {
		return nil, nil
	}
	out := make(map[string]string, len(pairs))
	for _, p := range pairs {
		name, text, ok := strings.Cut(p, "=")
		v, err := strconv.ParseFloat(text, 64)
		if !ok || name == "" || err != nil {
			return nil, usage("", "%.80q is no number; allowed: NAME=VALUE, such as crank_pulley_mm=180", p)
		}
		if _, twice := out[name]; twice {
			return nil, usage("", "number %.80s is given twice", name)
		}
		out[name] = reckon.Text(v)
	}
	if err := record.CheckNumbers(out); err != nil {
		return nil, usage("", "%v", err)
	}
	if _, err := reckon.Facts("", out); err != nil {
		return nil, usage("", "%v", err)
	}
	return out, nil
}
