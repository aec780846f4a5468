package claims

import (
	"errors"
	"slices"
	"sync"
	"sync/atomic"
)

// cache keeps values of a function, by the hash of what it is a function of, those that were asked for last: so many at the
// most, and of so much weight together, but the last one whatever it weighs.
type cache[V any] struct {
	most, room int
	computed   atomic.Uint64

	mu     sync.Mutex
	kept   map[string]*computed[V]
	order  []string // of those that are ready, the longest unasked for first
	weight int
}

var errNotComputed = errors.New("it was not computed")

// computed is a value that is there, or under way.
type computed[V any] struct {
	ready  chan struct{}
	value  V
	weight int
	err    error
}

// get computes a value, or finds it; whoever asks while it is under way waits for it. What failed is not kept, and is tried
// again by each who waited, since it may have been an affair of whoever asked first.
func (c *cache[V]) get(key string, compute func() (V, int, error)) (V, error) {
	for {
		v, mine := c.slot(key)
		if !mine {
			if <-v.ready; v.err == nil {
				return v.value, nil
			}
			continue
		}
		c.fill(key, v, compute)
		return v.value, v.err
	}
}

// slot is the place of a value, and whether it is the caller's to fill.
func (c *cache[V]) slot(key string) (v *computed[V], mine bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if v = c.kept[key]; v != nil {
		if i := slices.Index(c.order, key); i >= 0 {
			c.order = append(slices.Delete(c.order, i, i+1), key)
		}
		return v, false
	}
	v = &computed[V]{ready: make(chan struct{}), err: errNotComputed}
	if c.kept == nil {
		c.kept = map[string]*computed[V]{}
	}
	c.kept[key] = v
	return v, true
}

// fill computes a value and keeps it; also after a panic nobody waits for it.
func (c *cache[V]) fill(key string, v *computed[V], compute func() (V, int, error)) {
	defer func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		close(v.ready)
		if v.err != nil {
			delete(c.kept, key)
			return
		}
		c.order, c.weight = append(c.order, key), c.weight+v.weight
		for len(c.order) > 1 && (len(c.order) > c.most || c.weight > c.room) {
			oldest := c.order[0]
			c.order, c.weight = c.order[1:], c.weight-c.kept[oldest].weight
			delete(c.kept, oldest)
		}
	}()
	c.computed.Add(1)
	v.value, v.weight, v.err = compute()
}
