package run

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// full is a published full-load curve: engine speed in rad/s, torque in N.m. NREL ADVISOR,
// FC_SI41_emis.m, a 1.0 l spark-ignition engine (Alliance for Sustainable Energy, for the US
// Department of Energy; the file marks the data non-proprietary).
var full = [][2]float64{
	{104.5, 61}, {149.2, 67.6}, {220.9, 73.7}, {292.5, 78.5}, {364.1, 80.9}, {435.7, 77.3}, {507.4, 76.2}, {552.2, 73.3}, {596.9, 68.7},
}

// published is the torque between the published points, held at the ends.
func published(speed float64) float64 {
	points := make([]Point, len(full))
	for i, p := range full {
		points[i] = Point{Speed: p[0] * 30 / math.Pi, Torque: p[1]}
	}
	return between(points, speed)
}

// pull is what a synthetic run is made of: idle, a hold, a rise, idle again, at 50 samples a second.
type pull struct {
	torque   func(speed float64) float64
	low, top float64 // 1/min
	noise    float64 // N.m, standard deviation of each sample
	offset   float64 // N.m, of the whole run
	seconds  float64 // of the rise
	seed     uint64
	rate     float64 // samples a second; 50 if 0
}

func (p pull) rows() [][]float64 {
	rng := rand.New(rand.NewPCG(p.seed, 20))
	rate := p.rate
	if rate == 0 {
		rate = 50
	}
	var rows [][]float64
	for i := range int((p.seconds + 6) * rate) {
		t := float64(i) / rate
		speed, load := 900.0, 0.1
		switch rise := t - 3; {
		case rise >= 0 && rise <= p.seconds:
			speed, load = p.low+(p.top-p.low)*rise/p.seconds, 1
		case rise > p.seconds:
			speed = max(900, p.top-2500*(rise-p.seconds))
		case t > 2: // held at the low end before the pull
			speed, load = p.low, 0.3
		case t > 1:
			speed, load = 900+(p.low-900)*(t-1), 0.5
		}
		torque := load*p.torque(speed) + load*p.offset + p.noise*rng.NormFloat64()
		rows = append(rows, []float64{t, speed + 3*rng.NormFloat64(), torque, speed / 42.5})
	}
	return rows
}

func (p pull) csv() string {
	var b strings.Builder
	b.WriteString("time [s],engine_speed [1/min],torque [N.m],roller_speed [km/h]\n")
	for _, r := range p.rows() {
		fmt.Fprintf(&b, "%.2f,%.1f,%.2f,%.3f\n", r[0], r[1], r[2], r[3])
	}
	return b.String()
}

func (p pull) curve(t testing.TB) (*Run, Sweep, *Curve) {
	t.Helper()
	return curveOf(t, p.csv(), Options{})
}

func curveOf(t testing.TB, csv string, o Options) (*Run, Sweep, *Curve) {
	t.Helper()
	r, err := Read("run.csv", strings.NewReader(csv), nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := FindSweep(r)
	if err != nil {
		t.Fatal(err)
	}
	c, err := MakeCurve(r, s, o)
	if err != nil {
		t.Fatal(err)
	}
	return r, s, c
}

var write = flag.Bool("write", false, "write testdata/runs anew")

// The demo's runs are made here: a club hill-climb car, 1.8 l turbo four, before and after a larger
// compressor wheel and charge cooler; figures invented. Semicolons and decimal commas, as a
// German rolling road writes them.
func TestDemoRunsAreTheGenerators(t *testing.T) {
	for _, when := range []string{"before", "after"} {
		for n := range 3 {
			path := filepath.Join("..", "..", "testdata", "runs", fmt.Sprintf("%s-%d.csv", when, n+1))
			want := demoRun(when == "after", uint64(n+1))
			if *write {
				if err := os.WriteFile(path, []byte(want), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			got, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if string(got) != want {
				t.Errorf("%s is not what the generator makes; go test -run DemoRuns -write", path)
			}
		}
	}
}

func demoRun(after bool, seed uint64) string {
	rng := rand.New(rand.NewPCG(seed, 1800))
	peak, boost := 235.0, 170.0
	if after {
		peak, boost, rng = 298.0, 205, rand.New(rand.NewPCG(seed, 1801))
	}
	day := 1.5 * rng.NormFloat64()
	p := pull{low: 1800, top: 6700, noise: 2, offset: day, seconds: 12, seed: seed, rate: 25, torque: func(n float64) float64 {
		spool := 1 / (1 + math.Exp(-(n-2500)/300))
		fade := max(0, (n-4500)/2200)
		return 110 + (peak-110)*spool - 0.35*peak*fade*fade
	}}
	var b strings.Builder
	b.WriteString("\ufefftime [s];engine_speed [1/min];torque [N.m];roller_speed [km/h];manifold_pressure [kPa];cylinder_filling [%];lambda [1];ignition_advance [deg];" +
		"knock_retard [deg];intake_temperature [Cel];barometric_pressure [kPa];relative_humidity [%]\r\n")
	for _, r := range p.rows() {
		n := r[1]
		mapKPa := 40.0
		if r[2] > 60 {
			mapKPa = 100 + (boost-100)/(1+math.Exp(-(n-2500)/300))
		}
		line := fmt.Sprintf("%.2f;%.0f;%.1f;%.2f;%.1f;%.1f;%.3f;%.1f;%.1f;%.1f;%.2f;%.0f\r\n", r[0], n, r[2], r[3], mapKPa+0.4*rng.NormFloat64(),
			0.98*mapKPa*0.9, 1-0.0018*max(0, mapKPa-90), 12+n/500-0.05*max(0, mapKPa-100), max(0, 0.5*rng.NormFloat64()), 24.0, 98.20, 48.0)
		b.WriteString(strings.ReplaceAll(line, ".", ","))
	}
	return b.String()
}
