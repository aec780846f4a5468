package bounded

import "math"

// Constant is a function that is the same everywhere.
type Constant float64

// At is the constant.
func (c Constant) At(*Box, *[MaxInputs]float64) float64 { return float64(c) }

// Over is the constant.
func (c Constant) Over(*Box, *Box) Bounds {
	return Bounds{Interval: Exactly(float64(c)), Smooth: true, Multilinear: true}
}

// distance is how far a value lies beyond its limit, negative inside.
type distance struct {
	value, limit Function
	ceiling      bool
	apart        Function // value less limit; nil where they are enclosed by themselves
}

// at evaluates a point. What is not finite lies infinitely far beyond.
func (d *distance) at(cell *Box, p *[MaxInputs]float64) (value, limit, beyond float64) {
	value, limit = d.value.At(cell, p), d.limit.At(cell, p)
	if beyond = value - limit; !d.ceiling {
		beyond = limit - value
	}
	if beyond-beyond != 0 {
		beyond = math.Inf(1)
	}
	return value, limit, beyond
}

func (d *distance) over(cell, box *Box) Bounds {
	if d.apart != nil {
		b := d.apart.Over(cell, box)
		if !d.ceiling {
			return b.neg()
		}
		return b
	}
	value, limit := d.value.Over(cell, box), d.limit.Over(cell, box)
	if d.ceiling {
		return value.Sub(&limit)
	}
	return limit.Sub(&value)
}

// rounding is what evaluating a point may be wrong by, of its value and its limit.
const rounding = 0x1p-48

// highest is what no point of the box surpasses: the lesser of the natural enclosure's end, and of the value where each
// input that pushes one way is at its end and the others in the middle, plus what those can add.
// Rise and fall are the inputs that push one way all over the box.
func (d *distance) highest(b *Bounds, cell, box *Box, p *[MaxInputs]float64) (hi float64, rise, fall uint8) {
	if b.Undefined {
		return math.Inf(1), 0, 0
	}
	if !b.Smooth {
		return b.Hi, 0, 0
	}
	spread := 0.0
	for i := range p {
		p[i] = box[i].Lo
		if b.Inputs>>i&1 == 0 || box[i].Lo == box[i].Hi {
			continue
		}
		switch s := &b.Slope[i]; {
		case s.Hi <= 0 && !s.Undefined:
			fall |= 1 << i
		case s.Lo >= 0 && !s.Undefined:
			rise |= 1 << i
			p[i] = box[i].Hi
		default:
			p[i] = box[i].Middle()
			spread += float64(max(-s.Lo, s.Hi) * max(p[i]-box[i].Lo, box[i].Hi-p[i]))
		}
	}
	value, limit, beyond := d.at(cell, p)
	beyond += spread + float64(rounding*(math.Abs(value)+math.Abs(limit)+spread))
	if beyond < b.Hi {
		return beyond, rise, fall
	}
	return b.Hi, rise, fall
}

// growth is how much further out the candidate lies than the base.
type growth struct{ candidate, base distance }

func (g *growth) At(cell *Box, p *[MaxInputs]float64) float64 {
	_, _, now := g.candidate.at(cell, p)
	switch _, _, before := g.base.at(cell, p); {
	case !math.IsInf(before, 0):
		return now - before
	case math.IsInf(now, 0):
		return 0 // as bad as it was
	}
	return -math.MaxFloat64
}

func (g *growth) Over(cell, box *Box) Bounds {
	now, before := g.candidate.over(cell, box), g.base.over(cell, box)
	return now.Sub(&before)
}
