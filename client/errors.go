// Package client is how people do it: it signs what its person says, keeps its own copy of the
// ledger, and verifies everything that a server answers before it trusts any of it.
package client

import (
	"errors"
	"fmt"

	"witnessmark/store/claims"
	"witnessmark/store/record"
)

// Kind says what sort of failure an Error is.
type Kind int

// Kinds of failure. Distrust is the answer "no": something could be checked and is not what it
// claims to be. Everything else could not be done.
const (
	Failed   Kind = iota
	Distrust      // the server, a file or a proof is not what it says it is
	Upgrade       // made by a newer witnessmark: neither right nor wrong can be told
	Refused       // the rules, or the server, say no
	Usage         // something is missing that a person has to give
	Away          // the server cannot be reached, or does not answer
)

// String is the stable word for a kind.
func (k Kind) String() string {
	return [...]string{"failed", "distrust", "upgrade", "refused", "usage", "away"}[k]
}

// Error is one failure: what was done, what is wrong, and where there is one, what to do.
type Error struct {
	Op   string
	Kind Kind
	Text string
	Try  string
	Err  error
}

func (e *Error) Error() string {
	s := e.Text
	if e.Err != nil {
		if s != "" {
			s += ": "
		}
		s += e.Err.Error()
	}
	if e.Op != "" {
		s = e.Op + ": " + s
	}
	return s
}

func (e *Error) Unwrap() error { return e.Err }

// KindOf is the kind of the outermost Error in err's chain; Failed where there is none.
func KindOf(err error) Kind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return Failed
}

// TryOf is the first thing to do in err's chain, or empty.
func TryOf(err error) string {
	for err != nil {
		var e *Error
		if !errors.As(err, &e) {
			return ""
		}
		if e.Try != "" {
			return e.Try
		}
		err = e.Err
	}
	return ""
}

func distrust(format string, args ...any) error {
	return &Error{Kind: Distrust, Text: fmt.Sprintf(format, args...),
		Try: "nothing was taken over; ask the lead to compare ledgers before anything is written to a car"}
}

func usage(try, format string, args ...any) error {
	return &Error{Kind: Usage, Text: fmt.Sprintf(format, args...), Try: try}
}

func refused(format string, args ...any) error {
	return &Error{Kind: Refused, Text: fmt.Sprintf(format, args...)}
}

func upgrade(format string, args ...any) error {
	return &Error{Kind: Upgrade, Text: fmt.Sprintf(format, args...), Try: "upgrade witnessmark and try again"}
}

// unknownEntry is what nothing can be decided, collected or verified after.
func unknownEntry() error {
	return upgrade("the ledger holds an entry of a kind that this witnessmark does not know")
}

// answers are the flags by which a person says what a rule asks for.
var answers = map[string]string{
	record.ReasonHoles:   "--with-holes, or a whole read",
	claims.ReasonCarSaid: "--same-car, or --not-same-car",
}

// refusal gives what the rules say its kind; a refusal's text says what would be right.
func refusal(err error) error {
	var r *record.Refusal
	switch {
	case errors.As(err, &r) && r.Reason == claims.ReasonUpgrade:
		return upgrade("%v", r)
	case errors.As(err, &r):
		return &Error{Kind: Refused, Err: r, Try: answers[r.Reason]}
	case errors.Is(err, record.ErrUnknownKind):
		return unknownEntry()
	}
	return err
}

// reasonOf is the stable word of a refusal in err's chain, or empty.
func reasonOf(err error) string {
	var r *record.Refusal
	if errors.As(err, &r) {
		return r.Reason
	}
	return ""
}
