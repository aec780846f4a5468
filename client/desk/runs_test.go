package desk

import (
	"fmt"
	"html"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// pull is an invented run: torque is 200 N.m + gain all the way from 2000 to 6000 1/min, give or
// take 0.1 N.m so that it does not look stuck; power is torque times pi/30 times engine speed.
func pull(gain float64) string {
	var b strings.Builder
	b.WriteString("time [s],engine_speed [1/min],torque [N.m],manifold_pressure [kPa],lambda [1],ignition_advance [deg],knock_retard [deg]\n")
	for i := range 401 {
		t := float64(i) / 50
		fmt.Fprintf(&b, "%.2f,%.0f,%.1f,%.1f,%.3f,%.1f,%.1f\n", t, 2000+500*t, 200+gain+0.1*float64(i%3-1), 150+t+gain/10, 0.9-t/100, 12+t, t/10)
	}
	return b.String()
}

// adds posts a run as the form does.
func (b *browser) adds(when, name, csv, channels string) (int, string) {
	b.Helper()
	return b.sends("/job/1/run", url.Values{"when": {when}}, map[string][2]string{"file": {name, csv}, "channels": {name, channels}})
}

func (b *browser) shows(path string, words ...string) string {
	b.Helper()
	status, body := b.get(path)
	body = html.UnescapeString(body)
	if status != http.StatusOK {
		b.Errorf("%s: status %d", path, status)
	}
	for _, s := range words {
		if !strings.Contains(body, s) {
			b.Errorf("%s does not hold %q", path, s)
		}
	}
	return body
}

// TestRunsAndOutcomeHoldTheNumbers: power is torque times angular speed; a gain of 30 N.m is told.
func TestRunsAndOutcomeHoldTheNumbers(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	b := w.inside(w.technician.desk)
	b.shows("/job/1/runs", "has no run yet", `href="/job/1/run"`)
	b.shows("/job/1/outcome", "has no run yet")
	for _, r := range []struct {
		when string
		gain float64
	}{{"before", 0}, {"after", 30}} {
		if status, body := b.adds(r.when, "pull.csv", pull(r.gain), ""); status != http.StatusSeeOther {
			t.Fatalf("%s: %d %s", r.when, status, body)
		}
	}
	runs := b.shows("/job/1/runs", "run 1 (before)", "run 2 (after)", "200.0 N·m", "230.0 N·m",
		"Manifold pressure, absolute in kPa", "Lambda", "Ignition advance in °", "Knock retard in °", "nothing was found", "cannot be told")
	// The sweep ends just short of 6000 1/min: the peak is at the speed that the page says.
	peak := regexp.MustCompile(`<td>([0-9.]+) kW / ([0-9.]+) PS at ([0-9]+) 1/min`)
	found := peak.FindAllStringSubmatch(runs, -1)
	if len(found) != 2 {
		t.Fatalf("%d peaks of power", len(found))
	}
	for i, f := range found {
		var kw, ps, at float64
		_, err := fmt.Sscan(f[1]+" "+f[2]+" "+f[3], &kw, &ps, &at)
		w.must(err)
		if want := (200 + 30*float64(i)) * at * math.Pi / 30 / 1000; at < 5700 || math.Abs(kw-want) > 0.1 || math.Abs(ps-want/0.73549875) > 0.14 {
			t.Errorf("%s: want %.2f kW, %.2f PS", f[0], want, want/0.73549875)
		}
	}
	for _, class := range []string{`class="b"`, `class="a"`, `class="d bd"`, `class="d ad"`} {
		if strings.Count(runs, class) < 2 {
			t.Errorf("no %s in both drawings", class)
		}
	}
	b.shows("/job/1/runs?units=imperial", "147.5 lb·ft") // 200 / 1.3558179
	out := b.shows("/job/1/outcome", "+30.0 N·m", "spread cannot be told", "mean torque", "No submission of this job was released", "caution", "local law")
	for path, page := range map[string]string{"runs": runs, "outcome": out} {
		if regexp.MustCompile(`<style|\sstyle=|<script>|\son[a-z]+=`).MatchString(page) {
			t.Errorf("%s holds a style or a script that the policy keeps out", path)
		}
	}
	if status, _ := b.get("/job/1/runs?units=furlongs"); status != http.StatusNotFound {
		t.Errorf("unknown units: status %d", status)
	}
	b.shows("/job/1", `href="/job/1/outcome"`, "run 1 of 1.read1 added, before")
}

// TestABadRunEntersNothing: the place of the mistake is said, and the ledger stays as it was.
func TestABadRunEntersNothing(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	b := w.inside(w.technician.desk)
	bad := strings.Replace(pull(0), "\n0.04,2020,", "\n0.04,2020,much", 1)
	w.must(w.technician.client.Sync(ctx))
	size := w.technician.client.Head().Size
	for _, c := range []struct{ what, when, csv, channels, says string }{
		{"no number", "before", bad, "", `pull.csv:4: column torque [N.m]: "much`},
		{"no file", "before", "", "", "Choose a file first"},
		{"no side", "", pull(0), "", "When it was driven"},
		{"a bad channel file", "before", pull(0), "channels: 7\n", "pull.csv"},
	} {
		status, body := b.adds(c.when, "pull.csv", c.csv, c.channels)
		if status != http.StatusUnprocessableEntity || !strings.Contains(body, c.says) || strings.Contains(body, w.technician.desk.dir) {
			t.Errorf("%s: %d, want %q in %s", c.what, status, c.says, regexp.MustCompile(`(?s)<div class="notice bad".*?</div>`).FindString(body))
		}
	}
	w.must(w.technician.client.Sync(ctx))
	if got := w.technician.client.Head().Size; got != size {
		t.Errorf("%d entries, want %d", got, size)
	}
	if _, body := w.inside(w.calibrator.desk).adds("before", "pull.csv", pull(0), ""); strings.Contains(body, "You added") {
		t.Error("a calibrator added a run")
	}
	w.inside(w.calibrator.desk).shows("/job/1/runs", "technician's or a lead's to do")
}

// demoRuns adds the demo's runs to job 1.
func (w *world) demoRuns() *world {
	w.Helper()
	for _, when := range []string{"before", "after"} {
		for i := range 3 {
			_, err := w.technician.client.AddRun(ctx, 1, filepath.Join("..", "..", "testdata", "runs", fmt.Sprintf("%s-%d.csv", when, i+1)), "", when)
			w.must(err)
		}
	}
	w.must(w.lead.client.Sync(ctx))
	return w
}

// TestTheSheetSaysWhatWasVisited: longest first, with before-runs alone.
func TestTheSheetSaysWhatWasVisited(t *testing.T) {
	w := twoSubmissionsWorld(t)
	b := w.inside(w.lead.desk)
	if _, body := b.get("/sheet/1.2"); strings.Contains(body, "the before-run visited") {
		t.Error("a sheet without runs tells what they visited")
	}
	w.demoRuns()
	body := b.shows("/sheet/1.2", "Changed cells that the before-run visited", "over 3 before-runs")
	times := regexp.MustCompile(`<td>([0-9.]+) s</td>`).FindAllStringSubmatch(body, -1)
	if len(times) < 2 {
		t.Fatalf("%d visited cells", len(times))
	}
	last := math.Inf(1)
	for _, m := range times {
		var s float64
		_, err := fmt.Sscan(m[1], &s)
		w.must(err)
		if s > last {
			t.Errorf("%.2f s after %.2f s", s, last)
		}
		last = s
	}
}

// TestRunPagesFit looks at the pages of runs as TestPagesFit does at the others, and at their paper.
func TestRunPagesFit(t *testing.T) {
	looks(t)
	w := twoSubmissionsWorld(t).demoRuns()
	b := w.opens(w.lead)
	for name, path := range map[string]string{"runs": "/job/1/runs", "outcome": "/job/1/outcome", "visited": "/sheet/1.2"} {
		for _, width := range []int64{1280, 640} {
			b.lookAt(name, path, width, "light")
		}
	}
	b.goes("/job/1/outcome")
	if got := eval[string](b, `getComputedStyle(document.querySelector(".runplot path.b")).strokeDasharray`); got == "none" || got == "" {
		t.Errorf("before is not dashed: %q", got)
	}
	if got := eval[string](b, `getComputedStyle(document.querySelector(".runplot path.a")).strokeDasharray`); got != "none" {
		t.Errorf("after is not solid: %q", got)
	}
	pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize(), chromedp.PDFPrintBackground()))
	w.must(err)
	sizes := mediaBox.FindAllSubmatch(pdf, -1)
	if len(sizes) != 2 {
		t.Errorf("the outcome prints to %d pages, want 2", len(sizes))
	}
	for _, s := range sizes {
		if !strings.HasPrefix(string(s[1]), "59") || !strings.HasPrefix(string(s[2]), "84") {
			t.Errorf("a page of %s by %s points; A4 is 595 by 842", s[1], s[2])
		}
	}
	if dir := os.Getenv("WITNESSMARK_SHOTS"); dir != "" {
		w.must(os.WriteFile(filepath.Join(dir, "outcome.pdf"), pdf, 0o600))
	}
}
