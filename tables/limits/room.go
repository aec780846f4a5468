package limits

import (
	"math"

	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// Bounds are the tightest floor and ceiling that the range and envelope rules put on each cell of a table, in its unit and
// row-major, of a block slice by slice; NaN where there is none. An envelope is read at the cell's own operating point: between
// two breakpoints it may be tighter, which only Judge looks at. Room is what all such rules leave of the cell, the least of
// them: negative beyond a limit, 0 where only rounding is, minus infinity where the value is no number, NaN where no rule
// bounds the cell.
func Bounds(l *Limits, t *definition.Table, d *surface.Decoded) (low, high, room []float64) {
	b := boundsOf(l, t, d)
	return b.low, b.high, b.room
}

// bounding gathers bounds from rule to rule.
type bounding struct {
	*subject
	low, high, room []float64
	first           int // the cell that a slice of a block begins with
}

func boundsOf(l *Limits, t *definition.Table, d *surface.Decoded) *bounding {
	n := len(d.Bits)
	b := &bounding{low: blanks(n), high: blanks(n), room: blanks(n)}
	if l == nil || d.Values == nil {
		return b
	}
	j := newJudge(JudgeInput{Check: true, Candidate: func(string) *surface.Decoded { return d }})
	for _, r := range l.Source.GetRules() {
		k := kindOf(r)
		if k == nil || k.bounds == nil || !selects(r.GetSelect(), t) {
			continue
		}
		b.subject = &subject{judge: j, kind: k, rule: r, t: t}
		if err := b.read(); err == nil { // what cannot be judged bounds nothing; the report says why
			b.eachFace(k.bounds)
		}
	}
	return b
}

// eachFace goes to the table, or to each slice of a block where the rule holds.
func (b *bounding) eachFace(bounds func(*bounding)) {
	if len(b.cand.d.Slices) == 0 {
		bounds(b)
		return
	}
	both := b.pair(b.t)
	if both.slices == nil && b.pairSlices(b.t, both) != nil {
		return
	}
	for k := range both.slices {
		b.cand, b.first = both.slices[k].cand, k*both.cand.nx*both.cand.ny
		if b.enter(b.cand.t.Slice) {
			bounds(b)
		}
	}
}

func blanks(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.NaN()
	}
	return out
}

// cell notes one bound of one cell.
func (b *bounding) cell(i int, limit float64, ceiling bool) {
	if p := b.cand.cellAt(i/b.cand.nx, i%b.cand.nx); !b.holds(p.x, p.y) || b.cand.isOff(i) {
		return
	}
	v := b.tally.judge(b.cand.values[i], limit, ceiling)
	i += b.first
	room := v.room
	if !v.fails {
		room = max(room, 0)
	}
	if !(b.room[i] <= room) {
		b.room[i] = room
	}
	switch {
	case ceiling && !(b.high[i] <= limit):
		b.high[i] = limit
	case !ceiling && !(b.low[i] >= limit):
		b.low[i] = limit
	}
}
