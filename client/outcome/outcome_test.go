package outcome

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/run"
)

// torqueAt is an invented curve of a 1.8 l turbo engine: 300 N.m at its top, at 3600 1/min.
func torqueAt(speed float64) float64 {
	return 300 * math.Exp(-math.Pow((speed-3600)/3200, 2))
}

// sweep is a pull from 1500 to 6500 1/min in 10 s at 50 Hz: gain is added to the torque, noise
// is its standard deviation in N.m.
func sweep(seed uint64, gain, noise float64, channel string) string {
	rng := rand.New(rand.NewPCG(seed, 5))
	var b strings.Builder
	fmt.Fprintf(&b, "time [s],engine_speed [1/min],%s [N.m],manifold_pressure [kPa],lambda [1],ignition_advance [deg],knock_retard [deg],barometric_pressure [kPa],intake_temperature [Cel],relative_humidity [%%]\n", channel)
	for i := range 501 {
		t := float64(i) / 50
		s := 1500 + 500*t
		knock := math.Max(0, 2*math.Sin(s/300))
		fmt.Fprintf(&b, "%.2f,%.1f,%.2f,%.1f,%.3f,%.1f,%.2f,98.2,27.0,45\n", t, s, torqueAt(s)+gain+noise*rng.NormFloat64(),
			100+100*torqueAt(s)/300+gain/2, 0.95-0.1*torqueAt(s)/300, 8+s/400, knock)
	}
	return b.String()
}

// recorded reads a run as the command does.
func recorded(t *testing.T, number int, when, csv string) *client.RecordedRun {
	t.Helper()
	path := filepath.Join(t.TempDir(), "run.csv")
	if err := os.WriteFile(path, []byte(csv), 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := client.ReadRun(path, "")
	if err != nil {
		t.Fatal(err)
	}
	r.Entry = &recordv1.Run{Number: uint32(number), When: when}
	return r
}

// job is an input with runs and nothing changed.
func job(runs ...*client.RecordedRun) Input {
	return Input{Runs: runs, Units: Metric, Correction: run.None, Layout: &definition.Layout{ByID: map[string]*definition.Table{}},
		Job: &recordv1.Job{Number: 7, Plate: &recordv1.Text{Text: "AB12CD"}, Fuel: "98 RON", Parts: []string{"larger compressor wheel"},
			Opened: &recordv1.Event{SignedAt: "2026-03-02T09:00:00Z"}}}
}

func texts(t *testing.T, o *Outcome) (text, html string) {
	t.Helper()
	var a, b bytes.Buffer
	if err := o.WriteText(&a); err != nil {
		t.Fatal(err)
	}
	if err := o.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	return a.String(), b.String()
}

// Three runs a side, 30 N.m more: it is recovered within the noise of the means and said as shown.
func TestAGainIsShown(t *testing.T) {
	var runs []*client.RecordedRun
	for i := range 3 {
		runs = append(runs, recorded(t, i+1, "before", sweep(uint64(i), 0, 2, "torque")),
			recorded(t, i+4, "after", sweep(uint64(i)+50, 30, 2, "torque")))
	}
	o, err := Make(job(runs...))
	if err != nil {
		t.Fatal(err)
	}
	g := o.Gain
	if g == nil {
		t.Fatalf("no gain: %s", o.NoGain)
	}
	if g.MeanTorque.PlusMinus == nil || !g.MeanTorque.Shown || math.Abs(g.MeanTorque.Gain-30) > 1 {
		t.Errorf("mean torque %+v, want a gain of 30 N.m, shown", g.MeanTorque)
	}
	text, html := texts(t, o)
	if !strings.HasPrefix(text, "mean torque rose by 30.") {
		t.Errorf("the gain is not said first:\n%.200s", text)
	}
	for _, want := range []string{"at the crank", "mean torque", "+30.", "±", "Not corrected", "local law", "could have shown", "corrected twice"} {
		if !strings.Contains(text, want) {
			t.Errorf("the text does not say %q:\n%s", want, text)
		}
	}
	for _, want := range []string{"stroke-dasharray", "Torque in N·m, at the crank", "before, mean of runs", "CAUTION", "local law", "No submission"} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not hold %q", want)
		}
	}
	if where := os.Getenv("WITNESSMARK_OUTCOME"); where != "" { // to look at it
		if err := os.WriteFile(where, []byte(html), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// Between sides that differ by noise alone a gain is shown once in a hundred jobs (of 40 three or more
// are shown by chance less often than once in a hundred times); and what is not shown is said to be.
func TestNoGainIsNotShown(t *testing.T) {
	const seeds = 40
	shown := 0
	for seed := range uint64(seeds) {
		var runs []*client.RecordedRun
		for i := range uint64(3) {
			runs = append(runs, recorded(t, int(i)+1, "before", sweep(100*seed+i, 0, 3, "torque")),
				recorded(t, int(i)+4, "after", sweep(100*seed+i+50, 0, 3, "torque")))
		}
		o, err := Make(job(runs...))
		if err != nil {
			t.Fatal(err)
		}
		r := o.Rows()[2]
		if r.What != "mean torque" || r.Shown == strings.HasPrefix(r.Note, "not shown") {
			t.Fatalf("the row says two things: %+v", r)
		}
		if r.Shown {
			shown++
		}
	}
	t.Logf("%d of %d pairs of sides that differ by noise alone are said to differ", shown, seeds)
	if shown > 2 {
		t.Errorf("%d of %d gains of nothing are shown", shown, seeds)
	}
}

// The longest page there is: still two sheets of A4, which is for a browser to say (see
// TestThePagePrintsOnTwoSheets); here, that what is left out is counted.
func TestTheRestIsCounted(t *testing.T) {
	_, html := texts(t, long(t))
	for _, want := range []string{"And 28 more, on the submission", "And 8 more."} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

// long is an outcome with more of everything than a page has room for.
func long(t *testing.T) *Outcome {
	t.Helper()
	var runs []*client.RecordedRun
	for i := range 6 {
		runs = append(runs, recorded(t, i+1, "before", sweep(uint64(i), 0, 9, "torque")),
			recorded(t, i+7, "after", sweep(uint64(i)+50, 30, 9, "torque")))
	}
	in := job(runs...)
	in.Units, in.Correction = Both, run.DIN70020
	in.Job.Parts = []string{"larger compressor wheel", "larger intercooler", "exhaust without its middle silencer, 70 mm"}
	o, err := Make(in)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 40 {
		o.Changed = append(o.Changed, Changed{fmt.Sprintf("ignition.grade.%02d", i), "Base ignition advance on one of many fuels", "128 of 192 cells, -2.25 to +3.75 deg; breakpoints too"})
	}
	for _, m := range o.Runs {
		m.Remarks = []run.Remark{{Text: strings.Repeat("the ratio of engine to roller speed leaves its median ", 3)}}
	}
	o.About = "Submission 7.2 by calibrator: " + shortened(strings.Repeat("what was changed and why, ", 12)) + ". Signed off by lead, 2026-03-02T10:00:00Z; verdict warning."
	return o
}

func TestThePagePrintsOnTwoSheets(t *testing.T) {
	browser, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no chromium here")
	}
	dir := t.TempDir()
	_, html := texts(t, long(t))
	page, pdf := filepath.Join(dir, "page.html"), filepath.Join(dir, "page.pdf")
	if err := os.WriteFile(page, []byte(html), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	out, err := exec.CommandContext(ctx, browser, "--headless=new", "--no-sandbox", "--disable-gpu", "--user-data-dir="+filepath.Join(dir, "profile"),
		"--no-pdf-header-footer", "--print-to-pdf="+pdf, page).CombinedOutput()
	if err != nil {
		t.Fatalf("print: %v\n%s", err, out)
	}
	b, err := os.ReadFile(pdf)
	if err != nil {
		t.Fatal(err)
	}
	if where := os.Getenv("WITNESSMARK_OUTCOME"); where != "" {
		_ = os.WriteFile(where+".long.html", []byte(html), 0o600)
	}
	if n := len(regexp.MustCompile(`/Type\s*/Page[^s]`).FindAll(b, -1)); n != 2 {
		t.Errorf("%d sheets, want 2", n)
	}
}

func TestOneRunASideHasNoSpread(t *testing.T) {
	o, err := Make(job(recorded(t, 1, "before", sweep(1, 0, 2, "torque")), recorded(t, 2, "after", sweep(2, 30, 2, "torque"))))
	if err != nil {
		t.Fatal(err)
	}
	text, html := texts(t, o)
	for _, s := range []string{text, html} {
		if !strings.Contains(s, "spread cannot be told") {
			t.Errorf("it does not say that the spread cannot be told:\n%.2000s", text)
		}
	}
}

func TestWheelsAndCrankAreNotMixed(t *testing.T) {
	o, err := Make(job(recorded(t, 1, "before", sweep(1, 0, 2, "torque")), recorded(t, 2, "after", strings.Replace(sweep(2, 30, 2, "torque"), "torque [N.m]", "wheel_power [kW]", 1))))
	if err != nil {
		t.Fatal(err)
	}
	if o.Gain != nil || o.NoGain == "" {
		t.Fatalf("a run at the wheels was compared with one at the crank: %+v", o.Gain)
	}
	if _, html := texts(t, o); !strings.Contains(html, "not to be compared") {
		t.Error("the page draws both and does not say that they are not to be compared")
	}
}

func TestACorrectionIsNeverSilent(t *testing.T) {
	in := job(recorded(t, 1, "before", sweep(1, 0, 1, "torque")), recorded(t, 2, "after", sweep(2, 30, 1, "torque")))
	in.Correction = run.DIN70020
	o, err := Make(in)
	if err != nil {
		t.Fatal(err)
	}
	// DIN 70020's reference is 1013 mbar and 20 °C: 101.3/98.2 · √(300.15/293.15) = 1.0438.
	text, html := texts(t, o)
	for _, s := range []string{text, html} {
		if !strings.Contains(s, "70020") || !strings.Contains(s, "× 1.0438 ± 0.0") || !strings.Contains(s, "(0.93 to 1.07) at 98.2 kPa") {
			t.Errorf("the factor or its weather is not said:\n%s", text)
		}
	}
}

func TestSidesThatAreMissing(t *testing.T) {
	if _, err := Make(job()); err == nil {
		t.Error("an outcome of no runs")
	}
	o, err := Make(job(recorded(t, 1, "before", sweep(1, 0, 2, "torque"))))
	if err != nil {
		t.Fatal(err)
	}
	if text, _ := texts(t, o); !strings.Contains(text, "0 after-runs") {
		t.Errorf("it does not say what lacks:\n%s", text)
	}
	idle := "time [s],engine_speed [1/min],torque [N.m]\n"
	for i := range 200 {
		idle += fmt.Sprintf("%.2f,900,10\n", float64(i)/50)
	}
	o, err = Make(job(recorded(t, 1, "before", sweep(1, 0, 2, "torque")), recorded(t, 2, "after", idle)))
	if err != nil {
		t.Fatal(err)
	}
	if text, _ := texts(t, o); !strings.Contains(text, "run 2 (after): no curve: ") {
		t.Errorf("a run without a sweep is not said:\n%s", text)
	}
}

// The page comes from nowhere else, and what people wrote stays text.
func TestThePageHoldsItself(t *testing.T) {
	in := job(recorded(t, 1, "before", sweep(1, 0, 2, "torque")), recorded(t, 2, "after", sweep(2, 30, 2, "torque")))
	in.Job.Parts = []string{`<script>alert(1)</script>`, "\x1b[31mred"}
	o, err := Make(in)
	if err != nil {
		t.Fatal(err)
	}
	text, html := texts(t, o)
	if strings.Contains(html, "<script") || strings.Contains(text, "\x1b") {
		t.Error("what somebody wrote became part of the page")
	}
	if m := regexp.MustCompile(`(?i)(src|href)\s*=|url\(|@import`).FindString(html); m != "" {
		t.Errorf("the page asks for something from elsewhere: %s", m)
	}
	if strings.Contains(html, "NaN") || strings.Contains(html, "Inf") {
		t.Error("a number of the drawing is none")
	}
}

// Units: 1 lbf = 0.45359237 kg · 9.80665 m/s², 1 ft = 0.3048 m, 1 hp = 550 ft·lbf/s,
// 1 PS = 75 kgf·m/s, all exact by definition.
func TestUnits(t *testing.T) {
	pound := 0.45359237 * 9.80665 * 0.3048
	for _, c := range []struct{ got, want float64 }{
		{newtonMetresPerPoundFoot, pound}, {kilowattsPerHorsepower, 550 * pound / 1000}, {kilowattsPerPS, 75 * 9.80665 / 1000},
	} {
		if math.Abs(c.got-c.want) > 1e-15*c.want*4 {
			t.Errorf("%v, want %v", c.got, c.want)
		}
	}
	if got := Text(100, Both.Power(), true); got != "+100.0 kW / +136.0 PS / +134.1 hp" {
		t.Error(got)
	}
	if got := Text(-100, Imperial.Torque(), true); got != "−73.8 lb·ft" {
		t.Error(got)
	}
	if _, err := ParseUnits("SI"); err == nil {
		t.Error("SI passed")
	}
}

// Two pulls in one file are two runs of their side, and a run cut short does not cut the others' means
// without a word.
func TestSweepsOfOneFile(t *testing.T) {
	first := sweep(1, 0, 1, "torque")
	two := first
	for i, line := range strings.Split(strings.TrimSpace(sweep(2, 0, 1, "torque")), "\n")[1:] {
		_, rest, _ := strings.Cut(line, ",")
		two += fmt.Sprintf("%.2f,%s\n", 20+float64(i)/50, rest)
	}
	lines := strings.Split(sweep(3, 30, 1, "torque"), "\n")
	o, err := Make(job(recorded(t, 1, "before", two), recorded(t, 2, "after", sweep(4, 30, 1, "torque")), recorded(t, 3, "after", strings.Join(lines[:380], "\n")+"\n")))
	if err != nil {
		t.Fatal(err)
	}
	if len(o.Runs) != 4 || o.Runs[1].Name != "run 1 (before), sweep 2" || o.Gain.GetRunsBefore() != 2 || o.Gain.GetRunsAfter() != 2 {
		t.Fatalf("%d runs, %v", len(o.Runs), o.Gain)
	}
	text, html := texts(t, o)
	for _, s := range []string{text, html} {
		if !strings.Contains(s, "cut short: run 3 (after) ends at 5") {
			t.Errorf("it does not say that a run cut the others short:\n%s", text)
		}
	}
}

// Times are written as people do.
func TestNoRawTimes(t *testing.T) {
	in := job(recorded(t, 1, "before", sweep(1, 0, 2, "torque")))
	event := &recordv1.Event{Person: "technician", SignedAt: "2026-03-02T09:30:00Z"}
	in.Job.InCar = &recordv1.InCar{Job: 7, Submission: 1, Known: true, KnownBy: "read-back", Since: event}
	o, err := Make(in)
	if err != nil {
		t.Fatal(err)
	}
	text, html := texts(t, o)
	for _, s := range []string{text, html} {
		if strings.Contains(s, "T09:") || !strings.Contains(s, "2 Mar 2026, 09:30 UTC") {
			t.Errorf("raw times:\n%s", s)
		}
	}
}
