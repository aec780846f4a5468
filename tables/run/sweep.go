package run

import (
	"fmt"
	"slices"
	"sort"
)

// How a sweep is found. A rise is steady while the engine speed, averaged over smoothing,
// gains leastRate or more from one smoothing before a sample to one after it. Common practice, no source.
const (
	smoothing   = 0.25 // s
	leastRate   = 20   // 1/min per second: a 5000 1/min pull may take four minutes
	leastRise   = 500  // 1/min: less is a driver's correction, no sweep
	leastPart   = 100  // 1/min: less is the engine's own unrest
	leastPoints = 8    // samples of a sweep
	sweepShare  = 0.5  // of the widest sweep of the file: less is on the way to one
)

// FindSweeps is every steady rise of engine speed in the order of the file: those at least half as wide
// as the widest one. Samples that disagree with their neighbours are passed over, and a rise goes on
// after a lift of the foot. It is an error where nothing rises by 500 1/min.
func FindSweeps(r *Run) ([]Sweep, error) {
	t, err := speedOf(r)
	if err != nil {
		return nil, err
	}
	var all []Sweep
	widest, rise := 0.0, 0.0
	for _, segment := range t.segments(r.breaks) {
		for _, parts := range segment.rises(r) {
			if s, ok := segment.sweep(parts); ok {
				all = append(all, s)
				widest = max(widest, s.High-s.Low)
			}
		}
	}
	all = slices.DeleteFunc(all, func(s Sweep) bool {
		rise = max(rise, s.High-s.Low)
		return s.High-s.Low < max(leastRise, sweepShare*widest)
	})
	if len(all) == 0 {
		return nil, fmt.Errorf("%s: no sweep: the engine speed rises steadily by %.0f 1/min at most; allowed: %d 1/min or more in one rise", r.Name, rise, leastRise)
	}
	return all, nil
}

// ChooseSweep is a sweep by its number from 1; 0 is the widest, and the first of equal ones.
func ChooseSweep(all []Sweep, number int) (Sweep, int, error) {
	if number < 0 || number > len(all) {
		return Sweep{}, 0, fmt.Errorf("sweep %d; allowed: 1 to %d", number, len(all))
	}
	if number == 0 {
		number = 1
		for i, s := range all {
			if w := all[number-1]; s.High-s.Low > w.High-w.Low {
				number = i + 1
			}
		}
	}
	return all[number-1], number, nil
}

// FindSweep is the widest sweep of a run.
func FindSweep(r *Run) (Sweep, error) {
	all, err := FindSweeps(r)
	if err != nil {
		return Sweep{}, err
	}
	s, _, err := ChooseSweep(all, 0)
	return s, err
}

// sweep is the rise between its least and its greatest speed, of all its parts.
func (t *trace) sweep(parts []span) (Sweep, bool) {
	var s Sweep
	for _, p := range parts {
		p = t.trimmed(p)
		for p.from < p.to && t.speed[p.from] <= s.High {
			p.from++ // the same speeds once more, and not yet at full load again
		}
		if p.from >= p.to {
			continue
		}
		if s.Rows == nil {
			s.Low, s.Begin = t.speed[p.from], t.time[p.from]
		} else {
			s.Lifts = append(s.Lifts, s.High)
		}
		s.Rows = append(s.Rows, t.rows[p.from:p.to]...)
		s.High, s.Until = t.speed[p.to-1], t.time[p.to-1]
	}
	if len(s.Rows) < leastPoints {
		return s, false
	}
	s.From, s.To = s.Rows[0], s.Rows[len(s.Rows)-1]+1
	a, b := sort.SearchInts(t.wild, s.From), sort.SearchInts(t.wild, s.To)
	s.Wild = slices.Clone(t.wild[a:b])
	return s, true
}

// trimmed is a rise without its ends: where the rate is under a quarter of its median the speed is
// still held, or already falls; and one smoothing more at the start, half of one at the end, where a
// fall has already cut the rate before it begins. What the driver does there is no full load.
func (t *trace) trimmed(p span) span {
	rates := make([]float64, 0, p.to-p.from)
	for i := p.from; i < p.to; i++ {
		rates = append(rates, t.rate(i))
	}
	least := median(slices.Clone(rates)) / 4
	begin, end := p.from, p.to
	for end > begin && rates[end-1-p.from] < least {
		end--
	}
	for begin < end && rates[begin-p.from] < least {
		begin++
	}
	if begin == end {
		return span{}
	}
	first, last := t.time[begin]+smoothing, t.time[end-1]-smoothing/2
	return span{sort.SearchFloat64s(t.time, first), sort.Search(len(t.time), func(i int) bool { return t.time[i] > last })}
}
