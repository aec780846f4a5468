package run

import (
	"math"
	"math/rand/v2"
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

// Gains over many seeds, three runs a side, with a whole-run offset as a day has it: a known gain is
// found and shown, a gain of zero is not shown but for the one in a hundred that the interval lets through.
func TestGains(t *testing.T) {
	const seeds = 300
	rng := rand.New(rand.NewPCG(5, 5))
	side := func(gain float64, seed uint64) (curves []*Curve) {
		for i := range uint64(3) {
			day := 0.7 * rng.NormFloat64() // N.m
			_, _, c := pull{torque: func(n float64) float64 { return published(n) + gain }, offset: day, low: 1500, top: 5500,
				noise: 2, seconds: 6, seed: 10*seed + i, rate: 25}.curve(t)
			curves = append(curves, c)
		}
		return curves
	}
	var shownZero, shownKnown int
	var covered int
	var worst, bias float64
	for seed := range uint64(seeds) {
		before := side(0, 2*seed)
		zero, err := Compare(before, side(0, 2*seed+1000), 2000, 5000)
		if err != nil {
			t.Fatal(err)
		}
		if zero.MeanTorque.Shown {
			shownZero++
		} else if !strings.Contains(zero.Verdict, "not shown") {
			t.Fatalf("the verdict is %q", zero.Verdict)
		}
		if seed >= seeds/3 {
			continue
		}
		known, err := Compare(before, side(8, 2*seed+1001), 2000, 5000)
		if err != nil {
			t.Fatal(err)
		}
		if known.MeanTorque.Shown {
			shownKnown++
		}
		off := known.MeanTorque.Gain - 8
		worst, bias = max(worst, math.Abs(off)), bias+off/(seeds/3)
		if math.Abs(off) <= known.MeanTorque.Spread {
			covered++
		}
	}
	t.Logf("a gain of 0 was not shown in %d of %d; one of 8 N.m was shown in %d of %d, off by %.2f N.m at worst and %+.3f in the mean, within its spread in %d",
		seeds-shownZero, seeds, shownKnown, seeds/3, worst, bias, covered)
	if shownZero > 3+seeds/50 {
		t.Errorf("a gain of 0 was shown %d times in %d", shownZero, seeds)
	}
	if shownKnown < seeds/3*95/100 || covered < seeds/3*95/100 || math.Abs(bias) > 0.25 {
		t.Errorf("a gain of 8 N.m was shown %d times in %d, off by %v in the mean, within its spread in %d", shownKnown, seeds/3, bias, covered)
	}
}

// flat is a curve of constant torque.
func flat(name string, torque float64) *Curve {
	c := &Curve{Run: name, Place: Crank, Correction: Correction{Standard: None, Title: "none", Factor: 1}, Step: 100}
	for n := 2000.0; n <= 5000; n += 100 {
		c.Points = append(c.Points, at(n, torque))
	}
	c.finish()
	return c
}

// By hand: 100 and 102 before, 110 and 112 after. The pooled variance is 2, the standard error of
// the difference sqrt(2*(1/2+1/2)) = sqrt 2, t(0.995, 2) = 9.924843 (tables of Student's t): 14.03576.
func TestGainByHand(t *testing.T) {
	g, err := Compare([]*Curve{flat("a", 100), flat("b", 102)}, []*Curve{flat("c", 110), flat("d", 112)}, 2000, 4000)
	if err != nil {
		t.Fatal(err)
	}
	m := g.MeanTorque
	if math.Abs(m.Before-101) > 1e-9 || math.Abs(m.After-111) > 1e-9 || math.Abs(m.Gain-10) > 1e-9 {
		t.Errorf("means %v", m)
	}
	if math.Abs(m.Spread-9.924843*math.Sqrt2) > 1e-4 || m.Shown || !strings.Contains(g.Verdict, "within the spread of ±14.0") {
		t.Errorf("spread %v, shown %v: %s", m.Spread, m.Shown, g.Verdict)
	}
	if math.Abs(g.AreaTorque.Gain-20000) > 1e-6 || len(g.Points) != 31 || g.PeakPower.SpeedAfter != 5000 {
		t.Errorf("area %v, %d points, peak %v", g.AreaTorque, len(g.Points), g.PeakPower)
	}
	// Mean power over 2000 to 4000 is that at 3000.
	if want := Power(10, 3000); math.Abs(g.MeanPower.Gain-want) > 1e-9 {
		t.Errorf("mean power %v, want %v", g.MeanPower.Gain, want)
	}
	one, err := Compare([]*Curve{flat("a", 100)}, []*Curve{flat("c", 150), flat("d", 150)}, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	if one.SpreadKnown || one.MeanTorque.Shown || !strings.Contains(one.Verdict, "cannot be told") {
		t.Errorf("one run a side: %s", one.Verdict)
	}
}

func TestNotCompared(t *testing.T) {
	wheels, corrected, high := flat("w", 100), flat("i", 100), flat("h", 100)
	wheels.Place = Wheels
	corrected.Correction = Correction{Standard: ISO1585, Title: "ISO 1585", Factor: 1}
	for i := range high.Points {
		high.Points[i].Speed += 3000
	}
	for _, c := range []struct {
		after     *Curve
		low, high float64
		want      string
	}{
		{wheels, 0, 0, "never compared"}, {corrected, 0, 0, "corrected differently"}, {high, 0, 0, "in common"},
		{flat("b", 1), 1000, 3000, "allowed: inside 2000 to 5000"}, {flat("b", 1), 3000, math.NaN(), "NaN"},
	} {
		if _, err := Compare([]*Curve{flat("a", 100)}, []*Curve{c.after}, c.low, c.high); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	if _, err := Compare(nil, []*Curve{high}, 0, 0); err == nil {
		t.Error("no run before, and no error")
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
