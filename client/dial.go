package client

import (
	"context"
	"crypto"
	"crypto/ed25519"
	"crypto/tls"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

const (
	// callTimeout is how long a server may be silent before that is an error.
	callTimeout = 30 * time.Second
	// connectTimeout is how long it is tried to reach one.
	connectTimeout = 5 * time.Second

	tryEnrol = "a lead enrols people: witnessmark person enrol NAME --role ROLE --key FILE.pub"
)

// link is a connection to a server whose key is known, or learned once at login.
type link struct {
	conn *grpc.ClientConn

	me string // fingerprint of the person's own key

	mu     sync.Mutex
	pinned ed25519.PublicKey // nil at login: the first key seen is kept and then compared
	bad    error             // why the last handshake was refused
}

func dial(addr string, signer crypto.Signer, pinned ed25519.PublicKey) (*link, error) {
	cert, err := Certificate(signer)
	if err != nil {
		return nil, err
	}
	l := &link{me: "the key", pinned: pinned}
	if own, ok := signer.Public().(ed25519.PublicKey); ok {
		l.me = string(signoff.Fingerprint(own))
	}
	config := &tls.Config{
		MinVersion:   tls.VersionTLS13,
		Certificates: []tls.Certificate{cert},
		// Names and dates prove nothing here; VerifyConnection compares the key itself.
		InsecureSkipVerify:     true,
		SessionTicketsDisabled: true,
		VerifyConnection:       l.verify,
	}
	l.conn, err = grpc.NewClient("passthrough:///"+addr,
		grpc.WithTransportCredentials(credentials.NewTLS(config)),
		grpc.WithConnectParams(grpc.ConnectParams{Backoff: backoff.DefaultConfig, MinConnectTimeout: connectTimeout}),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(32<<20), grpc.ForceCodecV2(countedCodec())))
	return l, err
}

func (l *link) verify(cs tls.ConnectionState) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.bad = nil
	if len(cs.PeerCertificates) == 0 {
		return errors.New("the server shows no key")
	}
	key, ok := cs.PeerCertificates[0].PublicKey.(ed25519.PublicKey)
	switch {
	case !ok || signoff.CheckPoint(key) != nil:
		l.bad = distrust("the server's key is no Ed25519 key")
	case l.pinned == nil:
		l.pinned = key
	case !l.pinned.Equal(key):
		l.bad = &Error{Kind: Distrust, Text: fmt.Sprintf("the server's key is %s, and the one you pinned is %s", signoff.Fingerprint(key), signoff.Fingerprint(l.pinned)),
			Try: "ask the lead whether this is the server's address, and whether the ledger was begun anew: then a lead enrols you, and you log in anew"}
	}
	return l.bad
}

// key is the server's key of this connection; nil before the first call.
func (l *link) key() ed25519.PublicKey {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.pinned
}

// refused says whether the last server that was reached has not the key that was pinned.
func (l *link) refused() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.bad != nil
}

// patient is the context of a call that may take long as long as something moves.
type patient struct {
	context.Context
	timer *time.Timer
}

// moved begins the wait anew.
func (p *patient) moved() { p.timer.Reset(callTimeout) }

// patient begins such a call; end ends it, and says what its error means.
func (l *link) patient(ctx context.Context) (p *patient, end func(error) error) {
	inner, cancel := context.WithCancel(ctx)
	p = &patient{inner, time.AfterFunc(callTimeout, cancel)}
	return p, func(err error) error {
		silent := inner.Err() != nil && ctx.Err() == nil
		p.timer.Stop()
		cancel()
		if silent && err != nil {
			return &Error{Kind: Away, Text: "the server does not answer"}
		}
		return l.fault(err)
	}
}

// fault turns an error of a call into one line and a kind.
func (l *link) fault(err error) error {
	l.mu.Lock()
	bad := l.bad
	l.mu.Unlock()
	s, ok := status.FromError(err)
	if !ok || errors.Is(err, context.Canceled) {
		return err
	}
	switch s.Code() {
	case codes.Unavailable:
		if bad != nil {
			return bad
		}
		if strings.Contains(s.Message(), "remote error: tls: bad certificate") { // a server ends a stranger's handshake
			return &Error{Kind: Refused, Text: "the server knows no such key: " + l.me + " was never enrolled there", Try: tryEnrol}
		}
		return &Error{Kind: Away, Text: "the server cannot be reached: " + s.Message()}
	case codes.DeadlineExceeded:
		return &Error{Kind: Away, Text: "the server does not answer"}
	case codes.Canceled:
		return context.Canceled
	case codes.OK:
		return nil
	case codes.Internal, codes.Unknown, codes.DataLoss, codes.ResourceExhausted:
		return &Error{Kind: Failed, Text: "the server could not do it: " + s.Message()} // it may have done it in part
	}
	e := &Error{Kind: Refused, Text: s.Message()}
	for _, d := range s.Details() {
		if f, ok := d.(*servicev1.Fault); ok {
			e.Text, e.Err = "", &record.Refusal{Reason: f.GetReason(), At: f.GetAt(), Allowed: f.GetAllowed(), Text: s.Message()}
		}
	}
	if s.Code() == codes.Unauthenticated {
		e.Try = tryEnrol
	}
	if e.Text == "" && e.Err == nil {
		e.Text = s.Code().String()
	}
	return e
}
