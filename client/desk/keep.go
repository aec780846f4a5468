package desk

import (
	"crypto/rand"
	"maps"
	"slices"
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

// newest goes over what is held, what was put last first.
func (k *keep[T]) newest(fn func(name string, v T)) {
	k.mu.Lock()
	all := maps.Clone(k.held)
	k.mu.Unlock()
	names := slices.SortedFunc(maps.Keys(all), func(a, b string) int { return all[b].until.Compare(all[a].until) })
	for _, name := range names {
		if time.Now().Before(all[name].until) {
			fn(name, all[name].value)
		}
	}
}
