package run

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// gainOf is a gain as the tests look at it.
type gainOf struct{ *calibrationv1.RunGain }

func (g *gainOf) amounts() map[string]*calibrationv1.GainAmount {
	return map[string]*calibrationv1.GainAmount{"mean torque": g.MeanTorque, "mean power": g.MeanPower, "peak torque": g.PeakTorque, "peak power": g.PeakPower}
}

// shown is the first of what is shown.
func (g *gainOf) shown() string {
	for _, what := range []string{"mean torque", "mean power", "peak torque", "peak power"} {
		if g.amounts()[what].Shown {
			return what
		}
	}
	for _, p := range g.Points {
		if p.Shown {
			return "engine speed"
		}
	}
	return ""
}

// holds counts the intervals over 2000 to 5000 1/min, where power is greatest at the end, and those of them
// that hold a gain of so many N.m everywhere.
func (g *gainOf) holds(gain float64) (all, held int) {
	count := func(got, want float64, plusMinus *float64) {
		if plusMinus == nil {
			return
		}
		all++
		if math.Abs(got-want) <= *plusMinus {
			held++
		}
	}
	count(g.MeanTorque.Gain, gain, g.MeanTorque.PlusMinus)
	count(g.PeakTorque.Gain, gain, g.PeakTorque.PlusMinus)
	count(g.MeanPower.Gain, Power(gain, 3500), g.MeanPower.PlusMinus)
	count(g.PeakPower.Gain, Power(gain, 5000), g.PeakPower.PlusMinus)
	for i, p := range g.Points {
		if i%10 == 0 {
			count(p.Gain, gain, p.PlusMinus)
		}
	}
	return all, held
}

func (g *gainOf) remarks(kind, text string) bool {
	for _, r := range g.Remarks {
		if r.Kind == kind && strings.Contains(r.Text, text) {
			return true
		}
	}
	return false
}

// level is a pull whose torque is one value from 2000 to 5000 1/min.
func level(name string, torque float64, order int) *Pull {
	return &Pull{Name: name, Run: &Run{}, Curve: leveled(name, 2000, 5000, torque), Order: order}
}

func leveled(name string, low, high, torque float64) *Curve {
	c := &Curve{Run: name, Place: Crank, Correction: Correction{Standard: None, Title: "none", Factor: 1}, Step: 100}
	for n := low; n <= high; n += 100 {
		c.Points = append(c.Points, at(n, torque))
	}
	return c
}

func gained(t *testing.T, before, after []*Pull, low, high float64) *gainOf {
	t.Helper()
	for _, p := range append(append([]*Pull{}, before...), after...) {
		if p.air == nil && p.noAir == nil {
			p.noAir = fmt.Errorf("none")
		}
	}
	g, err := Gained(before, after, low, high)
	if err != nil {
		t.Fatal(err)
	}
	return &gainOf{g}
}

// By hand: 100 and 102 before, 110 and 112 after. The pooled variance is 2, the standard error of
// the difference sqrt(2*(1/2+1/2)) = sqrt 2. With two degrees of freedom Student's t has a closed form: what
// is beyond it in a share a of cases is (1-a)*sqrt(2/(1-(1-a)^2)), for a = 1/400 19.9624.
func TestGainedByHand(t *testing.T) {
	g := gained(t, []*Pull{level("a", 100, 1), level("b", 102, 3)}, []*Pull{level("c", 110, 2), level("d", 112, 4)}, 2000, 4000)
	m := g.MeanTorque
	if math.Abs(m.Before-101) > 1e-9 || math.Abs(m.After-111) > 1e-9 || math.Abs(m.Gain-10) > 1e-9 {
		t.Errorf("means %v", m)
	}
	const a = 1.0 / 400
	want := (1 - a) * math.Sqrt(2/(1-(1-a)*(1-a))) * math.Sqrt2
	if math.Abs(*m.PlusMinus-want) > 1e-6 || m.Shown || g.shown() != "" || !strings.Contains(g.Says, "no gain is shown: mean torque from 2,000 to 4,000 1/min at the crank differs by +10.0 N·m, within ± 28.2 N·m") {
		t.Errorf("± %v, want %v; shown %v: %s", *m.PlusMinus, want, m.Shown, g.Says)
	}
	if g.LeastShown.GetTorque() != *m.PlusMinus || len(g.Points) != 21 || g.Points[0].PlusMinus != nil || !g.remarks("points", "two runs") {
		t.Errorf("least %v, %d points: %v", g.LeastShown, len(g.Points), g.Remarks)
	}
	// Mean power over 2000 to 4000 is that at 3000; peak power is at 4000.
	if w := Power(10, 3000); math.Abs(g.MeanPower.Gain-w) > 1e-9 || math.Abs(g.PeakPower.Gain-Power(10, 4000)) > 1e-9 {
		t.Errorf("mean power %v, want %v", g.MeanPower.Gain, w)
	}
	one := gained(t, []*Pull{level("a", 100, 0)}, []*Pull{level("c", 150, 0), level("d", 150, 0)}, 0, 0)
	if one.MeanTorque.PlusMinus != nil || one.shown() != "" || one.LeastShown != nil || !strings.Contains(one.Says, "cannot be told") || one.From != 2000 || one.To != 5000 {
		t.Errorf("one run a side: %s", one.Says)
	}
}

// A recording given twice says nothing of what runs differ by, and one on both sides nothing at all.
func TestARecordingCountsOnce(t *testing.T) {
	g := gained(t, []*Pull{level("a", 100, 1), level("copy of a", 100, 2)}, []*Pull{level("c", 110, 3), level("d", 112, 4)}, 0, 0)
	if g.RunsBefore != 1 || g.shown() != "" || !g.remarks("twice", "a and copy of a are one recording") {
		t.Errorf("%d before, %s: %v", g.RunsBefore, g.shown(), g.Remarks)
	}
	if _, err := Gained([]*Pull{level("a", 100, 1)}, []*Pull{level("b", 100, 2)}, 0, 0); err == nil || !strings.Contains(err.Error(), "a and b are one recording") {
		t.Errorf("%v", err)
	}
}

// Five a side, and from each run to the next 3 N.m less, the sides one after the other or interleaved:
// by hand the gain without that is 10, in the middle of the order, where the plain means differ by -5 and by 7.
func TestDriftIsTakenOut(t *testing.T) {
	side := func(base float64, orders ...int) (out []*Pull) {
		for i, o := range orders {
			out = append(out, level(fmt.Sprint(o), base-3*float64(o)+0.1*float64(i%2), o))
		}
		return out
	}
	for _, c := range []struct{ before, after []int }{
		{[]int{1, 2, 3, 4, 5}, []int{6, 7, 8, 9, 10}}, {[]int{1, 3, 5}, []int{2, 4, 6}},
	} {
		g := gained(t, side(100, c.before...), side(110, c.after...), 0, 0)
		if m := g.MeanTorque; math.Abs(m.Gain-10) > 0.3 || !m.Shown || !g.remarks("drift", "-3.0 N·m from one run to the next") {
			t.Errorf("%v: %+v %s %v", c, m, g.Says, g.Remarks)
		}
	}
	// Three a side, one after the other: it cannot be told from a gain, and that is said.
	g := gained(t, side(100, 1, 2, 3), side(110, 4, 5, 6), 0, 0)
	if !g.remarks("drift", "cannot be told from a gain; interleave") || math.Abs(g.MeanTorque.Gain-1) > 0.3 {
		t.Errorf("%+v %v", g.MeanTorque, g.Remarks)
	}
}

// A run cut short takes engine speeds from the others, and never without a word.
func TestACutRunIsNamed(t *testing.T) {
	short := level("short.csv", 100, 2)
	short.Curve = leveled("short.csv", 2400, 4000, 100)
	g := gained(t, []*Pull{level("a", 100, 1), short}, []*Pull{level("c", 110, 3), level("d", 112, 4)}, 0, 0)
	if g.From != 2400 || g.To != 4000 || !g.remarks("short", "short.csv ends at 4000 1/min, where others go on to 5000") || !g.remarks("short", "short.csv begins at 2400 1/min, where others begin at 2000") {
		t.Errorf("%v to %v: %v", g.From, g.To, g.Remarks)
	}
	// A band that leaves them out by itself needs none.
	if g = gained(t, []*Pull{level("a", 100, 1), short}, []*Pull{level("c", 110, 3)}, 2500, 3900); g.remarks("short", "") {
		t.Errorf("%v", g.Remarks)
	}
	// A hole inside one run is a hole of all.
	holed := level("holed.csv", 100, 1)
	holed.Curve.Points = append(holed.Curve.Points[:5:5], holed.Curve.Points[8:]...)
	if g = gained(t, []*Pull{holed}, []*Pull{level("c", 110, 3)}, 0, 0); len(g.Points) != 28 || !g.remarks("gap", "3 engine speeds") || math.Abs(g.MeanTorque.Gain-10) > 1e-9 {
		t.Errorf("%d points, %v", len(g.Points), g.Remarks)
	}
}

// Runs that were not equally warm are named: a side by itself, and one against the other.
func TestHeatIsSaid(t *testing.T) {
	warm := func(coolant string, torque float64, order int) *Pull {
		p := level(fmt.Sprint("run ", order), torque, order)
		p.Run, p.Sweep = weatherRun(t, "coolant_temperature [Cel]", coolant, "20")
		return p
	}
	g := gained(t, []*Pull{warm("72", 100, 1), warm("90", 102, 2)}, []*Pull{warm("95", 110, 3), warm("96", 112, 4)}, 0, 0)
	if !g.remarks("heat", "the runs before were not equally warm: coolant_temperature from 72 to 90 Cel") || !g.remarks("heat", "coolant_temperature 81 Cel before and 96 after") || g.remarks("heat", "the runs after") {
		t.Errorf("%v", g.Remarks)
	}
	if g = gained(t, []*Pull{warm("90", 100, 1), level("b", 101, 2)}, []*Pull{warm("92", 110, 3)}, 0, 0); g.remarks("heat", "") {
		t.Errorf("%v", g.Remarks)
	}
}

func TestUnlikeRunsAreNotCompared(t *testing.T) {
	change := func(by func(c *Curve)) *Pull {
		p := level("b", 101, 2)
		by(p.Curve)
		return p
	}
	for _, c := range []struct {
		after     *Pull
		low, high float64
		want      string
	}{
		{change(func(c *Curve) { c.Place = Wheels }), 0, 0, "never compared"},
		{change(func(c *Curve) { c.Correction.Standard, c.Correction.Title = ISO1585, "ISO 1585" }), 0, 0, "corrected differently"},
		{change(func(c *Curve) { c.Step = 50 }), 0, 0, "one grid is needed"},
		{change(func(c *Curve) { c.Points = leveled("b", 5000, 8000, 1).Points }), 0, 0, "in common"},
		{level("b", 1, 2), 1000, 3000, "allowed: inside 2000 to 5000"},
		{level("b", 1, 2), 3000, math.NaN(), "NaN"},
		{level("b", 1, 2), 3010, 3090, "allowed: inside"},
	} {
		if _, err := Gained([]*Pull{level("a", 100, 1)}, []*Pull{c.after}, c.low, c.high); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	if _, err := Gained(nil, []*Pull{level("a", 1, 1)}, 0, 0); err == nil {
		t.Error("no run before, and no error")
	}
}

// What the critical value must hold: runs that differ by an offset, a tilt, waves of any length, a change at
// one place, and mixtures; straight from the statistics, so that many jobs cost little.
func TestCriticalHoldsWhateverRunsDifferBy(t *testing.T) {
	const seed = 14
	jobs := 1500
	if testing.Short() || raceEnabled {
		jobs = 150
	}
	kinds := []struct{ offset, tilt, wave, length, place float64 }{
		{1, 0, 0, 300, 0}, {1, 1, 0, 300, 0}, {1, 0, 1, 300, 0}, {0, 0, 1, 60, 0}, {0, 0, 1, 1500, 0}, {0.3, 0, 0.2, 300, 1}, {1, 0.5, 0.5, 400, 0.5},
	}
	rng := rand.New(rand.NewPCG(seed, 1))
	for _, runs := range []int{2, 3, 5, 10} {
		total := 0
		for _, k := range kinds {
			for range jobs / len(kinds) {
				one := func(order int) *Pull {
					p := level("", 0, order)
					offset, tilt, place, wave := k.offset*rng.NormFloat64(), k.tilt*rng.NormFloat64(), k.place*rng.NormFloat64(), rng.NormFloat64()
					stay := math.Exp(-100 / k.length)
					for i, c := range p.Curve.Points {
						wave = stay*wave + math.Sqrt(1-stay*stay)*rng.NormFloat64()
						x := (c.Speed - 3500) / 1500
						p.Curve.Points[i] = at(c.Speed, published(c.Speed)+offset+1.7*tilt*x+k.wave*wave+3*place*math.Exp(-math.Pow((c.Speed-2600)/300, 2)))
					}
					return p
				}
				var b, a []*Pull
				for i := range runs {
					b, a = append(b, one(i+1)), append(a, one(runs+i+1))
				}
				if gained(t, b, a, 0, 0).shown() != "" {
					total++
				}
			}
		}
		t.Logf("seed %d, %d runs a side: %d of %d jobs without a gain show something", seed, runs, total, jobs)
		if total > max(jobs*17/1000, 5) {
			t.Errorf("%d runs a side: %d of %d jobs show a gain that is none", runs, total, jobs)
		}
	}
}
