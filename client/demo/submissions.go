package demo

import (
	"fmt"
	"slices"
)

// edit changes one cell: to is the new value, from the old one and the operating point.
type edit struct {
	table string
	to    func(x, y, from float64) float64
}

// edited is a copy with the edits made and the checksum stamped again.
func (m *memory) edited(edits []edit) (*memory, error) {
	out := &memory{m.lay, slices.Clone(m.bytes)}
	for _, e := range edits {
		t, ok := out.lay.ByID[e.table]
		if !ok {
			return nil, fmt.Errorf("table %s is not in the definition", e.table)
		}
		for row := range t.Cells.NY {
			for col := range t.Cells.NX {
				x, y := out.point(t, row, col)
				from := t.Cells.Physical(out.bytes, row, col)
				to := e.to(x, y, from)
				if to == from {
					continue
				}
				if err := out.put(t.Cells, row, col, to); err != nil {
					return nil, fmt.Errorf("table %s, row %d, column %d: %w", e.table, row, col, err)
				}
			}
		}
	}
	out.stamp()
	return out, nil
}

// driven is the image read out of the controller after a drive: it learned something.
func (m *memory) driven() *memory {
	out := &memory{m.lay, slices.Clone(m.bytes)}
	out.learned(2)
	return out
}

// between is 1 on the breakpoints from a to b and 0 elsewhere.
func between(v, a, b float64) float64 {
	if v >= a && v <= b {
		return 1
	}
	return 0
}

// The steps of a raw value, so that every edit lands on one.
const (
	degStep    = 0.5
	lambdaStep = 0.0078125
)

// moreBoost asks for up to 15 kPa more in the middle of the speed range at a full pedal.
func moreBoost(rpm, pedal, from float64) float64 {
	return from + 15*ramp(rpm, 2600, 3500)*(1-ramp(rpm, 6000, 6700))*ramp(pedal, 55, 100)
}

// moreDuty opens the way for it.
func moreDuty(rpm, kpa, from float64) float64 {
	return from + 4*ramp(rpm, 2200, 3000)*between(kpa, 180, 200)
}

// lessAdvance takes back what the denser charge cannot bear, and gives some where the
// intercooler is worth it.
func lessAdvance(rpm, load, from float64) float64 {
	return from + degStep*(between(rpm, 4500, 5500)*between(load, 120, 140)-2*between(rpm, 3500, 6000)*between(load, 180, 200))
}

// richer cools what burns more.
func richer(rpm, load, from float64) float64 {
	return from - 3*lambdaStep*between(rpm, 4000, 6000)*between(load, 160, 200)
}

// secondSubmission is sensible. At one point on 98 RON it asks for a little more advance than
// the limits allow, which a lead may accept with a reason.
var secondSubmission = []edit{
	{"boost.target", moreBoost},
	{"wastegate.duty", moreDuty},
	{"lambda.target", richer},
	{"ignition.base", lessAdvance},
	{"ignition.98", lessAdvance},
	{"ignition.98", func(rpm, load, from float64) float64 {
		return from + 3*degStep*between(rpm, 5000, 5000)*between(load, 140, 140)
	}},
}

// firstSubmission wants the same, with two slips: advance far beyond the envelope at two
// points, and one boost target typed ten times too high.
var firstSubmission = append(slices.Clone(secondSubmission[:5]),
	edit{"ignition.98", func(rpm, load, from float64) float64 {
		return from + 14*degStep*between(rpm, 5000, 5500)*between(load, 160, 160)
	}},
	edit{"boost.target", func(rpm, pedal, from float64) float64 {
		return from + 9*from*between(rpm, 4500, 4500)*between(pedal, 100, 100)
	}},
)
