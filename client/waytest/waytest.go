// Package waytest is ways to a server that a test ends in the middle of whatever is said on them.
package waytest

import (
	"net"
	"sync"
)

// Way passes on to a server what comes to its address. Its fields but Addr are set before it is used.
type Way struct {
	Addr string
	// Until is after how many bytes, in both directions together, it ends; negative is never.
	Until int
	// Silent is whether nothing tells that it has ended: its connections stay.
	Silent bool

	to       string
	listener net.Listener
	mu       sync.Mutex
	conns    []net.Conn
	passed   int
	cut      bool
}

// Open opens a way at an address, of which port 0 picks one, that does not end by itself.
func Open(addr, to string) (*Way, error) {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, err
	}
	w := &Way{Addr: l.Addr().String(), Until: -1, to: to, listener: l}
	go w.accept()
	return w, nil
}

// Passed is how many bytes have passed.
func (w *Way) Passed() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.passed
}

// Cut is what is seen of a server that is killed. More than once it does nothing.
func (w *Way) Cut() {
	_ = w.listener.Close()
	w.mu.Lock()
	defer w.mu.Unlock()
	w.cut = true
	for _, c := range w.conns {
		_ = c.Close()
	}
}

func (w *Way) accept() {
	for {
		in, err := w.listener.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", w.to)
		if err != nil {
			_ = in.Close()
			continue
		}
		w.mu.Lock()
		if w.conns = append(w.conns, in, out); w.cut { // while it dialled
			_, _ = in.Close(), out.Close()
		}
		w.mu.Unlock()
		go w.pass(in, out)
		go w.pass(out, in)
	}
}

func (w *Way) pass(from, to net.Conn) {
	b := make([]byte, 1<<10)
	for {
		n, err := from.Read(b)
		n, end := w.count(n)
		if n > 0 {
			_, _ = to.Write(b[:n])
		}
		switch {
		case end && w.Silent:
			return
		case end:
			w.Cut()
			return
		case err != nil:
			_ = to.Close()
			return
		}
	}
}

// count says how many of n bytes may still pass, and whether they are the last.
func (w *Way) count(n int) (pass int, end bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.Until >= 0 && w.passed+n >= w.Until {
		n, end = w.Until-w.passed, true
	}
	w.passed += n
	return n, end
}
