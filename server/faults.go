package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/postgres"
	"witnessmark/store/record"
)

// fault is a refusal that the server itself makes: a status, a stable word, what is at
// fault, and one line that says what is wrong and what would be right.
type fault struct {
	code                      codes.Code
	reason, at, text, allowed string
}

func (f *fault) Error() string { return f.text }

// invalid is a request that is wrong whatever the record says.
func invalid(reason, at, allowed, format string, args ...any) *fault {
	return &fault{code: codes.InvalidArgument, reason: reason, at: at, allowed: allowed, text: fmt.Sprintf(format, args...)}
}

func missing(at, format string, args ...any) *fault {
	return &fault{code: codes.NotFound, reason: "not-found", at: at, text: fmt.Sprintf(format, args...)}
}

// permissionReasons are the reasons of the record's rules that are about the person rather
// than about what is in the ledger.
var permissionReasons = map[string]bool{
	record.ReasonUnknownKey: true, record.ReasonReplacedKey: true, record.ReasonRetired: true,
	record.ReasonRole: true, record.ReasonAuthor: true, record.ReasonNotAuthor: true,
}

// invalidReasons are about the action itself, whatever is in the ledger.
var invalidReasons = map[string]bool{
	record.ReasonBadEnvelope: true, record.ReasonBadValue: true, record.ReasonBadEntry: true, record.ReasonBadSignature: true,
	record.ReasonOtherLedger: true, record.ReasonOpening: true,
}

// toStatus is the one place where an error becomes a gRPC status. Anything that is not
// meant for the caller becomes "internal error" here; the caller logs the error itself.
func toStatus(err error) *status.Status {
	var (
		f *fault
		r *record.Refusal
	)
	switch {
	case err == nil:
		return status.New(codes.OK, "")
	case errors.As(err, &f):
		return detailed(f.code, f.text, f.reason, f.at, f.allowed)
	case errors.As(err, &r):
		code := codes.FailedPrecondition
		switch {
		case permissionReasons[r.Reason]:
			code = codes.PermissionDenied
		case invalidReasons[r.Reason]:
			code = codes.InvalidArgument
		case r.Reason == record.ReasonNotFound:
			code = codes.NotFound
		}
		return detailed(code, r.Text, r.Reason, r.At, r.Allowed)
	case errors.Is(err, record.ErrUnknownKind):
		return detailed(codes.FailedPrecondition, "this server does not understand that action, or what is in its ledger already; the server must be upgraded", "upgrade", "envelope", "")
	case errors.Is(err, postgres.ErrNewer):
		return detailed(codes.Unavailable, newerServes, "upgrade", "", "")
	case errors.Is(err, store.ErrUncertain):
		return detailed(codes.Unavailable, "the database did not say whether it took this; the same again finds out", "away", "", "")
	case errors.Is(err, store.ErrAway):
		return detailed(codes.Unavailable, "the server's database cannot be reached, and nothing was taken; try again later", "away", "", "")
	case errors.Is(err, store.ErrBroken), errors.Is(err, store.ErrClosed):
		return detailed(codes.Unavailable, "the store takes no more writes until the server is started again", "store-broken", "", "")
	case errors.Is(err, store.ErrDamaged):
		return detailed(codes.DataLoss, "the store is damaged, and the server's log says where; try: witnessmarkd check, then a backup", "damaged", "", "")
	case errors.Is(err, postgres.ErrFull):
		return detailed(codes.ResourceExhausted, "the disk of the server's database is full, and nothing was taken; try again when there is room on it", "disk-full", "", "")
	case isFull(err):
		return detailed(codes.ResourceExhausted, diskFull, "disk-full", "", "")
	case errors.Is(err, context.DeadlineExceeded):
		return status.New(codes.DeadlineExceeded, "deadline exceeded")
	case errors.Is(err, context.Canceled):
		return status.New(codes.Canceled, "canceled")
	}
	if st, ok := status.FromError(err); ok {
		return st
	}
	return detailed(codes.Internal, "internal error; the server's log has more", "internal", "", "")
}

const newerServes = "a newer server serves this ledger, and this one has to be upgraded"

func detailed(code codes.Code, text, reason, at, allowed string) *status.Status {
	st, err := status.New(code, text).WithDetails(&servicev1.Fault{Reason: reason, At: at, Allowed: allowed})
	if err != nil {
		return status.New(code, text)
	}
	return st
}

func isUnavailable(err error) bool { return toStatus(err).Code() == codes.Unavailable }

func notFound(err error) bool { return errors.Is(err, store.ErrNotFound) }

// quoted is what an error holds between quotes, such as the key of a document, which may be somebody's plate.
var quoted = regexp.MustCompile(`"(\\.|[^"\\])*"`)

// loggable is an error's text for the log, without what is quoted in it.
func loggable(err error) slog.Attr {
	return slog.String("error", quoted.ReplaceAllString(oneLine(err), `"…"`))
}

// endOf is nil at the end of a file.
func endOf(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// oneLine is an error's text on one line, bounded: it goes into an answer, which must be UTF-8, and
// to a terminal, which nothing in a file may steer.
func oneLine(err error) string {
	s := strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return utf8.RuneError
	}, strings.Join(strings.Fields(err.Error()), " "))
	if len(s) > 2000 {
		s = strings.ToValidUTF8(s[:2000], "") + "…"
	}
	return s
}
