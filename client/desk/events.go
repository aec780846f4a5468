package desk

import (
	"fmt"
	"net/http"
	"sync"
	"time"
)

// events tells every open page that the ledger has grown.
type events struct {
	mu   sync.Mutex
	size uint64
	more chan struct{} // closed at the next growth
}

func newEvents() *events { return &events{more: make(chan struct{})} }

func (e *events) tell(size uint64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if size <= e.size {
		return
	}
	e.size = size
	close(e.more)
	e.more = make(chan struct{})
}

func (e *events) now() (uint64, <-chan struct{}) {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.size, e.more
}

// stream sends the ledger's size at each growth, and a comment now and then so that a lost
// connection is noticed.
func (d *Desk) stream(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	_, more := d.events.now()
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
			var size uint64
			size, more = d.events.now()
			text = fmt.Sprintf("event: ledger\ndata: %d\n\n", size)
		case <-beat.C:
		}
		if _, err := fmt.Fprint(w, text); err != nil || out.Flush() != nil {
			return
		}
	}
}
