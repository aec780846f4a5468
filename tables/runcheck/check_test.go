package runcheck

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/run"
)

// Logs made by looking the map up, with delays and noise of their own, give the map back: each delay within a sample, the
// differences within the noise, and nothing is found.
func TestALogOfTheMapGivesItBack(t *testing.T) {
	lay := demoLayout(t)
	im := demoImage(t, lay, nil)
	for n, tt := range []struct {
		hertz   float64
		advance float64
		lambda  float64
		boost   float64
	}{{50, 0, 0, 0}, {50, 0.06, 0.24, 0.1}, {20, 0, 0.35, 0.15}, {100, 0.013, 0.471, 0.02}, {10, 0.1, 0.3, 0}} {
		seed := uint64(20 + n)
		l := logging(t, lay, im)
		l.hertz, l.random = tt.hertz, rand.New(rand.NewPCG(seed, 1))
		l.delays = map[string]float64{advance: tt.advance, lambda: tt.lambda, pressure: tt.boost}
		l.noise = map[string]float64{advance: 0.3, lambda: 0.006, pressure: 1}
		out := checked(t, Input{Run: l.write(t), Image: im, Layout: lay, Limits: demoLimits(t)})
		if len(out.Findings) > 0 || len(out.LeftOut) > 0 || out.Verdict != "clear" {
			t.Errorf("seed %d, %v Hz: %s: %v, left out: %v", seed, tt.hertz, out.Verdict, out.Findings, out.LeftOut)
		}
		for _, o := range observed[:2] {
			s := sideOf(out, o[0])
			if math.Abs(s.Delay-l.delays[o[0]]) > 1/tt.hertz || float64(s.Samples) < 0.9*30*tt.hertz {
				t.Errorf("seed %d, %v Hz: %s runs behind by %.3f s in %d samples; it was %.3f", seed, tt.hertz, o[1], s.Delay, s.Samples, l.delays[o[0]])
			}
			if noise := l.noise[o[0]]; s.Rms > 1.25*noise || math.Abs(s.Mean) > noise/3 {
				t.Errorf("seed %d, %v Hz: %s is off by %.4f on the mean, %.4f rms, with a noise of %v", seed, tt.hertz, o[1], s.Mean, s.Rms, noise)
			}
		}
	}
}

// raw writes a table's raw byte everywhere; the demo's ignition maps are signed bytes of half a degree.
func shifted(lay *definition.Layout, id string, raw int8) func([]byte) {
	return func(b []byte) {
		c := lay.ByID[id].Cells
		for row := range c.NY {
			for col := range c.NX {
				b[c.At(row, col)] += byte(raw)
			}
		}
	}
}

// What is wrong is named: with the run's time, the operating point and the map's cell.
func TestWhatIsWrongIsNamed(t *testing.T) {
	lay := demoLayout(t)
	pulling := func(p point) bool { return p.pedal > 80 && p.time > 6 && p.time < 14 }
	for _, tt := range []struct {
		name   string
		has    func(b []byte) // what the checked image has other than the car
		change func(channel string, p point, v float64) float64
		header string
		more   func(p point) string
		want   string
		says   string
	}{
		{name: "nothing"},
		{name: "a map shifted by 3 degrees", has: shifted(lay, "ignition.98", 6), want: "differs/warning/advance.plug", says: "on the mean -3 deg in the cell"},
		{name: "a map shifted by half a degree is within the controller's rounding", has: shifted(lay, "ignition.98", 1)},
		{name: "another map in its place", has: func(b []byte) {
			c, other := lay.ByID["ignition.98"].Cells, lay.ByID["cam.intake"].Cells
			for row := range c.NY {
				for col := range c.NX {
					b[c.At(row, col)] = byte(min(80, other.Bits(b, row, min(col/2, other.NX-1))))
				}
			}
		}, want: "differs/warning/advance.plug", says: "of ignition.98"},
		{name: "another fuel's map", has: func(b []byte) { b[0x10A20] &^= 0x30 }, want: "differs/caution/advance.plug", says: "under load"},
		{name: "knock control takes 9 degrees back, and the logger says so", header: ",knock_retard [deg]", more: func(p point) string {
			if p.time > 9 && p.time < 9.5 {
				return ",-9"
			}
			return ",0"
		}, change: func(channel string, p point, v float64) float64 {
			if channel == advance && p.time > 9 && p.time < 9.5 {
				return v - 9
			}
			return v
		}, want: "knock/danger/advance.plug", says: "knock control took back 9.0 deg at 9."},
		{name: "knock control takes 9 degrees back, and no channel says so", change: func(channel string, p point, v float64) float64 {
			if channel == advance && p.time > 9 && p.time < 10.5 {
				return v - 9
			}
			return v
		}, want: "differs/warning/advance.plug", says: "ignition_advance is logged -9"},
		{name: "one sample of retard is a spike", header: ",knock_retard [deg]", more: func(p point) string {
			if math.Abs(p.time-9) < 0.001 {
				return ",9"
			}
			return ",0"
		}},
		{name: "a small retard", header: ",knock_retard [deg]", more: func(p point) string {
			if p.time > 9 && p.time < 9.5 {
				return ",3.5"
			}
			return ",0"
		}, want: "knock/caution/advance.plug", says: "3 deg for 0.2 s is a caution (common practice, no source)"},
		{name: "lambda 1.10 at full load", change: func(channel string, p point, v float64) float64 {
			if channel == lambda && pulling(p) && p.time > 11 {
				return 1.10
			}
			return v
		}, want: "lean/danger/lambda.commanded limit/warning/lambda.commanded differs/warning/lambda.commanded", says: "lambda 1.100 under load where lambda.commanded asks for 0."},
		{name: "fuel cut on a closed throttle is no lean mixture", change: func(channel string, p point, v float64) float64 {
			if channel == lambda && p.time > 15 && p.time < 17 {
				return 4.5
			}
			return v
		}},
		{name: "boost 30 kPa over its target", change: func(channel string, p point, v float64) float64 {
			if channel == pressure && pulling(p) && p.time > 12 {
				return v + 30
			}
			return v
		}, want: "over-target/danger/boost.request off-axis/caution/wastegate.duty", says: "25 kPa over the target for 0.2 s is a danger"},
		{name: "more advance than the ceiling of the limits", change: func(channel string, p point, v float64) float64 {
			if channel == advance && pulling(p) {
				return v + 7
			}
			return v
		}, want: "differs/warning/advance.plug limit/warning/advance.plug", says: "of limit advance-at-plug at "},
		{name: "boost that is still there when the pedal goes up", change: func(channel string, p point, v float64) float64 {
			if channel == pressure && p.time > 14.5 && p.time < 15.1 {
				return 170
			}
			return v
		}},
		{name: "boost below its target while the turbocharger comes up", change: func(channel string, p point, v float64) float64 {
			if channel == pressure && p.pedal > 80 && p.time < 7 {
				return 0.75 * v
			}
			return v
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l := logging(t, lay, demoImage(t, lay, nil))
			l.change, l.more, l.header = tt.change, tt.more, tt.header
			l.delays = map[string]float64{advance: 0.04, lambda: 0.2}
			out := checked(t, Input{Run: l.write(t), Image: demoImage(t, lay, tt.has), Layout: lay, Limits: demoLimits(t)})
			if kinds(out) != tt.want {
				t.Errorf("found %q, want %q\n%v", kinds(out), tt.want, out.Findings)
			}
			if tt.want == "" {
				return
			}
			said := false
			for _, f := range out.Findings {
				said = said || strings.Contains(f.Text, tt.says)
				if f.Kind != "off-axis" && (!strings.Contains(f.Text, "in the cell engine speed ") || f.Inputs["engine_speed"] == 0 || f.Time == 0) {
					t.Errorf("at %v: %s, inputs %v", f.Time, f.Text, f.Inputs)
				}
			}
			if !said {
				t.Errorf("%v\nwant %q in it", out.Findings, tt.says)
			}
		})
	}
}

// A channel that the run lacks leaves its side out, and says so; one that the controller computes is taken from the run
// where its own inputs are lacking.
func TestChannelsThatAreLacking(t *testing.T) {
	lay := demoLayout(t)
	im := demoImage(t, lay, nil)
	l := logging(t, lay, im)
	l.without = "exhaust_temperature"
	out := checked(t, Input{Run: l.write(t), Image: im, Layout: lay})
	if s := sideOf(out, lambda); s == nil || s.Samples != 0 || s.Worst != nil || sideOf(out, advance).Samples == 0 {
		t.Errorf("%v", out.Sides)
	}
	if fmt.Sprint(out.LeftOut) != "[lambda.commanded is not held against the run: the run has no channel of exhaust_temperature]" {
		t.Errorf("%q", out.LeftOut)
	}
	l.without = "meter_voltage"
	l.header, l.more = ",cylinder_filling [%]", func(p point) string {
		return fmt.Sprintf(",%.4f", p.fill)
	}
	out = checked(t, Input{Run: l.write(t), Image: im, Layout: lay, Limits: demoLimits(t)})
	s := sideOf(out, advance)
	if s.Samples == 0 || s.Rms > 0.3 || s.Worst.Inputs["cylinder_filling"] == 0 || len(out.LeftOut) > 0 {
		t.Errorf("%v, left out: %q", s, out.LeftOut)
	}
	if kinds(out) != "" {
		t.Errorf("%v", out.Findings)
	}
}

// Lean under load is found by lambda alone where no map is held against it.
func TestLeanByItself(t *testing.T) {
	lay := demoLayout(t)
	im := demoImage(t, lay, nil)
	l := logging(t, lay, im)
	l.without = "exhaust_temperature"
	l.change = func(channel string, p point, v float64) float64 {
		if channel == lambda && p.time > 11 && p.time < 13 {
			return 1.1
		}
		return v
	}
	if out := checked(t, Input{Run: l.write(t), Image: im, Layout: lay}); kinds(out) != "lean/danger" {
		t.Errorf("%v", out.Findings)
	}
}

// Time beyond an axis is told of every table with a look-up, also of one whose quantity a signal computes.
func TestBeyondTheAxes(t *testing.T) {
	lay := demoLayout(t)
	im := demoImage(t, lay, func(b []byte) {
		c := lay.ByID["lambda.target"].X.Cells // rpm8, of which the last is now 6000, as the one before
		copy(b[c.At(0, 7):c.At(0, 7)+2], b[c.At(0, 6):c.At(0, 6)+2])
		load := lay.ByID["ignition.98"].Y.Cells // load14 ends at 130 %
		for i := 9; i < 14; i++ {
			b[load.At(0, i)] = 130
		}
	})
	l := logging(t, lay, im)
	out := checked(t, Input{Run: l.write(t), Image: im, Layout: lay})
	above := 0.0
	for i := range int(l.seconds*l.hertz) + 1 {
		if drive(float64(i)/l.hertz).rpm > 6000 {
			above += 1 / l.hertz
		}
	}
	var speed, filling bool
	for _, o := range out.Outside {
		switch o.Table + " " + o.Axis {
		case "lambda.target engine_speed":
			speed = math.Abs(o.Time-above) < 0.05 && math.Abs(o.Share-above/l.seconds) < 0.01
		case "ignition.98 cylinder_filling":
			filling = o.Time > 5
		case "ignition.98 engine_speed":
			t.Errorf("%v: its axis ends at 7200", o)
		}
	}
	if !speed || !filling {
		t.Errorf("outside: %v; above 6000 1/min for %.2f s", out.Outside, above)
	}
	var texts []string
	for _, f := range out.Findings {
		if f.Kind == "off-axis" && f.Severity == "caution" {
			texts = append(texts, f.Text)
		}
	}
	if all := strings.Join(texts, "\n"); len(texts) != 2 || !strings.Contains(all, "6000, where the table is held") || !strings.Contains(all, "130, where the table is held") {
		t.Errorf("%s", all)
	}
}

// A submission with more boost leads beyond axes that the run itself kept to.
func TestTheCandidatesTargetIsFollowed(t *testing.T) {
	lay := demoLayout(t)
	end := func(b []byte) { // wastegate.duty looks up manifold pressure to 200 kPa
		c := lay.ByID["boost.target"].Cells
		for row := range c.NY {
			for col := range c.NX {
				at := c.At(row, col)
				v := (int(b[at])<<8 | int(b[at+1])) * 13 / 10
				b[at], b[at+1] = byte(v>>8), byte(v)
			}
		}
	}
	im := demoImage(t, lay, nil)
	r := logging(t, lay, im).write(t)
	for _, tt := range []struct {
		candidate *image.Image
		want      string
	}{{im, ""}, {demoImage(t, lay, end), "off-axis/caution/ignition.base off-axis/caution/wastegate.duty"}} {
		out := checked(t, Input{Run: r, Image: im, Layout: lay, Candidate: tt.candidate})
		if kinds(out) != tt.want {
			t.Errorf("%v, want %q", out.Findings, tt.want)
		}
		if tt.want != "" && !strings.Contains(strings.Join(out.Ahead, "\n"), "with the candidate's boost.request this run would come to manifold pressure 2") {
			t.Errorf("%q", out.Ahead)
		}
	}
}

func TestTheSameCheckEveryTime(t *testing.T) {
	lay := demoLayout(t)
	im := demoImage(t, lay, shifted(lay, "ignition.98", 6))
	r := logging(t, lay, demoImage(t, lay, nil)).write(t)
	in := Input{Run: r, Image: im, Layout: lay, Limits: demoLimits(t)}
	first := checked(t, in)
	for range 5 {
		if again := checked(t, in); !proto.Equal(first, again) {
			t.Fatalf("%v\n%v", first, again)
		}
	}
}

func TestWhatDoesNotFitIsRefused(t *testing.T) {
	lay := demoLayout(t)
	im := demoImage(t, lay, nil)
	r := logging(t, lay, im).write(t)
	small := image.Whole(0, im.Bytes[:100])
	if _, err := Check(Input{Run: r, Image: small, Layout: lay}); err == nil || !strings.Contains(err.Error(), "the image has 100 bytes, of 0x0 to 0x64; definition dx1-1.8t is of 262144") {
		t.Errorf("%v", err)
	}
	other := demoLayout(t)
	other.Name = "another"
	if _, err := Check(Input{Run: r, Image: im, Layout: other, Limits: demoLimits(t)}); err == nil || !strings.Contains(err.Error(), "do not apply") {
		t.Errorf("%v", err)
	}
}

// What a check holds grows with the samples of one run by a few numbers for each table or signal that is observed: two hours
// at 100 Hz are 720,000 samples.
func TestALongLogTakesBoundedMemory(t *testing.T) {
	lay := demoLayout(t)
	im := demoImage(t, lay, nil)
	text := logging(t, lay, im).text(t)
	allocated := func(times int) (bytes, samples float64) {
		r := tiled(t, text, times)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		checked(t, Input{Run: r, Image: im, Layout: lay, Limits: demoLimits(t)})
		runtime.ReadMemStats(&after)
		return float64(after.TotalAlloc - before.TotalAlloc), float64(len(r.Time))
	}
	a, m := allocated(8)
	b, n := allocated(24)
	if each := (b - a) / (n - m); each > 120 {
		t.Errorf("%.0f bytes for each further sample", each)
	}
}

// tiled is a log over and over.
func tiled(t *testing.T, text string, times int) *run.Run {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	var b strings.Builder
	b.WriteString(lines[0] + "\n")
	for n := range times * (len(lines) - 1) {
		_, rest, _ := strings.Cut(lines[1+n%(len(lines)-1)], ",")
		fmt.Fprintf(&b, "%.2f,%s\n", float64(n)/100, rest)
	}
	r, err := run.Read("long.csv", strings.NewReader(b.String()), nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}
