package run

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
)

// clock follows the time of a file from row to row, s.
type clock struct {
	rows     int
	first    float64 // as the file has it, since it last began again
	last     float64 // as it was told
	shift    float64 // of what the file has, to rise
	repeats  int     // rows with the time of the row before
	restarts int
	hours    bool // clock times: the day is taken off, and midnight passes
	unsaid   bool // no unit is written
}

// slowest is the longest usual time from row to row, s; where no unit is written, more are milliseconds.
const slowest = 4

// pause is put between two recordings in one file, s: what lies between them is not known.
const pause = 1

// next is the time of a row whose file says v; ok is false where it goes backwards.
func (c *clock) next(v float64) (t float64, restarts, ok bool) {
	c.rows++
	if c.rows == 1 {
		c.first, c.last = v, v
		return v, false, true
	}
	t = v + c.shift
	if c.hours && c.last-t > 43200 {
		c.shift += 86400
		t = v + c.shift
	}
	if t < c.last {
		gone := c.last - c.shift - c.first
		if !(gone >= 1 && v-c.first <= gone/10) {
			return 0, false, false
		}
		c.restarts++
		c.first, c.shift = v, c.last+pause-v
		t, restarts = c.last+pause, true
	} else if t == c.last {
		c.repeats++
	}
	c.last = t
	return t, restarts, true
}

// parse reads a clock time, with a date before it or not: hours, minutes and seconds, or the last two.
func (c *clock) parse(field []byte) (float64, bool) {
	if i := bytes.LastIndexAny(field, " T"); i >= 0 {
		field = field[i+1:]
	}
	parts := bytes.Split(field, []byte(":"))
	if len(parts) > 3 {
		return 0, false
	}
	sum := 0.0
	for i, part := range parts {
		s := string(bytes.Replace(part, []byte(","), []byte("."), 1))
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || !(v >= 0) || i > 0 && v >= 60 || i < len(parts)-1 && (v != math.Trunc(v) || v > 1e6) {
			return 0, false
		}
		sum = float64(sum*60) + v
	}
	c.hours = true
	return sum, true
}

// evenTime makes the time rise: rows of one time stamp are set evenly until the next one.
func (p *reader) evenTime() error {
	r, c := p.run, &p.clock
	if c.hours {
		for i, first := len(r.Time)-1, r.Time[0]; i >= 0; i-- {
			r.Time[i] -= first
		}
	}
	if n := len(r.Time); c.unsaid && !c.hours && (r.Time[n-1]-r.Time[0])/float64(n-1) > slowest {
		r.remark("unit", "no unit is written for time; with steps of %.3g it was taken as ms", (r.Time[n-1]-r.Time[0])/float64(n-1))
		for i := range r.Time {
			r.Time[i] /= 1000
		}
	}
	if c.restarts > 0 {
		r.remark("time", "the time begins again (%s): each is a recording of its own, set %d s after the one before", counted(c.restarts, "time"), pause)
	}
	if c.repeats > 0 {
		r.spreadStamps()
	}
	for i := 1; i < len(r.Time); i++ {
		if !(r.Time[i] > r.Time[i-1]) {
			return fmt.Errorf("%s: the time stands still at %g s; allowed: time stamps that rise", r.Name, r.Time[i])
		}
	}
	return nil
}

// spreadStamps sets the rows of each time stamp evenly over the usual time from one stamp to the next,
// or until the next one where that is sooner.
func (r *Run) spreadStamps() {
	starts := []int{0}
	for i := 1; i < len(r.Time); i++ {
		if r.Time[i] != r.Time[i-1] {
			starts = append(starts, i)
		}
	}
	if len(starts) < 2 {
		return
	}
	starts = append(starts, len(r.Time))
	n := len(starts) - 1
	sizes, steps := make([]float64, n), make([]float64, n-1)
	for g := range n {
		sizes[g] = float64(starts[g+1] - starts[g])
		if g > 0 {
			steps[g-1] = r.Time[starts[g]] - r.Time[starts[g-1]]
		}
	}
	whole := sizes
	if n > 2 {
		whole = sizes[1 : n-1] // the first and the last may be cut
	}
	size, step := median(slices.Clone(whole)), median(slices.Clone(steps))
	for g := range n {
		at, from, rows := r.Time[starts[g]], 0.0, sizes[g]
		width := step
		if g < n-1 {
			width = min(step, steps[g])
		}
		if (g == 0 || g == n-1) && rows < size {
			if g == 0 { // it began in the middle of a stamp
				from = size - rows
			}
			rows = size
		}
		for i := starts[g]; i < starts[g+1]; i++ {
			r.Time[i] = at + float64(width*(from+float64(i-starts[g]))/rows)
		}
	}
	r.remark("time", "%s with the time stamp of the row before (stamps of %.3g s, %.3g rows each), set evenly", counted(len(r.Time)-n, "row"), step, size)
}
