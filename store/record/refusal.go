package record

import (
	"fmt"

	"witnessmark/store/signoff"
)

// ErrUnknownKind is an action or entry that this program does not know: it must be upgraded
// before it can decide, collect or verify anything after it.
var ErrUnknownKind = signoff.ErrUnknownKind

// Refusal is why an action may not become an entry. Reason is a stable word, At the field,
// finding key or person at fault, Text one line that says what is wrong and what would be right,
// Allowed what would have been accepted there (empty where nothing would).
type Refusal struct{ Reason, At, Text, Allowed string }

func (r *Refusal) Error() string { return r.Text }

// Reasons of a Refusal. They never change their meaning.
const (
	ReasonNoGenesis        = "no-genesis"         // the state has no entry 0
	ReasonBadEntry         = "bad-entry"          // the entry or genesis is not well formed
	ReasonBadEnvelope      = "bad-envelope"       // the envelope is not in its strict form
	ReasonBadSignature     = "bad-signature"      // the signature is not of the key it names
	ReasonOtherLedger      = "other-ledger"       // genesis is another ledger's
	ReasonUnknownKey       = "unknown-key"        // nobody was ever enrolled with this key
	ReasonReplacedKey      = "replaced-key"       // its owner has a newer key
	ReasonRetired          = "retired"            // the person was retired
	ReasonRole             = "role"               // the person's roles do not allow it
	ReasonBadValue         = "bad-value"          // a field is missing, malformed or out of range
	ReasonSeen             = "seen"               // seen is not a checkpoint of this ledger
	ReasonActsOn           = "acts-on"            // something happened since the signer looked
	ReasonDuplicateRequest = "duplicate-request"  // this very envelope is an entry already
	ReasonRequestUsed      = "request-id-used"    // the request id belongs to another action
	ReasonNotFound         = "not-found"          // no such person, document, job or submission
	ReasonNameUsed         = "name-used"          // the name belongs or belonged to another person
	ReasonKeyUsed          = "key-used"           // the key belongs or belonged to another
	ReasonNoChange         = "no-change"          // it is so already
	ReasonLastLead         = "last-lead"          // there would be no lead left
	ReasonOlderRevision    = "older-revision"     // judged by, or opened with, a revision that is not the newest
	ReasonFuel             = "fuel"               // the limits are for other fuels
	ReasonCarried          = "carried"            // the first job by a definition carried over from other software
	ReasonNoRead           = "no-read"            // the job has no read yet
	ReasonNotAsFound       = "not-as-found"       // base, size or ranges are not those of the read as found
	ReasonLastKnown        = "last-known"         // last_known is not what the ledger says
	ReasonDiffers          = "judgement-differs"  // the same revisions gave another judgement before
	ReasonOtherImage       = "other-image"        // the image named is not the submission's
	ReasonState            = "state"              // the submission's state does not allow it
	ReasonAuthor           = "author"             // an author may not sign their own
	ReasonNotAuthor        = "not-author"         // by_author, or a withdrawal, by somebody else
	ReasonDanger           = "danger"             // danger is never signed
	ReasonBecause          = "because"            // the reasons are not one for each warning
	ReasonNewSignOff       = "needs-new-sign-off" // newer revisions judge worse than what was signed
	ReasonNoRelease        = "no-release"         // nothing can be collected
	ReasonNotCollected     = "not-collected"      // a read-back of something that was never collected
	ReasonOtherInputs      = "other-inputs"       // judged by other facts than the job has now
	ReasonClosed           = "closed"             // the job is closed
	ReasonErased           = "erased"             // the job was erased
	ReasonHoles            = "holes"              // the read lacks bytes that the definition names
	ReasonOtherCar         = "other-car"          // the car is another one than the job's
	ReasonSealedUsed       = "sealed-used"        // the sealed text is another job's
	ReasonCorridor         = "corridor"           // it says of another corridor than the one that covers now, or is none of its releases
	ReasonOpening          = "opening"            // an opening does not open what the action seals
)

func refuse(reason, at, allowed, format string, args ...any) error {
	return &Refusal{Reason: reason, At: at, Allowed: allowed, Text: fmt.Sprintf(format, args...)}
}

// badValue refuses a field: at names it, what is wrong with it, allowed what it may be.
func badValue(at, allowed, format string, args ...any) error {
	what := fmt.Sprintf(format, args...)
	return refuse(ReasonBadValue, at, allowed, "%s: %s; allowed: %s", at, what, allowed)
}
