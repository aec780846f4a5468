package run

import (
	"fmt"
	"math"
	"sort"

	"witnessmark/tables/definition"
	"witnessmark/tables/units"
)

// DwellIn is the time that a run spent in each cell of a table of an image: every sample's time,
// half of the intervals to its neighbours, shared among the cells that the controller
// would mix there. Outside an axis the end cells take it, and it is counted as outside. Places of
// an index axis are not mixed: the nearest takes it all. The error says which axis is no channel of
// the run, or cannot be converted, or has breakpoints that neither rise nor fall; where the table leads
// outside the image; or that it is a block, which has no one grid.
func DwellIn(r *Run, t *definition.Table, image []byte) (*Dwell, error) {
	t, err := t.In(image)
	if err != nil {
		return nil, err
	}
	if t.Kind == "block" {
		return nil, fmt.Errorf("table %s has %d axes; time is shared among the cells of a curve or a map alone", t.ID, len(t.Axes))
	}
	d := &Dwell{Table: t, NX: 1, NY: 1}
	x, err := r.along(t.X, "x", t.ID, image)
	if err != nil {
		return nil, err
	}
	y, err := r.along(t.Y, "y", t.ID, image)
	if err != nil {
		return nil, err
	}
	d.NX, d.NY = len(x.points), len(y.points)
	d.Seconds = make([]float64, d.NX*d.NY)
	for i := range r.Time {
		dt := r.share(i)
		sx, sy := x.place(i, dt), y.place(i, dt)
		for _, a := range [2]part{{sy.lo, 1 - sy.t}, {sy.hi, sy.t}} {
			for _, b := range [2]part{{sx.lo, 1 - sx.t}, {sx.hi, sx.t}} {
				d.Seconds[a.cell*d.NX+b.cell] += float64(dt * a.weight * b.weight)
			}
		}
		if sx.out || sy.out {
			d.Outside += dt
		}
	}
	for _, s := range d.Seconds {
		d.Total += s
	}
	for i, l := range []*along{x, y} {
		d.Below[i], d.Above[i] = l.below.Seconds, l.above.Seconds
		for _, o := range []Outlier{l.below, l.above} {
			if o.Seconds > 0 {
				d.Points = append(d.Points, o)
			}
		}
	}
	return d, nil
}

// share is the time that a sample stands for.
func (r *Run) share(i int) float64 {
	last := len(r.Time) - 1
	return float64((r.Time[min(i+1, last)] - r.Time[max(i-1, 0)]) / 2)
}

// along is one axis of a table and the channel that runs along it.
type along struct {
	points       []float64 // rising
	flip         bool      // stored falling
	index        bool
	values       []float32 // nil where the table has no such axis
	convert      units.Converter
	below, above Outlier
}

// along pairs an axis with a channel by quantity.
func (r *Run) along(a *definition.Axis, name, table string, image []byte) (*along, error) {
	if a == nil {
		return &along{points: []float64{0}}, nil
	}
	values, ok := r.Values(a.Quantity)
	if !ok {
		return nil, fmt.Errorf("table %s: axis %s is %s, which is no channel of %s", table, name, a.Quantity, r.Name)
	}
	convert, err := units.BetweenQuantities(a.Quantity, r.Unit(a.Quantity), a.Quantity, a.Unit)
	if err != nil {
		return nil, fmt.Errorf("table %s: axis %s: %w", table, name, err)
	}
	l := &along{points: append([]float64{}, a.Breakpoints(image)...), index: a.Index, values: values, convert: convert}
	rising, falling := true, true
	for i, p := range l.points {
		if math.IsNaN(p) || math.IsInf(p, 0) {
			rising, falling = false, false
		}
		if i > 0 {
			rising, falling = rising && p >= l.points[i-1], falling && p <= l.points[i-1]
		}
	}
	if len(l.points) == 0 || !rising && !falling {
		return nil, fmt.Errorf("table %s: the breakpoints along %s neither rise nor fall", table, name)
	}
	if !rising {
		l.flip = true
		for i, j := 0, len(l.points)-1; i < j; i, j = i+1, j-1 {
			l.points[i], l.points[j] = l.points[j], l.points[i]
		}
	}
	first, last := l.points[0], l.points[len(l.points)-1]
	l.below, l.above = Outlier{Axis: name, Value: first, End: first}, Outlier{Axis: name, Value: last, End: last}
	return l, nil
}

// spot is where a sample lies along an axis: t of the way from cell lo to cell hi, as stored.
type spot struct {
	lo, hi int
	t      float64
	out    bool
}

// part is a cell along an axis and its share of a sample.
type part struct {
	cell   int
	weight float64
}

// place finds sample i, and counts its time dt where it lies outside.
func (l *along) place(i int, dt float64) spot {
	if l.values == nil {
		return spot{}
	}
	v, last := l.convert.Level(float64(l.values[i])), len(l.points)-1
	s := l.inside(v)
	switch {
	case v < l.points[0]:
		s.out = true
		l.below.Seconds += dt
		l.below.Value = min(l.below.Value, v)
	case v > l.points[last]:
		s.out = true
		l.above.Seconds += dt
		l.above.Value = max(l.above.Value, v)
	}
	if l.flip {
		s.lo, s.hi = last-s.lo, last-s.hi
	}
	return s
}

// inside is the spot in rising order; of equal breakpoints the last one counts, as in a table.
func (l *along) inside(v float64) spot {
	last := len(l.points) - 1
	lo := sort.Search(len(l.points), func(i int) bool { return l.points[i] > v }) - 1
	if lo < 0 {
		return spot{}
	}
	if lo == last {
		return spot{lo: last, hi: last}
	}
	t := (v - l.points[lo]) / (l.points[lo+1] - l.points[lo])
	if l.index {
		lo += int(math.Round(t))
		return spot{lo: lo, hi: lo}
	}
	return spot{lo: lo, hi: lo + 1, t: t}
}
