package run

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
)

func fixed(v float64) string { return strconv.FormatFloat(v, 'f', 3, 64) }

// spoiled is a good pull with its rows changed; row holds time, engine speed, torque, roller speed.
func spoiled(seed uint64, change func(row []float64)) string {
	p := pull{torque: published, low: 1500, top: 5500, noise: 1, seconds: 10, seed: seed}
	var b strings.Builder
	b.WriteString("time [s],engine_speed [1/min],torque [N.m],roller_speed [km/h]\n")
	for _, r := range p.rows() {
		if change != nil {
			change(r)
		}
		fmt.Fprintf(&b, "%.2f,%.1f,%.2f,%.3f\n", r[0], r[1], r[2], r[3])
	}
	return b.String()
}

func doubts(t *testing.T, csv string) []Remark {
	t.Helper()
	r, s, c := curveOf(t, csv, Options{})
	return Quality(r, s, c)
}

// A good run raises no doubt, over many seeds.
func TestGoodRunsAreNotDoubted(t *testing.T) {
	doubted := 0
	for seed := range uint64(200) {
		if q := doubts(t, spoiled(seed, nil)); len(q) > 0 {
			doubted++
			t.Logf("seed %d: %v", seed, q)
		}
	}
	if doubted > 1 {
		t.Errorf("%d of 200 good runs were doubted", doubted)
	}
}

func TestDoubts(t *testing.T) {
	within := func(v, a, b float64) bool { return v >= a && v <= b }
	for _, c := range []struct {
		name, kind, says string
		low, high        float64 // where
		change           func(row []float64)
	}{
		{"spin", "spin", "wheels spin", 2900, 3110, func(r []float64) {
			if within(r[1], 3000, 3400) {
				r[3] *= 0.94
			}
		}},
		{"rollers ahead", "spin", "rollers run ahead", 2900, 3110, func(r []float64) {
			if within(r[1], 3000, 3400) {
				r[3] *= 1.06
			}
		}},
		{"a dip", "lump", "a lump: torque is up to -1", 3900, 4110, func(r []float64) {
			if within(r[1], 4000, 4200) {
				r[2] -= 12
			}
		}},
		{"one wild sample", "spike", "1 sample of torque left out", 4900, 5100, func() func(r []float64) {
			done := false
			return func(r []float64) {
				if !done && r[1] > 5000 {
					r[2], done = r[2]+30, true
				}
			}
		}()},
		{"stuck torque", "stuck", "torque stands still at 77.5 N.m", 2900, 3110, func(r []float64) {
			if within(r[1], 3000, 4500) {
				r[2] = 77.5
			}
		}},
	} {
		found := false
		for _, q := range doubts(t, spoiled(7, c.change)) {
			found = found || q.Kind == c.kind && strings.Contains(q.Text, c.says) && within(q.Speed, c.low, c.high)
		}
		if !found {
			t.Errorf("%s: want a %s between %v and %v 1/min that says %q; there is %v", c.name, c.kind, c.low, c.high, c.says, doubts(t, spoiled(7, c.change)))
		}
	}
	short := pull{torque: published, low: 1500, top: 2700, noise: 1, seconds: 2, seed: 1, rate: 25}
	var kinds []string
	for _, q := range doubts(t, short.csv()) {
		kinds = append(kinds, q.Kind)
	}
	if got := strings.Join(kinds, " "); !strings.Contains(got, "short short") {
		t.Errorf("a sweep of 2 s over 1200 1/min: %s", got)
	}
	sparse := pull{torque: published, low: 1500, top: 5500, noise: 1, seconds: 10, seed: 1, rate: 6}
	if q := doubts(t, sparse.csv()); len(q) == 0 || q[0].Kind != "points" {
		t.Errorf("six samples a second: %v", q)
	}
}

// Out of range is refused, and marked where it was asked for.
func TestCorrectionOfARun(t *testing.T) {
	weather := &Weather{Pressure: 88, Temperature: 30, Humidity: ptr(0.4)}
	r, s, plain := curveOf(t, spoiled(1, nil), Options{})
	if plain.Correction.Standard != None || plain.Correction.Factor != 1 {
		t.Errorf("the default is %+v", plain.Correction)
	}
	if _, err := MakeCurve(r, s, Options{Correction: J1349, Weather: weather}); err == nil || !strings.Contains(err.Error(), "refused unless") {
		t.Errorf("%v", err)
	}
	c, err := MakeCurve(r, s, Options{Correction: J1349, Weather: weather, Anyway: true, Forced: true})
	if err != nil {
		t.Fatal(err)
	}
	if got := c.PeakTorque.Torque / plain.PeakTorque.Torque; math.Abs(got/c.Correction.Factor-1) > 1e-9 {
		t.Errorf("torque rose by %v, the factor is %v", got, c.Correction.Factor)
	}
	if q := Quality(r, s, c); len(q) != 1 || q[0].Kind != "correction" {
		t.Errorf("%v", q)
	}
	if notes := strings.Join(c.Correction.Notes, "\n"); !strings.Contains(notes, ForcedNote) || !strings.Contains(notes, "given, not recorded") {
		t.Errorf("notes %q", notes)
	}
}
