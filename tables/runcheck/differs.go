package runcheck

import (
	"fmt"
	"math"

	"witnessmark/tables/severity"
)

// tolerance is by how much the mean of a cell may be off, in the side's unit: what sensors and the controller's own rounding
// make. Other channels have two steps of the side, or a fiftieth of what was commanded. Common practice, no source.
var tolerance = map[string]float64{advance: 1, lambda: 0.04, pressure: 6}

// When a cell's mean counts. Common practice, no source.
const (
	leastInCell = 5  // samples, for leastSeconds
	sigmas      = 3  // of the mean's own error that it must exceed
	farOff      = 3  // tolerances: a warning
	othersShare = 50 // of the greatest command, the part that is tolerated where nothing else is known
)

// inCell is what the samples of a cell of the map are off by.
type inCell struct {
	n, sum, squares, seconds float64
	worst                    int
	most                     float64
}

func (s *side) tolerated() float64 {
	if t, ok := tolerance[s.channel]; ok {
		return t
	}
	most := 0.0
	for _, v := range s.expected {
		if v == v {
			most = max(most, math.Abs(float64(v)))
		}
	}
	return max(2*s.step, most/othersShare)
}

// differs finds cells of the map whose samples are off on the whole. Off load other tables may take over (idling, overrun),
// so that it is for notice alone.
func (c *check) differs(s *side) {
	allowed := s.tolerated()
	off := c.unexplained(s)
	cells := [2]map[cell]*inCell{{}, {}}
	for i := range s.logged {
		d := off(i)
		if d != d || s.channel == lambda && s.logged[i] > burns {
			continue
		}
		group := 1
		if c.loaded(int(s.from[i])) {
			group = 0
		}
		at := s.cell(i)
		k := cells[group][at]
		if k == nil {
			k = &inCell{worst: i}
			cells[group][at] = k
		}
		k.n++
		k.sum += d
		k.squares += float64(d * d)
		k.seconds += float64(c.share[i])
		if math.Abs(d) > k.most {
			k.worst, k.most = i, math.Abs(d)
		}
	}
	brief := c.briefly(s, off, float64(farOff*allowed))
	for group, words := range []string{"under load", "off load"} {
		worst, count, of := worstCell(cells[group], allowed)
		at, level, text := 0, severity.Notice, ""
		if worst != nil {
			mean := worst.sum / worst.n
			if at = worst.worst; group == 0 && math.Abs(mean) >= farOff*allowed {
				level = severity.Warning
			} else if group == 0 {
				level = severity.Caution
			}
			text = fmt.Sprintf("; on the mean %+.3g%s in the cell that is furthest off; %d of %d visited cells are off by more than %.3g (%s)", mean, In(s.unit), count, of, allowed, practice)
		}
		if group == 0 && brief.samples > 0 {
			at, level = brief.worst, severity.Warning
			text += fmt.Sprintf("; by %.3g or more for %.2f s (%s)", farOff*allowed, brief.seconds, practice)
		}
		if text != "" {
			c.find("differs", level, s, at, fmt.Sprintf("%s is logged %+.3g%s off what %s asks for %s %s%s", s.channel, off(at), In(s.unit), s.id(), words, c.where(s, at), text))
		}
	}
}

// briefly is the stretch under load that is furthest off, where a cell's mean may not tell. A mixture swings when the pedal
// moves; what counts of that is lean's to find.
func (c *check) briefly(s *side, off func(i int) float64, by float64) stretch {
	if s.channel == lambda {
		return stretch{}
	}
	worst, _ := c.beyond(func(i int) float64 {
		if !c.loaded(int(s.from[i])) {
			return math.NaN()
		}
		return math.Abs(off(i)) - by
	})
	return worst
}

// worstCell is the cell that is furthest off on the mean, beyond what is allowed and what its own scatter makes; with how
// many are, of how many that were visited for long enough.
func worstCell(cells map[cell]*inCell, allowed float64) (worst *inCell, count, of int) {
	for _, k := range cells {
		if k.n < leastInCell || k.seconds < leastSeconds*(1-1e-6) {
			continue
		}
		of++
		mean := k.sum / k.n
		scatter := math.Sqrt(max(k.squares/k.n-float64(mean*mean), 0) / k.n)
		if math.Abs(mean) <= allowed || math.Abs(mean) <= sigmas*scatter {
			continue
		}
		count++
		if worst == nil || further(k, worst) {
			worst = k
		}
	}
	return worst, count, of
}

// further orders cells by their means, and equal ones by their time, whatever the order of the map that holds them.
func further(a, b *inCell) bool {
	x, y := math.Abs(a.sum/a.n), math.Abs(b.sum/b.n)
	return x > y || x == y && a.worst < b.worst
}

// unexplained is what a sample is off by. Advance that knock control took back explains itself: some controllers log the
// advance with it, some without.
func (c *check) unexplained(s *side) func(i int) float64 {
	ch, err := c.channel(retard, s.unit)
	if s.channel != advance || err != nil {
		return s.off
	}
	return func(i int) float64 {
		d := s.off(i)
		if ch.hole(i) {
			return d
		}
		if with := d + math.Abs(ch.at(i)); math.Abs(with) < math.Abs(d) {
			return with
		}
		return d
	}
}
