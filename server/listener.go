package server

import (
	"errors"
	"io"
	"net"
	"net/netip"
	"slices"
	"sync"
	"time"

	"google.golang.org/grpc/credentials"

	"witnessmark/store/signoff"
)

// listener knows its open connections. Those that have not finished their handshake it bounds itself,
// since gRPC does not know them yet.
type listener struct {
	net.Listener
	handshakes share

	mu    sync.Mutex
	open  map[*tracked]bool
	young []*tracked // without a known key yet, the oldest first
}

func newListener(l net.Listener, handshakes share) *listener {
	return &listener{Listener: l, handshakes: handshakes, open: map[*tracked]bool{}}
}

func (l *listener) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	t := &tracked{Conn: c, l: l, from: networkOf(c.RemoteAddr())}
	for _, old := range l.add(t) {
		_ = old.Conn.Close() // its handshake fails, and closes the rest
	}
	return t, nil
}

// add takes a connection up, and lists those that have to make room for it.
func (l *listener) add(t *tracked) (over []*tracked) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.open[t] = true
	l.young = append(l.young, t)
	mine := 0
	for _, y := range l.young {
		if y.from == t.from {
			mine++
		}
	}
	evict := func(which func(*tracked) bool) {
		i := slices.IndexFunc(l.young, which)
		over = append(over, l.young[i])
		l.young = slices.Delete(l.young, i, i+1)
	}
	if mine > int(l.handshakes.one) {
		evict(func(y *tracked) bool { return y.from == t.from })
	}
	if len(l.young) > int(l.handshakes.all) {
		evict(func(*tracked) bool { return true })
	}
	return over
}

// grown says that a connection's key is known, and what to do once it is closed.
func (l *listener) grown(t *tracked, closed func()) {
	l.mu.Lock()
	defer l.mu.Unlock()
	t.closed = closed
	l.young = slices.DeleteFunc(l.young, func(y *tracked) bool { return y == t })
}

// count is how many connections are open, and how many of them have no known key yet.
func (l *listener) count() (open, young int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.open), len(l.young)
}

// closeAll ends every connection, also those that gRPC does not know yet.
func (l *listener) closeAll() {
	l.mu.Lock()
	var all []*tracked
	for c := range l.open {
		all = append(all, c)
	}
	l.mu.Unlock()
	for _, c := range all {
		_ = c.Conn.Close()
	}
}

// networkOf is whose address it is: an IPv6 host has a network of its own.
func networkOf(a net.Addr) string {
	at, err := netip.ParseAddrPort(a.String())
	if err != nil {
		return a.String()
	}
	if ip := at.Addr().Unmap(); ip.Is4() {
		return ip.String()
	}
	network, _ := at.Addr().WithZone("").Prefix(64)
	return network.String()
}

type tracked struct {
	net.Conn
	l      *listener
	from   string
	closed func() // set once its key is known
}

// Close lets whoever is refused in the handshake read why: a reset would overtake it.
func (t *tracked) Close() error {
	t.l.mu.Lock()
	open, closed := t.l.open[t], t.closed
	t.l.mu.Unlock()
	if tcp, ok := t.Conn.(*net.TCPConn); ok && open && closed == nil && tcp.CloseWrite() == nil {
		_ = tcp.SetReadDeadline(time.Now().Add(time.Second))
		_, _ = io.CopyN(io.Discard, tcp, window)
	}
	t.l.mu.Lock()
	open = t.l.open[t]
	delete(t.l.open, t)
	t.l.young = slices.DeleteFunc(t.l.young, func(y *tracked) bool { return y == t })
	t.l.mu.Unlock()
	if open && closed != nil {
		closed()
	}
	return t.Conn.Close()
}

// door is the handshake: nobody comes past it whose key never was anybody's, or who has too many
// connections already.
type door struct {
	credentials.TransportCredentials
	core                *core
	arriving            *pace
	connections, former *room
	farewell            time.Duration // how long a key that is nobody's now may stay
}

// formerInfo is of a connection whose key is nobody's now, or cannot be looked up. It is told so, whatever it asks,
// and nothing that it sends is read.
type formerInfo struct {
	credentials.TLSInfo
	why error
}

var (
	errTooManyConnections = errors.New("too many connections with this key")
	errTooOften           = errors.New("too many handshakes from this address")
)

func (d *door) ServerHandshake(raw net.Conn) (net.Conn, credentials.AuthInfo, error) {
	wait, ok := d.arriving.turn(networkOf(raw.RemoteAddr()), time.Now())
	if !ok {
		d.core.figures.turnedAway(errTooOften)
		return nil, nil, errors.Join(errTooOften, raw.Close())
	}
	time.Sleep(wait)
	conn, info, err := d.TransportCredentials.ServerHandshake(raw)
	if err != nil {
		d.core.figures.turnedAway(err)
		return nil, nil, err
	}
	if info, err = d.admit(raw, info); err != nil {
		d.core.figures.turnedAway(err)
		return nil, nil, errors.Join(err, conn.Close())
	}
	return conn, info, nil
}

// admit has a connection counted with its key's.
func (d *door) admit(raw net.Conn, info credentials.AuthInfo) (credentials.AuthInfo, error) {
	t, ok := raw.(*tracked)
	key, err := keyOf(info)
	if err != nil || !ok {
		return nil, errors.Join(err, errNoKey)
	}
	id := signoff.Fingerprint(key)
	p, err := d.core.person(id)
	mine := d.connections
	if p == nil {
		stays := askAgain // it connects anew, and may be looked up then
		if err == nil {
			err, stays = d.core.notEnrolled(id), d.farewell
		}
		mine = d.former
		info = formerInfo{info.(credentials.TLSInfo), err}
		time.AfterFunc(stays, func() { _ = t.Conn.Close() })
	}
	if !mine.take(string(id), 1) {
		return nil, errTooManyConnections
	}
	t.l.grown(t, func() { mine.give(string(id), 1) })
	return info, nil
}
