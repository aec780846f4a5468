package compare

import (
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/arena"
	"witnessmark/tables/definition"
)

// pairing holds tables of two images against each other. What tables share is found once for all of them.
type pairing struct {
	one  bool // both images are of one definition
	axes map[axisPair]*along

	bits      [2][]uint64 // scratch, like the next
	at        []uint32
	ascending []uint32 // from 0 on

	changes arena.Of[change]
	alongs  arena.Of[*along]
	indices arena.Of[uint32]
	raws    arena.Of[int64]
	numbers arena.Of[float64]
	columns arena.Of[calibrationv1.ChangedCells]
	affine  arena.Of[calibrationv1.Affine]
	shared  arena.Of[*calibrationv1.ChangedAxis]
}

// axisPair is the axis of both sides, and which of a table's it is.
type axisPair struct {
	base, cand *definition.Axis
	k          int
}

func newPairing(one bool) *pairing { return &pairing{one: one, axes: map[axisPair]*along{}} }

// between is what a table became, from one image to the other. Under one definition it is what differs in raw bits. Of two, with
// the base in the candidate's units, breakpoints pair as sequences where their count differs, and cells differ by more than half
// the coarser raw step.
func (p *pairing) between(base, cand reading) *change {
	c := p.changes.One()
	c.of, c.id, c.baseTable, c.candTable, c.one, c.was, c.is = p, cand.t.ID, base.t, cand.t, p.one, base, cand
	c.axes = p.alongs.Take(len(cand.t.Axes))
	for k := range c.axes {
		c.axes[k] = p.along(&c.was, &c.is, k)
	}
	c.compare()
	return c
}

func (p *pairing) along(base, cand *reading, k int) *along {
	pair := axisPair{base.t.Axes[k], cand.t.Axes[k], k}
	a := p.axes[pair]
	if a != nil {
		return a
	}
	a = &along{name: axisName(cand.t, k), base: pair.base, cand: pair.cand}
	var was, is []uint64
	a.was, was = base.points(k)
	a.is, is = cand.points(k)
	if p.one {
		a.differ(was, is)
	} else {
		a.pairUp(k >= 2)
	}
	a.message = a.changedAxis(p.one)
	p.axes[pair] = a
	return a
}

// unequal is where two lists of one length differ.
func (p *pairing) unequal(a, b []uint64) []uint32 {
	if len(p.at) < len(a) {
		p.at = make([]uint32, len(a))
	}
	n, at := 0, p.at[:len(a)]
	b = b[:len(a)]
	for i, v := range a {
		if at[n] = uint32(i); v != b[i] {
			n++
		}
	}
	if n == len(a) {
		return p.upTo(n)
	}
	out := p.indices.Take(n)
	copy(out, at)
	return out
}

// upTo is the indices below n, which many tables share.
func (p *pairing) upTo(n int) []uint32 {
	if n > len(p.ascending) {
		p.ascending = make([]uint32, max(n, 1024))
		for i := range p.ascending {
			p.ascending[i] = uint32(i)
		}
	}
	return p.ascending[:n:n]
}
