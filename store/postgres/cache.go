package postgres

import "sync"

// What was read is kept from one transaction to the next. Each begins with which update it sees, by number and
// id: where that is the same as before, nothing changed, and of an update of this engine's own it is known what
// it changed. After another process's, or in another epoch, all is read anew.

const (
	cacheBytes   = 32 << 20
	cacheLargest = 256 << 10 // of one value
	changesMost  = 4096      // of one update; more, and all is read anew
	usualMost    = 64
	usualLargest = 16 << 10 // of one value
)

// A tree hash is kept as a document of the kind that no document has.
func hashName(index int64) name { return name{"", string(integer(index))} }

type cache struct {
	mu     sync.Mutex
	epoch  uint64
	newest update // all of it is so at this one, and has been since its own
	values map[name]cached
	bytes  int
	next   *changes // of the update that this engine is committing
	usual  []name   // that were read last, the newest at the end
	among  map[name]bool
}

// update names one: numbers alone come twice where a database is put back.
type update struct {
	number int64
	id     [idSize]byte
}

const idSize = 16

type cached struct {
	value value // nil where it is known that there is none
	since int64
}

// changes are what an update leaves of all that it touches; nil for too many.
type changes struct {
	update
	values map[name]value
}

// begin is told of each transaction what it sees.
func (c *cache) begin(epoch uint64, sees update) {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case epoch != c.epoch:
		c.clear()
		c.epoch, c.newest = epoch, sees
	case c.next != nil && sees == c.next.update && sees.number == c.newest.number+1:
		c.apply()
	case sees.number > c.newest.number, sees.number == c.newest.number && sees != c.newest:
		c.clear()
		c.newest = sees
	}
}

// committing is told before a COMMIT is sent.
func (c *cache) committing(epoch uint64, next *changes) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if epoch == c.epoch {
		c.next = next
	}
}

// apply, clear, and put are for whoever holds mu.
func (c *cache) apply() {
	next := c.next
	c.newest, c.next = next.update, nil
	if next.values == nil {
		c.clear()
	}
	for n, v := range next.values {
		c.put(n, v)
	}
}

func (c *cache) clear() {
	c.values, c.bytes, c.next = map[name]cached{}, 0, nil
}

func (c *cache) put(n name, v value) {
	if before, ok := c.values[n]; ok {
		c.bytes -= size(n, before.value)
		delete(c.values, n)
	}
	if len(v) > cacheLargest {
		return
	}
	if c.bytes += size(n, v); c.bytes > cacheBytes {
		clear(c.values)
		c.bytes = size(n, v)
	}
	c.values[n] = cached{v, c.newest.number}
}

// size is about what one takes in memory.
func size(n name, v value) int { return 128 + len(n.kind) + len(n.key) + len(v) }

// get is what a transaction would read.
func (c *cache) get(epoch uint64, number int64, n name) (value, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.has(epoch, number, n) {
		return nil, false
	}
	found := c.values[n]
	c.note(n, found.value)
	return found.value, true
}

// read is told what a transaction read, and keeps it if nothing changed since.
func (c *cache) read(epoch uint64, sees update, n name, v value) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if epoch == c.epoch && sees == c.newest {
		c.put(n, v)
	}
	c.note(n, v)
}

// note has one among the usual ones. It is for whoever holds mu.
func (c *cache) note(n name, v value) {
	if c.among[n] || len(v) > usualLargest {
		return
	}
	if c.among == nil {
		c.among = map[name]bool{}
	}
	if len(c.usual) == usualMost {
		delete(c.among, c.usual[0])
		c.usual = append(c.usual[:0], c.usual[1:]...)
	}
	c.usual, c.among[n] = append(c.usual, n), true
}

// lacks are those of what is usually read that it does not have: after another process wrote, all of them are read again at once,
// since most are the same for everybody: the head, people, keys, the newest entries' hashes.
func (c *cache) lacks(epoch uint64, number int64) (names []name) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, n := range c.usual {
		if !c.has(epoch, number, n) {
			names = append(names, n)
		}
	}
	return names
}

func (c *cache) has(epoch uint64, number int64, n name) bool {
	found, ok := c.values[n]
	return ok && epoch == c.epoch && number >= found.since && number <= c.newest.number
}
