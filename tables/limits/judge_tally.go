package limits

import (
	"math"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// place is where something was judged. x and y matter only where the table has that axis; row and
// col, as stored, only where the point is a cell.
type place struct {
	x, y     float64
	row, col int
	cell     bool
	slice    *definition.Slice  // of a block
	along    string             // the name of an axis where the value is a breakpoint of it, else empty
	point    int                // counts up from point to point; both sides of a step are one point
	inputs   map[string]float64 // quantity to value, of what was judged over boxes
}

// verdict is one value against one limit. An excess is infinite where a number is not finite.
type verdict struct {
	value, limit, excess float64
	room                 float64 // what is left under the limit; negative beyond it
	fails                bool
	wordless             bool     // value and limit are no numbers
	along                *string  // the name of the axis that they are of
	bound                *float64 // what no excess surpasses, where it was judged over boxes
}

// The three origins, and the order in which they are written down.
const (
	introduced = iota
	worsened
	inherited
	origins
)

var originNames = [origins]string{"introduced", "worsened", "inherited"}

// bucket is what becomes one finding.
type bucket struct {
	count int
	last  int // the point counted last
	at    place
	worst verdict
}

// tally gathers the judged points of one table under one rule.
type tally struct {
	check          bool
	relative, step float64 // the rounding that a value may carry, and |factor|
	buckets        [origins]bucket
	judged         bool // whether least holds anything
	least          verdict
	leastAt        place
}

// tolerance is how much rounding may make of a value and a limit of this size.
func (t *tally) tolerance(value, limit float64) float64 {
	return t.relative * max(math.Abs(value), math.Abs(limit), t.step)
}

// turn begins another slice, whose points are others.
func (t *tally) turn() {
	for i := range t.buckets {
		t.buckets[i].last = -1
	}
}

// judge holds a value against a ceiling, or a floor.
func (t *tally) judge(value, limit float64, ceiling bool) verdict {
	room := limit - value
	if !ceiling {
		room = value - limit
	}
	if room-room != 0 && !surface.Finite(value, limit) {
		return verdict{value: value, limit: limit, excess: math.Inf(1), room: math.Inf(-1), fails: true}
	}
	v := verdict{value: value, limit: limit, room: room}
	if room < 0 {
		v.excess, v.fails = -room, -room > t.tolerance(value, limit)
	}
	return v
}

// further says whether a value lies further beyond its limit than another one, or less far inside.
func (t *tally) further(v, than verdict) bool {
	if math.IsInf(v.room, -1) {
		return !math.IsInf(than.room, -1)
	}
	return than.room-v.room > t.tolerance(v.value, v.limit)
}

// origin is where a failing value comes from; base is nil where the base says nothing there.
func (t *tally) origin(v verdict, base *verdict) int {
	switch {
	case base == nil || !base.fails:
		return introduced
	case t.further(v, *base):
		return worsened
	}
	return inherited
}

// add takes in a judged value.
func (t *tally) add(p place, v verdict, base *verdict) {
	if v.fails {
		t.put(p, v, t.origin(v, base))
	}
}

// put notes a failing value under its origin.
func (t *tally) put(p place, v verdict, origin int) {
	b := &t.buckets[origin]
	if b.count == 0 || v.excess > b.worst.excess {
		b.at, b.worst = p, v
	}
	if b.count == 0 || b.last != p.point {
		b.count++
	}
	b.last = p.point
}

// passes says at a glance that two numbers are finite and the value is not beyond its limit, and what room is left.
func passes(value, limit float64, ceiling bool) (room float64, ok bool) {
	room = limit - value
	if !ceiling {
		room = -room
	}
	return room, room >= 0 && room <= math.MaxFloat64
}

// easy says of a value that there is nothing to note: it passes, and leaves no less room than one before it did.
func (t *tally) easy(value, limit float64, ceiling bool) bool {
	room, ok := passes(value, limit, ceiling)
	return ok && t.judged && room >= t.least.room
}

// closer says whether a verdict leaves less room than any before it, for leave to note.
func (t *tally) closer(v *verdict) bool { return !t.judged || v.room < t.least.room }

func (t *tally) leave(p place, v verdict) { t.judged, t.least, t.leastAt = true, v, p }
