package server

import (
	"net"
	"sync"
)

// listener knows its open connections, so that a stop can end those that gRPC does not know
// yet because they have not finished their handshake.
type listener struct {
	net.Listener
	mu   sync.Mutex
	open map[net.Conn]bool
}

func (l *listener) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	t := &tracked{Conn: c, l: l}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.open[t] = true
	return t, nil
}

func (l *listener) closeAll() {
	l.mu.Lock()
	var all []net.Conn
	for c := range l.open {
		all = append(all, c)
	}
	l.mu.Unlock()
	for _, c := range all {
		_ = c.Close()
	}
}

type tracked struct {
	net.Conn
	l *listener
}

func (t *tracked) Close() error {
	t.l.mu.Lock()
	delete(t.l.open, t)
	t.l.mu.Unlock()
	return t.Conn.Close()
}
