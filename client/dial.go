package client

import (
	"context"
	"crypto"
	"crypto/ed25519"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

const (
	// callTimeout is how long a server may be silent before that is no answer.
	callTimeout = 30 * time.Second
	// connectTimeout is how long it is tried to reach one.
	connectTimeout = 5 * time.Second
	// headStart is how long one address is waited for before the next is tried beside it: RFC 8305, section 5.
	headStart = 250 * time.Millisecond
	// stillThere is after how long a silence a server is asked whether it is there. Servers end connections on which
	// that comes more often than every 30 s.
	stillThere = 40 * time.Second

	tryEnrol = "a lead enrols people: witnessmark person enrol NAME --role ROLE --key FILE.pub"
)

// link is the way to the server, whose key is known, or learned once at login. It may have several
// addresses, of which one is used until it does not answer.
type link struct {
	me    string // fingerprint of the person's own key
	roads []*road
	// told is told, in one line each, which address is used and which does not answer; used, which one.
	told func(string)
	used func(addr string)
	// How long a server may be silent, how long one that has nothing to compute where there is another to ask, and how
	// long one address is connected to before the next is tried beside it.
	silence, brief, headStart time.Duration

	mu     sync.Mutex
	pinned ed25519.PublicKey // nil at login: the first key seen is kept and then compared
	at     *road             // in use; nil before the first call
}

// road is the way to one of the addresses.
type road struct {
	addr string
	conn *grpc.ClientConn
	bad  error // why the last handshake was refused; under the link's mu, as is
	// shown: in the last handshake the server showed the key that is pinned.
	shown bool
}

// addressesOf takes HOST:PORT, or several with commas, apart.
func addressesOf(list string) ([]string, error) {
	var out []string
	for addr := range strings.SplitSeq(list, ",") {
		host, port, err := net.SplitHostPort(addr)
		if err != nil || host == "" || port == "" || slices.Contains(out, addr) {
			return nil, usage("HOST:PORT, or several of one ledger: HOST:PORT,HOST:PORT", "%.100q is not where a server is", list)
		}
		out = append(out, addr)
	}
	return out, nil
}

// dial makes ready for calls to a list of addresses; first, where it is one of them, is asked first.
func dial(list, first string, signer crypto.Signer, pinned ed25519.PublicKey) (*link, error) {
	addrs, err := addressesOf(list)
	if err != nil {
		return nil, err
	}
	cert, err := Certificate(signer)
	if err != nil {
		return nil, err
	}
	l := &link{me: "the key", pinned: pinned, silence: callTimeout, brief: connectTimeout, headStart: headStart, told: func(string) {}, used: func(string) {}}
	if own, ok := signer.Public().(ed25519.PublicKey); ok {
		l.me = string(signoff.Fingerprint(own))
	}
	for _, addr := range addrs {
		r := &road{addr: addr}
		if r.conn, err = l.connect(r, cert); err != nil {
			return nil, errors.Join(err, l.close())
		}
		l.roads = append(l.roads, r)
	}
	if i := slices.Index(addrs, first); i > 0 {
		l.roads[0], l.roads[i] = l.roads[i], l.roads[0]
	}
	return l, nil
}

func (l *link) connect(r *road, cert tls.Certificate) (*grpc.ClientConn, error) {
	config := &tls.Config{
		MinVersion:   tls.VersionTLS13,
		Certificates: []tls.Certificate{cert},
		// Names and dates prove nothing here; VerifyConnection compares the key itself.
		InsecureSkipVerify:     true,
		SessionTicketsDisabled: true,
		VerifyConnection:       func(cs tls.ConnectionState) error { return l.verify(r, cs) },
	}
	return grpc.NewClient("passthrough:///"+r.addr,
		grpc.WithTransportCredentials(credentials.NewTLS(config)),
		grpc.WithConnectParams(grpc.ConnectParams{Backoff: backoff.DefaultConfig, MinConnectTimeout: connectTimeout}),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: stillThere, Timeout: connectTimeout}),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(32<<20), grpc.ForceCodecV2(countedCodec())))
}

func (l *link) close() (err error) {
	for _, r := range l.roads {
		err = errors.Join(err, r.conn.Close())
	}
	return err
}

func (l *link) verify(r *road, cs tls.ConnectionState) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	r.bad, r.shown = nil, false
	if len(cs.PeerCertificates) == 0 {
		return errors.New("the server shows no key")
	}
	key, ok := cs.PeerCertificates[0].PublicKey.(ed25519.PublicKey)
	switch {
	case !ok || signoff.CheckPoint(key) != nil:
		r.bad = distrust("%s: the server's key is no Ed25519 key", r.addr)
	case l.pinned == nil:
		l.pinned = key
	case !l.pinned.Equal(key):
		r.bad = &Error{Kind: Distrust, Text: fmt.Sprintf("%s: the server's key is %s, and the one you pinned is %s", r.addr, signoff.Fingerprint(key), signoff.Fingerprint(l.pinned)),
			Try: "ask the lead whether this is the server's address, and whether the ledger was begun anew: then a lead enrols you, and you log in anew"}
	}
	r.shown = r.bad == nil
	return r.bad
}

// key is the server's key; nil before the first call.
func (l *link) key() ed25519.PublicKey {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.pinned
}

// refusal is why the last handshake on a road was refused.
func (l *link) refusal(r *road) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return r.bad
}

// shows says whether the server at the end of a road showed the pinned key last.
func (l *link) shows(i int) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.roads[i].shown
}

// refused is the address whose key is the one that err says is not the one pinned; else empty.
func (l *link) refused(err error) string {
	for _, r := range l.roads {
		if bad := l.refusal(r); bad != nil && errors.Is(err, bad) {
			return r.addr
		}
	}
	return ""
}

// answerOf is what a server or gRPC answered, without what others said around it; nil of an error that is none's.
func answerOf(err error) *status.Status {
	var answer interface{ GRPCStatus() *status.Status }
	if !errors.As(err, &answer) {
		return nil
	}
	return answer.GRPCStatus()
}

// faultOf turns what a server answered into one line and a kind.
func faultOf(err error) error {
	s := answerOf(err)
	if s == nil || errors.Is(err, context.Canceled) {
		return err
	}
	switch s.Code() {
	case codes.DeadlineExceeded:
		return &Error{Kind: Away, Text: "the server does not answer"}
	case codes.Canceled:
		return context.Canceled
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
