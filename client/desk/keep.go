package desk

import (
	"crypto/rand"
	"sync"
	"time"
)

// keep holds things for a while under names that cannot be guessed.
type keep[T any] struct {
	life time.Duration
	mu   sync.Mutex
	held map[string]held[T]
}

type held[T any] struct {
	value T
	until time.Time
}

func newKeep[T any](life time.Duration) *keep[T] {
	return &keep[T]{life: life, held: map[string]held[T]{}}
}

// put answers with the name that v is kept under.
func (k *keep[T]) put(v T) string {
	name := rand.Text()
	k.mu.Lock()
	defer k.mu.Unlock()
	for n, h := range k.held {
		if time.Now().After(h.until) {
			delete(k.held, n)
		}
	}
	k.held[name] = held[T]{v, time.Now().Add(k.life)}
	return name
}

func (k *keep[T]) get(name string) (T, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	h, ok := k.held[name]
	return h.value, ok && time.Now().Before(h.until)
}

func (k *keep[T]) drop(name string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	delete(k.held, name)
}
