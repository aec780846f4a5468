package units

import "testing"

// Each spelling leads to a code that converts, and the codes of the trade lead to themselves.
func TestSpellings(t *testing.T) {
	for written, code := range spellings {
		if err := Known(code); err != nil {
			t.Errorf("%q: %v", written, err)
		}
		if Folded(written) != written {
			t.Errorf("%q is never found: it folds to %q", written, Folded(written))
		}
	}
	for written, want := range map[string]string{"U/min": "1/min", "min^-1": "1/min", "°C": "Cel", "Grad KW": "deg", "hPa": "hPa", "mg/Hub": "mg/{stroke}", " - ": "1", "Nm": "N.m"} {
		if got, known := Spelled(written); !known || got != want {
			t.Errorf("%q: got %q, want %q", written, got, want)
		}
	}
}
