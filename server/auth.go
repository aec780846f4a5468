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
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/peer"

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

// call is who calls, and by what rule.
type call struct {
	person *recordv1.Person // nil where anyone may call
	keyID  signoff.KeyID
	rule   rule
	end    context.CancelCauseFunc // ends a stream from the server's side; nil for a single call
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
	core  *core
	rules map[string]rule
	log   *slog.Logger
	under sync.WaitGroup // stream handlers, which may outlive their streams for a moment
}

// enter finds the person by the Ed25519 key of the connection's certificate and applies the
// method's rule. What else the certificate says means nothing.
func (g *gate) enter(ctx context.Context, method string) (context.Context, *call, error) {
	c := &call{}
	r, ok := g.rules[method]
	if !ok {
		return ctx, c, &fault{code: codes.PermissionDenied, reason: "no-rule", text: "nobody may call this method"}
	}
	c.rule = r
	key, err := peerKey(ctx)
	if err != nil {
		return ctx, c, err
	}
	c.keyID = signoff.Fingerprint(key)
	if r.anyone {
		return context.WithValue(ctx, callKey{}, c), c, nil
	}
	if c.person, err = g.core.person(c.keyID); err != nil {
		return ctx, c, err
	}
	if c.person == nil {
		return ctx, c, g.core.notEnrolled(c.keyID)
	}
	if !r.allows(c.person) {
		return ctx, c, &fault{code: codes.PermissionDenied, reason: "role", at: method, allowed: r.String(),
			text: fmt.Sprintf("%s may not do this: it takes one of these roles: %s", c.person.GetName(), r)}
	}
	return context.WithValue(ctx, callKey{}, c), c, nil
}

func peerKey(ctx context.Context) (ed25519.PublicKey, error) {
	p, ok := peer.FromContext(ctx)
	if ok {
		if info, ok := p.AuthInfo.(credentials.TLSInfo); ok && len(info.State.PeerCertificates) > 0 {
			if key, ok := info.State.PeerCertificates[0].PublicKey.(ed25519.PublicKey); ok {
				return key, nil
			}
		}
	}
	return nil, &fault{code: codes.Unauthenticated, reason: "no-key", text: "the connection has no Ed25519 client key"}
}

// unary guards and logs one call.
func (g *gate) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
	start := time.Now()
	ctx, c, err := g.enter(ctx, info.FullMethod)
	if err == nil {
		resp, err = guarded(g.log, func() (any, error) { return handler(ctx, req) })
	}
	return resp, g.finish(ctx, info.FullMethod, c, start, err)
}

// stream guards and logs one stream, and ends it when its person is no longer enrolled. The
// handler runs beside it, because it may be waiting for a peer that does not read.
func (g *gate) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	start := time.Now()
	ctx, c, err := g.enter(ss.Context(), info.FullMethod)
	if err != nil {
		return g.finish(ctx, info.FullMethod, c, start, err)
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	if !c.rule.anyone {
		defer g.core.follow(c.keyID, cancel)()
	}
	c.end = cancel
	done := make(chan error, 1)
	g.under.Go(func() {
		_, err := guarded(g.log, func() (any, error) { return nil, handler(srv, &contextStream{ss, ctx}) })
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

// contextStream is a stream whose context ends with the person's enrolment.
type contextStream struct {
	grpc.ServerStream
	ctx context.Context
}

func (s *contextStream) Context() context.Context { return s.ctx }

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

// finish maps the error and writes the call's one log line: never what was in the request.
func (g *gate) finish(ctx context.Context, method string, c *call, start time.Time, err error) error {
	st := toStatus(err)
	attrs := []slog.Attr{
		slog.String("method", method),
		slog.String("code", st.Code().String()),
		slog.Duration("took", time.Since(start)),
	}
	if c.person != nil {
		attrs = append(attrs, slog.String("person", c.person.GetName()))
	} else if c.keyID != "" {
		attrs = append(attrs, slog.String("key", string(c.keyID)))
	}
	level := slog.LevelInfo
	switch st.Code() {
	case codes.Internal, codes.Unknown, codes.Unavailable:
		level = slog.LevelError
		attrs = append(attrs, slog.Any("error", err))
	default:
		for _, d := range st.Details() {
			if f, ok := d.(*servicev1.Fault); ok {
				attrs = append(attrs, slog.String("reason", f.GetReason()))
			}
		}
	}
	g.log.LogAttrs(ctx, level, "call", attrs...)
	return st.Err()
}

// person is who is enrolled with a key; nil for nobody.
func (c *core) person(keyID signoff.KeyID) (p *recordv1.Person, err error) {
	err = record.View(c.engine, func(s *record.State) error {
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

// follow ends a stream when its key is no longer enrolled; the answer stops following.
func (c *core) follow(keyID signoff.KeyID, cancel context.CancelCauseFunc) func() {
	o := &openStream{keyID, cancel}
	c.mu.Lock()
	c.streams[o] = true
	c.mu.Unlock()
	c.endStream(o) // retired since it entered
	return func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.streams, o)
	}
}

// endStream ends a stream whose person is not enrolled any more. Where the store cannot tell, the
// next look at it says why.
func (c *core) endStream(o *openStream) {
	if p, err := c.person(o.keyID); err == nil && p == nil {
		o.cancel(c.notEnrolled(o.keyID))
	}
}
