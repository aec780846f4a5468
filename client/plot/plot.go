// Package plot puts numbers on paper: ranges, scales with round steps, and lines with gaps. Every
// drawing of the client is made with it.
package plot

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"witnessmark/tables/surface"
)

// Extent is the least and the most of what is finite; the least is above the most where nothing is.
func Extent(sets ...[]float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, set := range sets {
		for _, v := range set {
			if surface.Finite(v) {
				low, high = min(low, v), max(high, v)
			}
		}
	}
	return low, high
}

// Scale places the values from Low to High on the paper between From and To.
type Scale struct {
	Low, High, From, To float64
	Ticks               []float64 // values worth a line, rising; none of a scale that was not made by Round
	decimals            int       // that tell the ticks apart
}

// At is where a value lies; one beyond the scale lies at its end, any in the middle of a scale of no
// extent.
func (s Scale) At(v float64) float64 {
	part := .5
	if span := s.High/2 - s.Low/2; span > 0 { // halves: twice the largest number is none
		part = min(max((v/2-s.Low/2)/span, 0), 1)
	}
	return s.From + float64(part*(s.To-s.From))
}

// Text is a tick as it is read.
func (s Scale) Text(tick float64) string {
	text := strconv.FormatFloat(tick, 'f', s.decimals, 64)
	if s.decimals > 6 || len(text) > 9 {
		text = fmt.Sprintf("%.3g", tick)
	}
	return strings.Replace(text, "-", "−", 1)
}

// Round is a scale from Low to High widened to whole steps of 1, 2 or 5 times a power of ten, about n
// of them. Where nothing is, it goes from 0 to 1.
func Round(low, high, from, to float64, n int) Scale {
	if low > high {
		low, high = 0, 1
	}
	if far := max(math.Abs(low), math.Abs(high)); !(high/2-low/2 > 1e-9*far/2) {
		low, high = max(low-max(.5, far/100), -math.MaxFloat64), min(high+max(.5, far/100), math.MaxFloat64)
	}
	s := Scale{Low: low, High: high, From: from, To: to}
	rough := high/float64(n) - low/float64(n)
	step := math.Pow(10, math.Floor(math.Log10(rough)))
	for _, f := range []float64{1, 2, 5, 10} {
		if float64(f*step) >= rough {
			step *= f
			break
		}
	}
	first, last := math.Floor(low/step), math.Ceil(high/step)
	if !surface.Finite(float64(first*step), float64(last*step)) || last-first > 100 {
		s.Ticks, s.decimals = []float64{low, high}, 99
		return s // near the largest numbers that there are
	}
	s.Low, s.High, s.decimals = min(low, first*step), max(high, last*step), max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for i := first; i <= last; i++ {
		s.Ticks = append(s.Ticks, i*step)
	}
	return s
}

// Line is the data of an SVG path through points, with a gap where one is no number.
func Line(xs, ys []float64, x, y Scale) string {
	var d strings.Builder
	pen := "M"
	for i := range min(len(xs), len(ys)) {
		if !surface.Finite(xs[i], ys[i]) {
			pen = "M"
			continue
		}
		fmt.Fprintf(&d, "%s%.1f %.1f", pen, x.At(xs[i]), y.At(ys[i]))
		pen = "L"
	}
	return d.String()
}

// Marks is the data of an SVG path that is one level stroke at each point: of no length with round
// ends it is a dot.
func Marks(xs, ys []float64, x, y Scale, length float64) string {
	var d strings.Builder
	for i := range min(len(xs), len(ys)) {
		if surface.Finite(xs[i], ys[i]) {
			fmt.Fprintf(&d, "M%.1f %.1fh%g", x.At(xs[i])-length/2, y.At(ys[i]), length)
		}
	}
	return d.String()
}
