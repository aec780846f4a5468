package runcheck

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/bounded"
)

// burns is the lambda above which no petrol engine fires: its fuel is cut, and the reading is of air. Common practice, no source.
const burns = 1.5

// describe says how logged and commanded compare over the whole run.
func (c *check) describe(s *side, out *calibrationv1.RunSide) {
	var n, sum, squares, most float64
	worst := -1
	for i := range s.logged {
		d := s.off(i)
		if d != d || s.channel == lambda && s.logged[i] > burns {
			continue
		}
		n++
		sum += d
		squares += float64(d * d)
		if worst < 0 || math.Abs(d) > most {
			worst, most = i, math.Abs(d)
		}
	}
	if n == 0 {
		return
	}
	out.Delay, out.Samples, out.Mean, out.Rms = s.delay, uint32(n), sum/n, math.Sqrt(squares/n)
	out.Worst = &calibrationv1.RunMoment{Time: c.Run.Time[worst], Inputs: s.inputs(worst), Commanded: float64(s.expected[worst]), Logged: float64(s.logged[worst])}
}

// inputs is the operating point of what a sample shows: of the inputs, and of the map's axes.
func (s *side) inputs(i int) map[string]float64 {
	out := map[string]float64{}
	if !s.probe.move(int(s.from[i])) {
		return out
	}
	for n, in := range s.probe.inputs {
		out[in.quantity] = s.probe.point[n]
	}
	if s.of != nil {
		for n, a := range s.of.Axes {
			out[cmp.Or(a.Quantity, a.ID)] = s.probe.value(s.axes[n])
		}
	}
	return out
}

// cell is one of a map, by the number of its breakpoint along each axis.
type cell [bounded.MaxInputs]int

// cell is the map's cell that is nearest to what a sample shows, from 0 as stored.
func (s *side) cell(i int) (at cell) {
	if s.of == nil || !s.probe.move(int(s.from[i])) {
		return at
	}
	for n, points := range s.points[:min(len(s.points), len(at))] {
		v, least := s.probe.value(s.axes[n]), math.Inf(1)
		for k, p := range points {
			if d := math.Abs(p - v); d < least {
				at[n], least = k, d
			}
		}
	}
	return at
}

// where is a sample's time, and the cell of the map, in words.
func (c *check) where(s *side, i int) string {
	words := fmt.Sprintf("at %.2f s", c.Run.Time[i])
	if s == nil || s.of == nil {
		return words
	}
	cell := s.cell(i)
	var at []string
	for n, a := range s.of.Axes[:min(len(s.of.Axes), len(cell))] {
		at = append(at, fmt.Sprintf("%s %.4g", strings.ReplaceAll(cmp.Or(a.Quantity, a.ID), "_", " "), s.points[n][cell[n]]))
	}
	if at == nil {
		return words
	}
	return fmt.Sprintf("%s, in the cell %s of %s", words, strings.Join(at, ", "), s.of.ID)
}
