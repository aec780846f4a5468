package server

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/tap"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// notEnrolled refuses a key that is nobody's, or ends its streams; of one that was somebody's it says who ended that.
func (c *core) notEnrolled(keyID signoff.KeyID) error {
	f := &fault{code: codes.Unauthenticated, reason: "not-enrolled", at: string(keyID), allowed: "a key that a lead enrolled",
		text: fmt.Sprintf("key %s belongs to nobody who is enrolled here", keyID)}
	if err := c.look(func(s *record.State) error {
		f.text = cmp.Or(s.KeyEnded(keyID), f.text)
		return nil
	}); err != nil {
		return err
	}
	return f
}

// known says whether a key is or was somebody's. Where that cannot be looked up just now everybody is, so far: what
// they ask is refused with the reason.
func (c *core) known(keyID signoff.KeyID) (known bool) {
	err := c.look(func(s *record.State) error {
		known = s.OwnerOf(keyID) != ""
		return nil
	})
	return known || err != nil
}

// call is who calls, and by what rule.
type call struct {
	person *recordv1.Person
	keyID  signoff.KeyID
	rule   rule
	end    context.CancelCauseFunc // ends a stream from the server's side; nil for a single call
	begin  *time.Timer             // ends it unless it begins
}

type callKey struct{}

func callOf(ctx context.Context) *call {
	if c, ok := ctx.Value(callKey{}).(*call); ok {
		return c
	}
	return &call{}
}

// gate lets calls in: it looks the person up at every call, and logs each one.
type gate struct {
	core    *core
	rules   map[string]rule
	log     *slog.Logger
	bounds  *bounds
	calls   *room
	asking  *pace
	figures *figures
	under   sync.WaitGroup // stream handlers, which may outlive their streams for a moment
}

// tap is asked before anything of a call is read: it bounds how many there are, and how long each may
// take to say what it wants.
func (g *gate) tap(outer context.Context, _ *tap.Info) (context.Context, error) {
	key, err := peerKey(outer)
	if p, _ := peer.FromContext(outer); err == nil && p != nil {
		if former, ok := p.AuthInfo.(formerInfo); ok {
			err = former.why
		}
	}
	if err != nil {
		st := toStatus(err)
		g.figures.refused(reasonOf(st))
		return outer, st.Err()
	}
	c := &call{keyID: signoff.Fingerprint(key)}
	if !g.calls.take(string(c.keyID), 1) {
		g.figures.refused("too-many")
		return outer, toStatus(tooMany("call", "too many calls of this key are under way")).Err()
	}
	context.AfterFunc(outer, func() { g.calls.give(string(c.keyID), 1) })
	ctx, cancel := context.WithCancel(context.WithValue(outer, callKey{}, c))
	c.begin = time.AfterFunc(g.bounds.patience(maxMessage), func() { g.figures.refused("too-slow"); cancel() })
	return ctx, nil
}

// within ends a stream after a while, unless it is stopped before that.
func (c *call) within(d time.Duration) *time.Timer {
	return time.AfterFunc(d, func() { c.end(tooSlow(d)) })
}

func tooSlow(waited time.Duration) *fault {
	return &fault{code: codes.DeadlineExceeded, reason: "too-slow", text: fmt.Sprintf("it got on too slowly, and was ended after %s", waited.Round(time.Millisecond))}
}

// enter finds the person by the Ed25519 key of the connection's certificate and applies the
// method's rule. What else the certificate says means nothing.
func (g *gate) enter(ctx context.Context, method string) (c *call, err error) {
	c = callOf(ctx)
	c.begin.Stop()
	wait, ok := g.asking.turn(string(c.keyID), time.Now())
	if !ok {
		return c, tooMany("call", "this key calls too often")
	}
	select {
	case <-time.After(wait):
	case <-ctx.Done():
		return c, context.Cause(ctx)
	}
	r, ok := g.rules[method]
	if !ok {
		return c, &fault{code: codes.PermissionDenied, reason: "no-rule", text: "nobody may call this method"}
	}
	c.rule = r
	if c.person, err = g.core.person(c.keyID); err != nil {
		return c, err
	}
	if c.person == nil {
		return c, g.core.notEnrolled(c.keyID)
	}
	if !r.allows(c.person) {
		return c, &fault{code: codes.PermissionDenied, reason: "role", at: method, allowed: r.String(),
			text: fmt.Sprintf("%s may not do this: it takes one of these roles: %s", c.person.GetName(), r)}
	}
	return c, nil
}

func peerKey(ctx context.Context) (ed25519.PublicKey, error) {
	p, _ := peer.FromContext(ctx)
	if p == nil {
		return keyOf(nil)
	}
	return keyOf(p.AuthInfo)
}

// unary guards and logs one call.
func (g *gate) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
	start := time.Now()
	c, err := g.enter(ctx, info.FullMethod)
	if err == nil {
		resp, err = guarded(g.log, func() (any, error) { return handler(ctx, req) })
	}
	return resp, g.finish(ctx, info.FullMethod, c, start, err)
}

// stream guards and logs one stream, and ends it when its person is no longer enrolled. The
// handler runs beside it, because it may be waiting for a peer that does not read.
func (g *gate) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	start := time.Now()
	// Not the stream's own context: gRPC would answer for itself once that has ended.
	ctx, cancel := context.WithCancelCause(ss.Context())
	defer cancel(nil)
	// Before the person is looked up: whoever is retired after that is found among the streams.
	defer g.core.track(callOf(ctx).keyID, cancel)()
	c, err := g.enter(ss.Context(), info.FullMethod)
	if err != nil {
		return g.finish(ss.Context(), info.FullMethod, c, start, err)
	}
	c.end = cancel
	done := make(chan error, 1)
	g.under.Go(func() {
		_, err := guarded(g.log, func() (any, error) { return nil, handler(srv, &boundedStream{ss, ctx, c, g.bounds}) })
		done <- err
	})
	select {
	case err = <-done:
	case <-ctx.Done():
		if !endedByServer(ctx) {
			err = <-done
		}
	}
	if endedByServer(ctx) {
		err = context.Cause(ctx)
	}
	return g.finish(ctx, info.FullMethod, c, start, err)
}

// endedByServer says whether the server itself ended a stream, and said why.
func endedByServer(ctx context.Context) bool {
	var f *fault
	return errors.As(context.Cause(ctx), &f)
}

// boundedStream is a stream that ends with its person's enrolment, and when its peer does not get on.
type boundedStream struct {
	grpc.ServerStream
	ctx    context.Context
	call   *call
	bounds *bounds
}

func (s *boundedStream) Context() context.Context { return s.ctx }

func (s *boundedStream) RecvMsg(m any) error {
	defer s.call.within(s.bounds.patience(maxMessage)).Stop()
	return s.ServerStream.RecvMsg(m)
}

func (s *boundedStream) SendMsg(m any) error {
	p, _ := m.(proto.Message)
	defer s.call.within(s.bounds.patience(int64(proto.Size(p)))).Stop()
	return s.ServerStream.SendMsg(m)
}

// guarded turns a panic into an error, so that one call cannot end the server.
func guarded(log *slog.Logger, fn func() (any, error)) (resp any, err error) {
	defer func() {
		if r := recover(); r != nil {
			log.Error("panic", "panic", fmt.Sprint(r), "stack", string(debug.Stack()))
			resp, err = nil, fmt.Errorf("panic: %v", r)
		}
	}()
	return fn()
}

// finish maps the error, counts the call, and writes its one log line: never what was in the request.
func (g *gate) finish(ctx context.Context, method string, c *call, start time.Time, err error) error {
	st, took := toStatus(err), time.Since(start)
	attrs := []slog.Attr{
		slog.String("method", method),
		slog.String("code", st.Code().String()),
		slog.Duration("took", took),
		slog.String("key", string(c.keyID)),
	}
	reason := reasonOf(st)
	if reason != "" {
		attrs = append(attrs, slog.String("reason", reason))
	}
	level := slog.LevelInfo
	switch st.Code() {
	case codes.Internal, codes.Unknown, codes.Unavailable, codes.DataLoss:
		level = slog.LevelError
		attrs = append(attrs, loggable(err))
	}
	g.figures.call(method, st.Code(), reason, took)
	g.log.LogAttrs(ctx, level, "call", attrs...)
	return st.Err()
}

// reasonOf is the stable word of a refusal.
func reasonOf(st *status.Status) string {
	for _, d := range st.Details() {
		if f, ok := d.(*servicev1.Fault); ok {
			return f.GetReason()
		}
	}
	return ""
}

// person is who is enrolled with a key; nil for nobody.
func (c *core) person(keyID signoff.KeyID) (p *recordv1.Person, err error) {
	err = c.look(func(s *record.State) error {
		if found, ok := s.PersonByKey(keyID); ok {
			p = found
		}
		return nil
	})
	return p, err
}

// openStream is a stream of one person, by key.
type openStream struct {
	keyID  signoff.KeyID
	cancel context.CancelCauseFunc
}

// track has a stream end when its key is no longer enrolled; the answer takes it off again.
func (c *core) track(keyID signoff.KeyID, cancel context.CancelCauseFunc) func() {
	o := &openStream{keyID, cancel}
	c.mu.Lock()
	c.streams[o] = true
	c.mu.Unlock()
	return func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.streams, o)
	}
}

// endStreams ends those whose people are not enrolled any more. Where the store cannot tell, it has to be asked again.
func (c *core) endStreams(open []*openStream) error {
	if len(open) == 0 {
		return nil
	}
	var former []*openStream
	err := c.look(func(s *record.State) error {
		for _, o := range open {
			if _, ok := s.PersonByKey(o.keyID); !ok {
				former = append(former, o)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, o := range former {
		o.cancel(c.notEnrolled(o.keyID))
	}
	return nil
}
