package claims

import (
	"fmt"
	"strings"
	"unicode"

	"witnessmark/store/record"
)

// Reasons of a *record.Refusal, beside record's own. They never change their meaning.
const (
	ReasonClaim      = "claim-differs"  // a claim is another than the bytes make it
	ReasonReport     = "report-differs" // the report named is not what the comparison makes
	ReasonUpgrade    = "upgrade"        // the report is by other rules of comparing than this program's
	ReasonComparison = "cannot-compare" // the comparison cannot be made
	ReasonDocument   = "bad-document"   // a definition or limits that cannot be read
	ReasonFit        = "do-not-fit"     // limits and a definition that do not fit each other
	ReasonImage      = "bad-image"      // the bytes are not what the action or the definition says
	ReasonNumbers    = "bad-numbers"    // numbers of the car that cannot be reckoned
	ReasonRun        = "bad-run"        // a run that cannot be read
	ReasonOtherFrame = "other-frame"    // the frame number is another than the image holds
	ReasonCarSaid    = "car-said"       // plate and frame number do not settle which car it is
)

func refuse(reason, at, allowed, format string, args ...any) error {
	return &record.Refusal{Reason: reason, At: at, Allowed: allowed, Text: fmt.Sprintf(format, args...)}
}

// oneLine is an error's text on one line, bounded: it goes to a terminal, which nothing in a file
// may steer.
func oneLine(err error) string {
	text := []rune(strings.Join(strings.FieldsFunc(err.Error(), func(r rune) bool { return r == '\n' || r == '\r' }), "; "))
	if len(text) > 1000 {
		text = append(text[:1000], '…')
	}
	for i, r := range text {
		if !unicode.IsPrint(r) {
			text[i] = unicode.ReplacementChar
		}
	}
	return string(text)
}
