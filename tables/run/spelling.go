package run

import (
	"strings"

	"witnessmark/tables/units"
)

// unitOf is the UCUM code of a unit as it is written. Where nothing knows it, it is taken for a code, and
// known is false.
func unitOf(written string) (code string, known bool) {
	if code, known = units.Spelled(written); known {
		return code, true
	}
	written = strings.TrimSpace(written)
	if strings.Contains(strings.ToLower(written), "mm:ss") {
		return "s", true // a clock
	}
	return written, false
}

// saysAbsolute reports whether a unit is written as one of absolute pressure.
func saysAbsolute(written string) bool {
	w := strings.TrimRight(units.Folded(written), ")}")
	return strings.HasSuffix(w, "abs") || strings.HasSuffix(w, "absolute") || w == "psia" || strings.HasSuffix(w, "bara") || w == "kpaa" || strings.HasSuffix(w, "(a")
}
