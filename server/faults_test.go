package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"witnessmark/store"
	"witnessmark/store/claims"
	"witnessmark/store/record"
)

// TestToStatus: what is meant for the caller is said, with its reason; what is not is not.
func TestToStatus(t *testing.T) {
	refusal := func(reason string) error {
		return fmt.Errorf("inner: %w", &record.Refusal{Reason: reason, At: "at", Allowed: "allowed", Text: "said"})
	}
	for _, c := range []struct {
		err    error
		code   codes.Code
		reason string
	}{
		{nil, codes.OK, ""},
		{refusal(record.ReasonAuthor), codes.PermissionDenied, record.ReasonAuthor},
		{refusal(record.ReasonRole), codes.PermissionDenied, record.ReasonRole},
		{refusal(record.ReasonBadValue), codes.InvalidArgument, record.ReasonBadValue},
		{refusal(record.ReasonOpening), codes.InvalidArgument, record.ReasonOpening},
		{refusal(record.ReasonNotFound), codes.NotFound, record.ReasonNotFound},
		{refusal(record.ReasonDanger), codes.FailedPrecondition, record.ReasonDanger},
		{refusal(claims.ReasonReport), codes.FailedPrecondition, claims.ReasonReport},
		{fmt.Errorf("inner: %w", record.ErrUnknownKind), codes.FailedPrecondition, "upgrade"},
		{fmt.Errorf("inner: %w", store.ErrBroken), codes.Unavailable, "store-broken"},
		{fmt.Errorf("inner: %w", store.ErrClosed), codes.Unavailable, "store-broken"},
		{fmt.Errorf("inner: %w", context.DeadlineExceeded), codes.DeadlineExceeded, ""},
		{fmt.Errorf("inner: %w", context.Canceled), codes.Canceled, ""},
		{status.Error(codes.ResourceExhausted, "said"), codes.ResourceExhausted, ""},
		{fmt.Errorf("inner: %w", store.ErrDamaged), codes.DataLoss, "damaged"},
		{fmt.Errorf("inner: %w", &os.PathError{Op: "write", Err: syscall.ENOSPC}), codes.ResourceExhausted, "disk-full"},
		{errors.New("inner"), codes.Internal, "internal"},
		{tooSlow(time.Minute), codes.DeadlineExceeded, "too-slow"},
	} {
		st := toStatus(c.err)
		if st.Code() != c.code || faultOf(st.Err()).GetReason() != c.reason || strings.Contains(st.Message(), "inner") {
			t.Errorf("%v becomes %s %q (%s), want %s %q", c.err, st.Code(), faultOf(st.Err()).GetReason(), st.Message(), c.code, c.reason)
		}
		if c.code == codes.PermissionDenied && (faultOf(st.Err()).GetAt() != "at" || faultOf(st.Err()).GetAllowed() != "allowed") {
			t.Errorf("%v loses where and what would be right: %v", c.err, faultOf(st.Err()))
		}
	}
}

// TestOneLine: what goes to a terminal is one line that steers nothing.
func TestOneLine(t *testing.T) {
	got := oneLine(errors.New("one\n two\r\x1b[31m three" + strings.Repeat("ä", 2000)))
	if strings.ContainsAny(got, "\n\r\x1b") || !strings.HasPrefix(got, "one two \ufffd[31m three") || len(got) > 2010 || !strings.HasSuffix(got, "ä…") {
		t.Errorf("%q", got)
	}
}

// TestLoggable: what an error quotes may be a plate; what it does not quote is the log's.
func TestLoggable(t *testing.T) {
	err := fmt.Errorf("plate %q: %w", `AB "12" CD`+"\n", fmt.Errorf("job %q of entry 7: %w", "x", store.ErrDamaged))
	if got, want := loggable(err).Value.String(), `plate "…": job "…" of entry 7: store is damaged`; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// TestGuarded: one call's panic is that call's error, and is logged.
func TestGuarded(t *testing.T) {
	logs := &lockedBuffer{}
	_, err := guarded(slog.New(slog.NewTextHandler(logs, nil)), func() (any, error) { panic("at the disco") })
	if err == nil || toStatus(err).Code() != codes.Internal || !strings.Contains(logs.String(), "at the disco") {
		t.Errorf("%v; logged: %s", err, logs)
	}
	if _, err := peerKey(context.Background()); faultOf(toStatus(err).Err()).GetReason() != "no-key" {
		t.Errorf("a call without a connection: %v", err)
	}
	if c := callOf(context.Background()); c.person != nil || c.keyID != "" {
		t.Errorf("a call from nowhere is %v", c)
	}
}

// TestServe stops when its context ends.
func TestServe(t *testing.T) {
	w := newWorkshop(t)
	w.stop()
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- Serve(ctx, Options{Place: in(w.dir), Listen: "127.0.0.1:0"}) }()
	cancel()
	if err := <-served; err != nil {
		t.Error(err)
	}
	if err := Serve(ctx, Options{Place: in(w.dir), Listen: "nowhere:-1"}); err == nil || strings.Contains(err.Error(), "\n") {
		t.Errorf("listening nowhere: %v", err)
	}
	if err := Serve(ctx, Options{Place: in(t.TempDir()), Listen: "127.0.0.1:0"}); err == nil || !strings.Contains(err.Error(), "not a server's folder") {
		t.Errorf("an empty folder: %v", err)
	}
	w.start() // the store was let go of each time
}
