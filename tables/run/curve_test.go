package run

import (
	"math"
	"strings"
	"testing"
)

// The published curve is recovered from noisy pulls: 3 N.m a sample, 15 s. Near the curve's
// kinks a straight line through 200 1/min on both sides rounds them off, by 0.3 N.m at most.
func TestPublishedCurveIsRecovered(t *testing.T) {
	const seeds, noise = 60, 3.0
	var sum, worst float64
	n := 0
	for seed := range uint64(seeds) {
		_, s, c := pull{torque: published, low: 1000, top: 5700, noise: noise, seconds: 15, seed: seed}.curve(t)
		if math.Abs(s.Low-1000) > 130 || math.Abs(s.High-5700) > 130 {
			t.Fatalf("seed %d: the sweep is %.0f to %.0f, not 1000 to 5700", seed, s.Low, s.High)
		}
		if math.Abs(c.Spread/noise-1) > 0.2 {
			t.Errorf("seed %d: a spread of %v for a noise of %v", seed, c.Spread, noise)
		}
		for _, p := range c.Points {
			off := p.Torque - published(p.Speed)
			sum += off * off
			worst = max(worst, math.Abs(off))
			n++
		}
		if math.Abs(c.PeakTorque.Torque-80.9) > 2 || math.Abs(c.PeakPower.Power-41) > 1 {
			t.Errorf("seed %d: peaks %v and %v; published 80.9 N.m and 41 kW", seed, c.PeakTorque, c.PeakPower)
		}
	}
	rms := math.Sqrt(sum / float64(n))
	t.Logf("%d seeds, %d points: off by %.2f N.m (root mean square), %.2f at worst, from samples with %.1f N.m of noise", seeds, n, rms, worst, noise)
	if rms > noise/4 || worst > 1.2*noise {
		t.Errorf("off by %.2f N.m root mean square and %.2f at worst", rms, worst)
	}
}

// Without noise a straight line is reproduced, and power is torque times angular speed.
func TestStraightLineIsExact(t *testing.T) {
	line := func(n float64) float64 { return 50 + n/100 }
	points := make([]Point, 0, 500)
	for n := 1000.0; n < 6000; n += 10 {
		points = append(points, at(n, line(n)))
	}
	for n := 1000.0; n < 5990; n += 33 {
		if got, _ := local(points, n, halfWidth); math.Abs(got-line(n)) > 1e-9 {
			t.Fatalf("at %v: %v, want %v", n, got, line(n))
		}
	}
}

func TestNoSweepAndNoTorque(t *testing.T) {
	flatRun := "time [s],engine_speed [1/min],torque [N.m]\n"
	for i := range 200 {
		flatRun += strings.Join([]string{fixed(float64(i) / 20), fixed(3000 + 20*math.Sin(float64(i))), "80\n"}, ",")
	}
	r, err := Read("flat.csv", strings.NewReader(flatRun), nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := FindSweep(r); err == nil || !strings.Contains(err.Error(), "no sweep") {
		t.Errorf("%v", err)
	}
	both := strings.Replace(pull{torque: published, low: 1500, top: 5500, seconds: 6, seed: 1}.csv(), "roller_speed [km/h]", "wheel_torque [N.m]", 1)
	r, err = Read("both.csv", strings.NewReader(both), nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := FindSweep(r)
	if err != nil {
		t.Fatal(err)
	}
	if c, err := MakeCurve(r, s, Options{Ratio: 4}); err != nil || c.Place != Crank || len(Quality(r, s, c)) != 1 || !strings.Contains(Quality(r, s, c)[0].Text, "never mixed") {
		t.Errorf("%v", err)
	}
	if _, err := MakeCurve(r, s, Options{Place: Wheels}); err == nil || !strings.Contains(err.Error(), "needs the overall ratio") {
		t.Errorf("%v", err)
	}
	if c, err := MakeCurve(r, s, Options{Place: Wheels, Ratio: 4}); err != nil || c.Place != Wheels {
		t.Errorf("%v", err)
	}
	if _, err := MakeCurve(r, s, Options{Place: Crank, Correction: ISO1585}); err == nil || !strings.Contains(err.Error(), "barometric_pressure is missing") {
		t.Errorf("%v", err)
	}
}

// Found by fuzzing: at 1e30 1/min the next grid point is the same one, for ever.
func TestASweepBeyondAnyEngine(t *testing.T) {
	r, err := Read("fast.csv", strings.NewReader("time [s],engine_speed [1/min],torque [N.m]\n"+func() string {
		var b strings.Builder
		for i := range 100 {
			b.WriteString(fixed(float64(i)/10) + "," + fixed(float64(i)) + "e28,80\n")
		}
		return b.String()
	}()), nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := FindSweep(r); err == nil || !strings.Contains(err.Error(), "from 0 to 50000") {
		t.Errorf("%v", err)
	}
}
