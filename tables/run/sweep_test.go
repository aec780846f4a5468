package run

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// written is a log of engine speed and torque over time, at 50 samples a second.
func written(rows [][2]float64) string {
	var b strings.Builder
	b.WriteString("time [s],engine_speed [1/min],torque [N.m]\n")
	for i, r := range rows {
		fmt.Fprintf(&b, "%.2f,%.1f,%.2f\n", float64(i)/50, r[0], r[1])
	}
	return b.String()
}

// rise is a steady one at 400 1/min a second, and what is done about it.
func rise(from, to float64, torque func(n float64) float64) (rows [][2]float64) {
	for n := from; n <= to; n += 8 {
		rows = append(rows, [2]float64{n, torque(n) + math.Sin(n)}) // 1 N.m of unrest
	}
	return rows
}

func kinds(remarks []Remark, kind string) (out []Remark) {
	for _, q := range remarks {
		if q.Kind == kind {
			out = append(out, q)
		}
	}
	return out
}

// One sample of 65535 1/min does not make a peak of 284 kW, wherever it is: the curve is that of the
// log without it, and what was left out is counted.
func TestASpikeIsNoPeak(t *testing.T) {
	clean := rise(1500, 6000, published)
	_, _, want := curveOf(t, written(clean), Options{})
	for _, at := range []int{20, 100, 281, len(clean) - 20} {
		for _, wild := range [][2]float64{{65535, 41.4}, {0, 70}, {9000, 75}} {
			rows := append([][2]float64{}, clean...)
			rows[at] = wild
			r, s, c := curveOf(t, written(rows), Options{})
			if math.Abs(c.PeakPower.Power-want.PeakPower.Power) > 0.05 || math.Abs(c.PeakTorque.Torque-want.PeakTorque.Torque) > 0.1 {
				t.Errorf("%v at sample %d: peaks %v and %v, want %v and %v", wild, at, c.PeakTorque, c.PeakPower, want.PeakTorque, want.PeakPower)
			}
			if n := len(s.Wild); wild[0] != 0 && (n != 1 || s.Wild[0] != at) {
				t.Errorf("%v at sample %d: left out %v", wild, at, s.Wild)
			}
			if q := kinds(Quality(r, s, c), "spike"); wild[0] != 0 && len(q) != 1 {
				t.Errorf("%v at sample %d: %v", wild, at, Quality(r, s, c))
			}
		}
	}
	rows := append([][2]float64{}, clean...)
	rows[150][1], rows[151][1], rows[300][1] = 6553.5, 6553.5, -200
	r, s, c := curveOf(t, written(rows), Options{})
	if math.Abs(c.PeakTorque.Torque-want.PeakTorque.Torque) > 0.1 || len(c.LeftOut) != 3 || Summary(r, []Sweep{s}, 1, c, nil).Sweep.LeftOut != 3 {
		t.Errorf("peak %v, left out %v", c.PeakTorque, c.LeftOut)
	}
	if q := kinds(Quality(r, s, c), "spike"); len(q) != 1 || !strings.Contains(q[0].Text, "3 samples of torque left out, unlike the neighbours (up to 6554 N.m): at 2700, 2708, 3900 1/min") {
		t.Errorf("%v", q)
	}
}

// A lift of the foot makes two parts of one sweep, and is said; in another gear it is another sweep.
func TestALiftMakesTwoParts(t *testing.T) {
	rows := rise(1500, 3600, published)
	for n := 3600.0; n > 3300; n -= 20 {
		rows = append(rows, [2]float64{n, -5})
	}
	rows = append(rows, rise(3300, 6000, published)...)
	r, s, c := curveOf(t, written(rows), Options{})
	if s.High-s.Low < 4200 || len(s.Lifts) != 1 || math.Abs(s.Lifts[0]-3600) > 130 {
		t.Fatalf("the sweep is %.0f to %.0f, lifted at %v", s.Low, s.High, s.Lifts)
	}
	for _, p := range c.Points {
		if math.Abs(p.Torque-published(p.Speed)) > 0.7 {
			t.Errorf("at %v: %v, want %v", p.Speed, p.Torque, published(p.Speed))
		}
	}
	if q := kinds(Quality(r, s, c), "lift"); len(q) != 1 || !strings.Contains(q[0].Text, "the foot was lifted at 3") {
		t.Errorf("%v", Quality(r, s, c))
	}
	// The road holds the speed's rise while the torque is gone.
	rows = rise(1500, 6000, func(n float64) float64 {
		if n > 4000 && n < 4250 {
			return -5
		}
		return published(n)
	})
	r, s, c = curveOf(t, written(rows), Options{})
	if q := kinds(Quality(r, s, c), "lift"); len(q) != 1 || math.Abs(q[0].Speed-4000) > 30 || math.Abs(c.TorqueAt(4300)-published(4300)) > 0.7 {
		t.Errorf("%v, %v", Quality(r, s, c), c.TorqueAt(4300))
	}
	// A run-up in the gear below, at half load.
	rows = append(rise(1500, 2600, func(float64) float64 { return 30 }), rise(2100, 6000, published)...)
	r, err := Read("a.csv", strings.NewReader(written(rows)), nil)
	if err != nil {
		t.Fatal(err)
	}
	if all, err := FindSweeps(r); err != nil || len(all) != 1 || all[0].Low < 2100 || len(all[0].Lifts) > 0 {
		t.Errorf("%+v, %v", all, err)
	}
}

// Each pull of a file is a sweep, coast-downs are none, and a run-up of less than half is none.
func TestSeveralPulls(t *testing.T) {
	down := func(from, to float64) (rows [][2]float64) {
		for n := from; n > to; n -= 25 {
			rows = append(rows, [2]float64{n, -8})
		}
		return rows
	}
	var rows [][2]float64
	for _, part := range [][][2]float64{down(4000, 1500), rise(1500, 5500, published), down(5500, 2000), rise(2000, 3000, published), down(3000, 1300),
		rise(1300, 5600, published), down(5600, 900)} {
		rows = append(rows, part...)
	}
	r, err := Read("a.csv", strings.NewReader(written(rows)), nil)
	if err != nil {
		t.Fatal(err)
	}
	all, err := FindSweeps(r)
	if err != nil || len(all) != 2 {
		t.Fatalf("%v, %v", all, err)
	}
	for i, want := range [][2]float64{{1500, 5500}, {1300, 5600}} {
		if math.Abs(all[i].Low-want[0]) > 200 || math.Abs(all[i].High-want[1]) > 200 {
			t.Errorf("sweep %d is %.0f to %.0f, want %v", i+1, all[i].Low, all[i].High, want)
		}
	}
	if _, n, err := ChooseSweep(all, 0); n != 2 || err != nil {
		t.Errorf("the widest is %d", n)
	}
	if _, _, err := ChooseSweep(all, 3); err == nil || !strings.Contains(err.Error(), "allowed: 1 to 2") {
		t.Errorf("%v", err)
	}
}

// Engine speeds without a sample within half a step are left out, and it is said.
func TestGapsAreLeftOut(t *testing.T) {
	rows := rise(1500, 6000, published)
	csv := written(rows)
	lines := strings.SplitAfter(csv, "\n")
	csv = strings.Join(append(lines[:200:200], lines[260:]...), "") // 480 1/min
	r, s, c := curveOf(t, csv, Options{})
	missing := 0
	low, high := rows[199][0], rows[258][0]
	for n := 1700.0; n < 5900; n += 100 {
		has := false
		for _, p := range c.Points {
			has = has || p.Speed == n
		}
		if inside := n-50 > low && n+50 < high; inside && has {
			t.Errorf("a point at %v, from %v to %v there is no sample", n, low, high)
		}
		if !has {
			missing++
		}
	}
	if q := kinds(Quality(r, s, c), "gap"); len(q) != 1 || missing == 0 || !strings.Contains(q[0].Text, fmt.Sprintf("of %d of", missing)) {
		t.Errorf("%d missing: %v", missing, q)
	}
}

// A sample that stands alone beyond a gap makes no peak, however strong it is.
func TestALoneSampleIsNoPeak(t *testing.T) {
	rows := rise(1500, 5000, published)
	rows = append(rows, [2]float64{5300, 78}, [2]float64{5900, 79})
	csv := written(rows)
	r, s, c := curveOf(t, csv, Options{})
	if c.PeakPower.Speed > 5000 || c.PeakTorque.Speed > 5000 {
		t.Errorf("peaks %v and %v, with one sample beyond 5000 1/min: %v", c.PeakTorque, c.PeakPower, Quality(r, s, c))
	}
}
