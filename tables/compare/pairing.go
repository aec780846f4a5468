package compare

import (
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/arena"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// pairing holds tables of two images against each other. What tables share is found once for all of them.
type pairing struct {
	one     bool   // both images are of one definition
	was, is []byte // the images
	axes    map[axisPair]*along
	scratch []uint32

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

func newPairing(one bool, was, is *side) *pairing {
	p := &pairing{one: one, axes: map[axisPair]*along{}}
	if was.im != nil {
		p.was = was.im.Bytes
	}
	p.is = is.im.Bytes
	return p
}

// between is what a table became, from one image to the other. Under one definition it is what differs in raw bits. Of two, with
// the base in the candidate's units, breakpoints pair as sequences where their count differs, and cells differ by more than half
// the coarser raw step.
func (p *pairing) between(base, cand *surface.Decoded) *change {
	c := p.changes.One()
	c.of, c.id, c.baseTable, c.candTable, c.one, c.base, c.cand = p, cand.Table.ID, base.Table, cand.Table, p.one, base, cand
	c.axes = p.alongs.Take(len(cand.Table.Axes))
	for k := range c.axes {
		c.axes[k] = p.along(base, cand, k)
	}
	c.compare()
	return c
}

func (p *pairing) along(base, cand *surface.Decoded, k int) *along {
	pair := axisPair{base.Table.Axes[k], cand.Table.Axes[k], k}
	a := p.axes[pair]
	if a == nil {
		a = alongOf(base, cand, k)
		if p.one {
			a.differ(pointBits(base, k, p.was), pointBits(cand, k, p.is))
		} else {
			a.pairUp(k >= 2)
		}
		a.message = a.changedAxis(p.one)
		p.axes[pair] = a
	}
	return a
}

// unequal is where two lists of one length differ.
func (p *pairing) unequal(a, b []uint64) []uint32 {
	if len(p.scratch) < len(a) {
		p.scratch = make([]uint32, len(a))
	}
	n, at := 0, p.scratch[:len(a)]
	b = b[:len(a)]
	for i, v := range a {
		if at[n] = uint32(i); v != b[i] {
			n++
		}
	}
	out := p.indices.Take(n)
	copy(out, at)
	return out
}
