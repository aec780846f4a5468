package desk

import (
	"sync"
	"time"

	"witnessmark/client"
)

// reminder keeps why a backup is due, by what the server said when it was asked last.
type reminder struct {
	mu    sync.Mutex
	asked time.Time
	why   string
}

const (
	remindedEvery = 10 * time.Minute
	// dueEvery is how often while a backup is due, so that whoever made it is not told to make another.
	dueEvery = 10 * time.Second
	// answersWithin is how long a page waits for the answer; what comes later is for the next one.
	answersWithin = 250 * time.Millisecond
)

// due is why a backup is due, as far as that is known; empty where none is. A server that was reached is asked now and then.
func (m *reminder) due(reached bool, ask func() (client.Condition, error)) string {
	m.mu.Lock()
	every := remindedEvery
	if m.why != "" {
		every = dueEvery
	}
	wanted := reached && time.Since(m.asked) >= every
	if wanted {
		m.asked = time.Now()
	}
	m.mu.Unlock()
	if wanted {
		answered := make(chan struct{})
		go func() {
			defer close(answered)
			if c, err := ask(); err == nil {
				m.mu.Lock()
				if m.why = c.BackupDue(); m.why != "" {
					m.why = sentence(m.why)
				}
				m.mu.Unlock()
			}
		}()
		select {
		case <-answered:
		case <-time.After(answersWithin):
		}
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.why
}
