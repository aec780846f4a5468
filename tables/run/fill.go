package run

import (
	"fmt"
	"math"
	"sort"
	"strings"
)

// gauge is the unit of a pressure against ambient while no barometer makes it absolute.
const gauge = "kPa{gauge}"

// hole is a stretch of rows in which a channel has no value near enough.
type hole struct {
	quantity string
	from, to int // to exclusive
}

// longestFill is how far apart two values may be for those between them to be filled, s, or four
// times what is usual in the channel, where that is more. Common practice, no source.
const longestFill = 0.5

// fill sets the missing samples of a channel by straight lines in time, held at the ends, and keeps
// the stretches that are too long for that to say anything.
func (r *Run) fill(quantity string, v []float32, numbers int) {
	longest := max(longestFill, 4*r.Duration()/float64(numbers))
	last := -1
	for i := 0; i <= len(v); i++ {
		if i < len(v) && v[i] != v[i] {
			continue
		}
		if i-last > 1 {
			r.fillBetween(v, last, i)
			from, to := r.Time[max(last, 0)], r.Time[min(i, len(v)-1)]
			if to-from > longest {
				r.holes = append(r.holes, hole{quantity, last + 1, i})
			}
		}
		last = i
	}
}

// fillBetween fills the samples between a and b, both exclusive; one of them may be outside.
func (r *Run) fillBetween(v []float32, a, b int) {
	for i := a + 1; i < b; i++ {
		switch {
		case a < 0:
			v[i] = v[b]
		case b == len(v):
			v[i] = v[a]
		default:
			t := (r.Time[i] - r.Time[a]) / (r.Time[b] - r.Time[a])
			v[i] = float32(float64(float64(v[a])*(1-t)) + float64(float64(v[b])*t))
		}
	}
}

// holed reports of a row whether one of the quantities has no value there.
func (r *Run) holed(quantities ...string) func(i int) bool {
	var of [][]hole // each rising
	for _, q := range quantities {
		var mine []hole
		for _, h := range r.holes {
			if h.quantity == q {
				mine = append(mine, h)
			}
		}
		of = append(of, mine)
	}
	return func(i int) bool {
		for _, holes := range of {
			n := sort.Search(len(holes), func(n int) bool { return holes[n].to > i })
			if n < len(holes) && holes[n].from <= i {
				return true
			}
		}
		return false
	}
}

// plausible is what a channel can be in its unit, and what it may be instead. Common practice, no source.
var plausible = map[string]struct {
	low, high float64
	hint      string
}{
	"manifold_pressure":   {0, 700, "a pressure against ambient has a unit such as kPa{gauge} or psig"},
	"fuel_pressure":       {0, 50000, "a pressure against ambient has a unit such as kPa{gauge} or psig"},
	"oil_pressure":        {0, 2000, "a pressure against ambient has a unit such as kPa{gauge} or psig"},
	"barometric_pressure": {50, 115, "is its unit kPa?"},
	"intake_temperature":  {-40, 200, "is its unit right?"},
	"ambient_temperature": {-40, 60, "is its unit right?"},
	"coolant_temperature": {-40, 150, "is its unit right?"},
	"oil_temperature":     {-40, 200, "is its unit right?"},
	"exhaust_temperature": {-40, 1300, "is its unit right?"},
	"relative_humidity":   {2, 100, "a fraction has the unit 1"},
	"lambda":              {0.5, 5, "an air-fuel ratio is air_fuel_ratio or AFR"},
	"air_fuel_ratio":      {4, 60, "is it lambda?"},
	"ignition_advance":    {-40, 80, "is its unit deg?"},
	"throttle":            {-5, 110, "a fraction has the unit 1"},
}

// implausibleShare of the samples outside makes a remark, so that a spike or overrun makes none.
const implausibleShare = 0.2

// remark says what was doubtful about the file as a whole, once all channels are there.
func (p *reader) remark() {
	r := p.run
	if p.foot != nil && p.footNumber {
		r.remark("rows", "%s at the end passed over, no whole row: %s", counted(p.footLines, "line"), strings.TrimPrefix(p.foot.Error(), r.Name+":"))
	}
	if len(p.unsaid) > 0 {
		r.remark("unit", "no unit is written for some columns; they were taken: %s", strings.Join(p.unsaid, ", "))
	}
	if len(p.twice) > 0 {
		r.remark("column", "%s; a channel file can name the other", strings.Join(p.twice, ", "))
	}
	barometer, _ := r.Values("barometric_pressure")
	for n, c := range r.Channels {
		v := r.values[n]
		if c.Unit == gauge && barometer != nil {
			for i := range v {
				v[i] += barometer[i]
			}
			c.Unit, r.Channels[n].Unit, r.Channels[n].FromGauge = "kPa", "kPa", true
		}
		if can, ok := plausible[c.Quantity]; ok && c.Unit != gauge {
			r.doubt(c, v, can.low, can.high, can.hint)
		}
	}
}

// doubt remarks a channel that lies outside what it can be.
func (r *Run) doubt(c Channel, v []float32, low, high float64, hint string) {
	n, worst := 0, 0.0
	for _, x := range v {
		if x := float64(x); x < low || x > high {
			if n++; math.Abs(x) > math.Abs(worst) {
				worst = x
			}
		}
	}
	if float64(n) > implausibleShare*float64(len(v)) {
		r.remark("implausible", "%s (column %.80s) is %.4g %s and the like in %d of %d rows; %g to %g can be: %s", c.Quantity, c.Header, worst, c.Unit, n, len(v), low, high, hint)
	}
}

func (r *Run) remark(kind, format string, args ...any) {
	r.Remarks = append(r.Remarks, Remark{Kind: kind, Text: fmt.Sprintf(format, args...)})
}
