package server

import (
	"context"
	"maps"
	"sync"
	"time"

	"google.golang.org/grpc/codes"

	"witnessmark/store/signoff"
)

// share bounds something that people hold: how much one may have, and all together.
type share struct{ one, all int64 }

// beat bounds how often somebody does something: so many a second, and at once as many as burst.
type beat struct{ second, burst int }

// bounds are what may be held of a server at a time. One who is hostile, or whose program went wild, has a
// part of everything and never all of it; and what is held and not used is taken back.
type bounds struct {
	// Handshakes under way, by address: a stranger gets no further. Beyond the bound the oldest one ends
	// for the newest, since an honest one takes milliseconds.
	handshakes share
	handshake  time.Duration // a whole one, HTTP/2's greeting included
	arriving   beat          // how often an address may begin one: each takes a processor's half millisecond
	// Connections, by key, once it is known to be somebody's: a command and a few desks each.
	connections share
	// Connections, by key, of keys that were replaced or retired: long enough to be told so.
	former share
	// Calls under way, by key: two connections that are full. Each call may have a message of maxMessage
	// half sent, so this bounds bytes too: 80 MiB for one, 640 MiB for all.
	calls  share
	asking beat // how often a key may begin a call
	// Bytes of actions on their way in, on the disk, by key: four of the largest blob.
	spooled share
	// Bytes on their way out, in memory, by key: two of the largest blob.
	sending share
	// What comes and what goes must get on by rate, bytes a second, after a grace; so the whole of it has
	// an end that its size gives. A workshop's worst line is faster.
	grace time.Duration
	rate  int64
}

func usualBounds() bounds {
	return bounds{
		handshakes: share{16, 128}, handshake: 10 * time.Second, arriving: beat{50, 100},
		connections: share{16, 512}, former: share{2, 32},
		calls: share{2 * perConnection, 512}, asking: beat{100, 300},
		spooled: share{4 * maxBlob, 1 << 30},
		sending: share{2 * maxBlob, 512 << 20},
		grace:   10 * time.Second, rate: 16 << 10,
	}
}

const (
	// maxMessage is the largest message that is taken: an envelope with its openings. Decoded it may take
	// maxDecoded bytes, which an honest one is far from.
	maxMessage = signoff.MaxEnvelope + 256<<10
	maxDecoded = 4 * maxMessage
	// maxHeaders are those of a call, window what may be on the wire of one call before it is read, and
	// perConnection how many calls one connection may have under way.
	maxHeaders    = 16 << 10
	window        = 64 << 10
	perConnection = 32
)

// patience is how long n bytes may take.
func (b *bounds) patience(n int64) time.Duration {
	return b.grace + time.Duration(n)*time.Second/time.Duration(b.rate)
}

// room is what is held of a share, and by whom.
type room struct {
	share
	mu   sync.Mutex
	held int64
	by   map[string]int64
}

func newRoom(s share) *room { return &room{share: s, by: map[string]int64{}} }

// take holds n for somebody, unless that is more than there is for one or for all.
func (r *room) take(who string, n int64) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.by[who]+n > r.one || r.held+n > r.all {
		return false
	}
	r.by[who] += n
	r.held += n
	return true
}

// give gives back what was taken.
func (r *room) give(who string, n int64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.held -= n
	if r.by[who] -= n; r.by[who] == 0 {
		delete(r.by, who) // nobody is remembered who holds nothing
	}
}

// total is what is held by all.
func (r *room) total() int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.held
}

func tooMany(at, what string) *fault {
	return &fault{code: codes.ResourceExhausted, reason: "too-many", at: at, text: what + "; try again when some have ended"}
}

// pace has somebody wait who does something more often than a beat allows.
type pace struct {
	beat
	mu   sync.Mutex
	next map[string]time.Time // when what they did is made up for
}

// longestWait is for a turn; whoever would wait longer is refused.
const longestWait = time.Second

func newPace(b beat) *pace { return &pace{beat: b, next: map[string]time.Time{}} }

// turn is how long somebody has to wait; false is too long.
func (p *pace) turn(who string, now time.Time) (wait time.Duration, ok bool) {
	every := time.Second / time.Duration(p.second)
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.next) > 10_000 { // addresses may be many
		maps.DeleteFunc(p.next, func(_ string, t time.Time) bool { return t.Before(now) })
	}
	next := p.next[who]
	if next.Before(now) {
		next = now
	}
	wait = max(0, next.Sub(now)-time.Duration(p.burst)*every)
	if wait > longestWait {
		return 0, false
	}
	p.next[who] = next.Add(every)
	return wait, true
}

// lanes have each person's heavy work done one after the other, so that whoever brings much of it waits
// behind themselves.
type lanes struct {
	mu sync.Mutex
	by map[string]*lane
}

type lane struct {
	turn  chan struct{}
	users int // who work or wait
}

// enter waits for somebody's turn; leave ends it.
func (l *lanes) enter(ctx context.Context, who string) (leave func(), err error) {
	l.mu.Lock()
	mine := l.by[who]
	if mine == nil {
		mine = &lane{turn: make(chan struct{}, 1)}
		l.by[who] = mine
	}
	mine.users++
	l.mu.Unlock()
	gone := func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		if mine.users--; mine.users == 0 {
			delete(l.by, who)
		}
	}
	select {
	case mine.turn <- struct{}{}:
		return func() { <-mine.turn; gone() }, nil
	case <-ctx.Done():
		gone()
		return nil, context.Cause(ctx)
	}
}
