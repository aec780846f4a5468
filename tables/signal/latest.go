package signal

import (
	"math"

	"witnessmark/tables/bounded"
)

// latest is the last box that functions were worked out over, and since when each of its inputs is what it is.
type latest struct {
	cell, box Box
	since     [bounded.MaxInputs]uint64
	anew      uint64 // what is from before that epoch does not count
}

// stale says whether what was worked out in an epoch, 0 for never, going by some inputs, may be another now.
func (l *latest) stale(goesBy uint8, epoch uint64) bool {
	if epoch == 0 || epoch < l.anew {
		return true
	}
	for i := 0; goesBy != 0; i, goesBy = i+1, goesBy>>1 {
		if goesBy&1 != 0 && l.since[i] > epoch {
			return true
		}
	}
	return false
}

func (l *latest) set(i int, cell, stretch *bounded.Interval, epoch uint64) {
	if !one(&l.cell[i], cell) || !one(&l.box[i], stretch) {
		l.cell[i], l.box[i], l.since[i] = *cell, *stretch, epoch
	}
}

// one tells zeros of different sign apart.
func one(a, b *bounded.Interval) bool {
	return math.Float64bits(a.Lo) == math.Float64bits(b.Lo) && math.Float64bits(a.Hi) == math.Float64bits(b.Hi) && a.Undefined == b.Undefined
}

// moveTo begins an evaluation at a point. Whoever visits functions sees all that the evaluation needs.
func (s *Space) moveTo(cell *Box, p *Point) {
	if s.epoch++; s.visit != nil {
		s.at.anew = s.epoch
	}
	for i := range s.inputs {
		s.at.set(i, &cell[i], &bounded.Interval{Lo: p[i], Hi: p[i]}, s.epoch)
	}
}

// spreadTo begins an evaluation over a box.
func (s *Space) spreadTo(cell, box *Box) {
	s.epoch++
	for i := range s.inputs {
		s.over.set(i, &cell[i], &box[i], s.epoch)
	}
}

// forget has everything worked out anew.
func (s *Space) forget() {
	s.epoch++
	s.at.anew, s.over.anew = s.epoch, s.epoch
}
