package desk

import (
	"fmt"
	"net/http"
	"sync"
	"time"
)

// events tells every open page that the ledger has grown, or that the server was lost or found.
type events struct {
	mu    sync.Mutex
	size  uint64
	turns int           // how often it was lost or found
	more  chan struct{} // closed at the next of them
}

func newEvents() *events { return &events{more: make(chan struct{})} }

func (e *events) tell(size uint64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if size <= e.size {
		return
	}
	e.size = size
	e.wake()
}

// turn says that the server was lost, or found.
func (e *events) turn() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.turns++
	e.wake()
}

func (e *events) wake() {
	close(e.more)
	e.more = make(chan struct{})
}

func (e *events) now() (size uint64, turns int, more <-chan struct{}) {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.size, e.turns, e.more
}

// stream sends the ledger's size at each growth, that the server was lost or found, and a comment now and then so that a lost
// connection is noticed.
func (d *Desk) stream(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	_, seen, more := d.events.now()
	if _, err := fmt.Fprintf(w, "event: ledger\ndata: %d\n\n", d.client.Head().Size); err != nil || out.Flush() != nil {
		return
	}
	beat := time.NewTicker(25 * time.Second)
	defer beat.Stop()
	for {
		text := ": still here\n\n"
		select {
		case <-r.Context().Done():
			return
		case <-more:
			size, turns, next := d.events.now()
			text, more = fmt.Sprintf("event: ledger\ndata: %d\n\n", size), next
			if turns != seen {
				text, seen = text+"event: server\ndata: turned\n\n", turns
			}
		case <-beat.C:
		}
		if _, err := fmt.Fprint(w, text); err != nil || out.Flush() != nil {
			return
		}
	}
}
