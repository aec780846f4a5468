package main

import (
	"io"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// gate is a way to a server on which answers wait while it is held, until they are let through one by one.
type gate struct {
	addr  string
	held  atomic.Bool
	waits atomic.Int32 // how many parts of answers wait
	steps chan struct{}

	mu    sync.Mutex
	conns []net.Conn
}

// cut ends what is said on it now; it stays open to others.
func (g *gate) cut() {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, c := range g.conns {
		c.Close()
	}
	g.conns = nil
}

func openGate(t *testing.T, to string) *gate {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	g := &gate{addr: l.Addr().String(), steps: make(chan struct{})}
	go func() {
		for {
			from, err := l.Accept()
			if err != nil {
				return
			}
			server, err := net.Dial("tcp", to)
			if err != nil {
				from.Close()
				continue
			}
			g.mu.Lock()
			g.conns = append(g.conns, from, server)
			g.mu.Unlock()
			go func() { _, _ = io.Copy(server, from); server.Close() }()
			go func() { g.answers(from, server); from.Close() }()
		}
	}()
	return g
}

// step lets one part through, if one waits.
func (g *gate) step() {
	select {
	case g.steps <- struct{}{}:
	default:
	}
}

func (g *gate) answers(to, from net.Conn) {
	for buf := make([]byte, 32<<10); ; {
		n, err := from.Read(buf)
		if err != nil {
			return
		}
		for g.waits.Add(1); g.held.Load(); {
			select {
			case <-g.steps:
			case <-time.After(time.Millisecond):
				continue
			}
			break
		}
		g.waits.Add(-1)
		if _, err := to.Write(buf[:n]); err != nil {
			return
		}
	}
}

// until lets answers through one by one until the ledger has grown beyond so many entries: what tells of that entry waits.
func (g *gate) until(entries func() uint64, beyond uint64) bool {
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(time.Millisecond) {
		waits := g.waits.Load() > 0
		if entries() > beyond {
			return true
		}
		if waits {
			g.step()
		}
	}
	return false
}
