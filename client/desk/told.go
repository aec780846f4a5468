package desk

import (
	"sync"
	"time"
)

// told keeps for a while what a client had to say that nobody asked for.
type told struct {
	also  func(line string) // may be nil
	mu    sync.Mutex
	lines []toldLine
}

type toldLine struct {
	text string
	at   time.Time
}

// keptLines and toldFor bound what pages show of it.
const (
	keptLines = 5
	toldFor   = 15 * time.Minute
)

func (t *told) say(line string) {
	if t.also != nil {
		t.also(line)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.lines = append(t.lines, toldLine{line, time.Now()})
	t.lines = t.lines[max(0, len(t.lines)-keptLines):]
}

// now is what was said of late, oldest first.
func (t *told) now() (out []string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, l := range t.lines {
		if time.Since(l.at) < toldFor {
			out = append(out, sentence(l.text))
		}
	}
	return out
}
