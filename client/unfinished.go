package client

import (
	"sync"
	"time"
)

// begun counts what this process has begun and would leave lying about if it ended now: a file that has not
// got its name, a folder that is to be removed.
var begun struct {
	sync.Mutex
	count int
	none  chan struct{} // closed when the count is 0 again
}

// Unfinished says that something is begun; call the answer when it got its name, or was removed.
func Unfinished() (finished func()) {
	begun.Lock()
	defer begun.Unlock()
	if begun.count++; begun.count == 1 {
		begun.none = make(chan struct{})
	}
	return sync.OnceFunc(func() {
		begun.Lock()
		defer begun.Unlock()
		if begun.count--; begun.count == 0 {
			close(begun.none)
		}
	})
}

// Finish waits until nothing is unfinished, for whoever is about to end the process; at most so long.
func Finish(most time.Duration) {
	begun.Lock()
	none, count := begun.none, begun.count
	begun.Unlock()
	if count == 0 {
		return
	}
	select {
	case <-none:
	case <-time.After(most):
	}
}
