package desk

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	cdp "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"witnessmark/client"
)

const (
	manyMaps = 200
	side     = 24
)

// many is a definition of maps of 24 by 24, limits that look at each, and an image.
func many(maps int) (definition, limits string, image []byte) {
	var d, l strings.Builder
	size := maps * side * side
	fmt.Fprintf(&d, "name: many\ntitle: Many maps\nbyte_order: big\nimage: {start: 0x0, size: 0x%x, segments: [{start: 0x0, end: 0x%x, content: calibration}]}\ntables:\n", size, size)
	points := func(step int) string {
		out := make([]string, side)
		for i := range out {
			out[i] = fmt.Sprint((i + 1) * step)
		}
		return strings.Join(out, ", ")
	}
	var names []string
	for i := range maps {
		names = append(names, fmt.Sprintf("map.%03d", i))
		fmt.Fprintf(&d, "  - id: %s\n    quantity: ignition_advance\n    unit: deg\n    stored: {address: 0x%x, type: u8}\n"+
			"    x: {id: %[1]s.rpm, quantity: engine_speed, unit: 1/min, points: [%[3]s]}\n    y: {id: %[1]s.load, quantity: relative_load, unit: \"%%\", points: [%[4]s]}\n",
			names[i], i*side*side, points(300), points(8))
	}
	fmt.Fprintf(&l, "name: many-98\ntitle: Many\napplies_to: [many]\nrules:\n  - {id: ceiling, severity: warning, select: {tables: [%s]}, range: {unit: deg, min: 0, max: 40}, reason: knock, source: common practice}\n", strings.Join(names, ", "))
	return d.String(), l.String(), make([]byte, size)
}

// manyChanged is a job with a submission that changes every cell of so many maps, and one cell of each to what lies above the ceiling.
func (w *world) manyChanged(maps int) *world {
	w.Helper()
	definition, limits, image := many(maps)
	for name, body := range map[string]string{"many.yaml": definition, "many-limits.yaml": limits, "many.bin": string(image)} {
		w.must(os.WriteFile(w.path(name), []byte(body), 0o600))
	}
	_, _, err := w.lead.client.AddDocument(ctx, client.Definitions, w.path("many.yaml"))
	w.must(err)
	_, _, err = w.lead.client.AddDocument(ctx, client.Limits, w.path("many-limits.yaml"))
	w.must(err)
	_, err = w.technician.client.OpenJob(ctx, client.NewJob{Definition: "many", Details: client.Details{Plate: "HC 18", Limits: "many-98"}})
	w.must(err)
	_, _, err = w.technician.client.AddRead(ctx, client.NewRead{Job: 1, Path: w.path("many.bin")})
	w.must(err)
	for i := range image {
		image[i] = byte(10 + i%37)
	}
	for i := range maps {
		image[i*side*side+7] = 50
	}
	w.must(os.WriteFile(w.path("many.bin"), image, 0o600))
	_, _, err = w.calibrator.client.Submit(ctx, client.NewSubmission{Job: 1, Path: w.path("many.bin"), Note: "all of them"})
	w.must(err)
	w.must(w.lead.client.Sync(ctx))
	return w
}

// noticed notes in a page when its verdict and the last of its findings are painted, in milliseconds from where somebody went to it.
const noticed = `new MutationObserver((_, o) => {
	if (!document.querySelector("[aria-labelledby=findings]")?.nextElementSibling || window.asked) return;
	window.asked = true; o.disconnect();
	requestAnimationFrame(() => setTimeout(() => { window.read = performance.now() }));
}).observe(document, {childList: true, subtree: true})`

// anew is a person's client and desk as they have just been started, with nothing fetched yet of what a sheet needs.
func (w *world) anew(name string) *person {
	w.Helper()
	home := &client.Home{Dir: w.path("home-" + name)}
	c, err := client.Open(home, func(string) ([]byte, error) { return []byte(passphrase), nil })
	w.must(err)
	d, err := Start(Options{Client: c})
	w.must(err)
	w.must(c.Look(ctx))
	return &person{name, c, d}
}

func (w *world) forgets(p *person) {
	w.Helper()
	w.must(os.RemoveAll(filepath.Join(w.path("home-"+p.name), "blobs")))
}

func (w *world) ends(p *person) {
	w.Helper()
	w.must(p.desk.Close())
	w.must(p.client.Close())
}

// BenchmarkSheet is how long a sheet takes in Chromium until its verdict and findings are painted, in times of the calls behind
// it: catching up, fetching, and comparing again. Each visit is the first of its client; turn by turn, each the best of its turns; at
// most twice. Beside it what a page of the desk with nothing on it takes to be painted.
func BenchmarkSheet(b *testing.B) {
	chromium(b)
	for _, maps := range []int{40, 200} {
		b.Run(fmt.Sprint(maps), func(b *testing.B) {
			w := newWorld(b).manyChanged(maps)
			p := w.opens(w.lead)
			p.do(chromedp.EmulateViewport(1280, 900))
			_, err := chromedp.Call(p.ctx, cdp.AddScriptToEvaluateOnNewDocument, cdp.AddScriptToEvaluateOnNewDocumentParams{Source: noticed})
			w.must(err)
			least := map[string]time.Duration{}
			note := func(what string, took time.Duration) {
				if was, ok := least[what]; !ok || took < was {
					least[what] = took
				}
			}
			ms := func(script string) time.Duration {
				p.until(script, script+" > 0")
				return time.Duration(eval[float64](p, script) * float64(time.Millisecond))
			}
			for range 12 {
				direct := w.anew("lead")
				w.forgets(direct)
				start := time.Now()
				w.must(direct.client.Look(ctx))
				_, err := direct.client.Review(ctx, 1, 1)
				note("calls", time.Since(start))
				w.must(err)
				w.ends(direct)

				p.p = w.anew("lead")
				p.do(chromedp.Navigate("file://" + p.p.desk.DoorFile()))
				p.sees("waits for you")
				p.goes("/nothing")
				note("nothing", ms(`performance.getEntriesByName("first-contentful-paint")[0]?.startTime`))
				w.forgets(p.p)
				p.goes("/sheet/1.1")
				note("read", ms("window.read"))
				note("answered", ms(`performance.getEntriesByType("navigation")[0].responseStart`))
				note("whole", ms(`performance.getEntriesByType("navigation")[0].loadEventEnd`))
				w.ends(p.p)
			}
			for b.Loop() {
			}
			for what, took := range least {
				b.ReportMetric(float64(took.Microseconds())/1000, what+"-ms")
			}
			b.ReportMetric(float64(least["read"])/float64(least["calls"]), "×")
		})
	}
}

// TestVerdictComesFirst: pictures come as they are reached, and the last of two hundred does.
func TestVerdictComesFirst(t *testing.T) {
	looks(t)
	w := newWorld(t).manyChanged(manyMaps)
	b := w.opens(w.lead)
	b.do(chromedp.EmulateViewport(1280, 900))
	b.goes("/sheet/1.1")
	text := eval[string](b, `document.body.textContent`)
	if !strings.Contains(text, "Findings, worst first") || strings.Count(text, "ceiling") < manyMaps {
		t.Fatalf("findings are missing: %d", strings.Count(text, "ceiling"))
	}
	if later := eval[int](b, `document.querySelectorAll("[data-fragment]").length`); later < manyMaps/2 {
		t.Errorf("only %d of %d pictures waited", later, manyMaps)
	}
	eval[bool](b, `(document.querySelector(".card:last-child").scrollIntoView(), true)`)
	b.until("the last picture, which was reached", `!document.querySelector(".card:last-child").hasAttribute("data-fragment")`)
	for name, path := range map[string]string{"many": "/sheet/1.1", "many-table": "/sheet/1.1/table/map.100", "many-submit": "/job/1/submit"} {
		b.goes(path)
		b.measure(name)
	}
}

// pausing notes what had been sent when a page paused for the first time.
type pausing struct {
	*httptest.ResponseRecorder
	first string
}

func (p *pausing) Flush() {
	if p.first == "" {
		p.first = p.Body.String()
	}
}

// TestVerdictIsSentBeforeAnyDrawing: verdict and findings are on their way before a picture is drawn or a run is asked for, whether
// a script fetches pictures later or not.
func TestVerdictIsSentBeforeAnyDrawing(t *testing.T) {
	w := twoSubmissionsWorld(t)
	in, handler := w.inside(w.lead.desk), w.lead.desk.handler()
	rev, err := w.lead.client.Review(ctx, 1, 2)
	w.must(err)
	for _, c := range []struct {
		path, cookie string
		pictures     int
	}{{"/sheet/1.2", "", len(rev.Report.GetTables())}, {"/sheet/1.2", "pictures-later", 0}, {"/sheet/1.2?all=1", "pictures-later", len(rev.Report.GetTables())}} {
		r := in.request("GET", c.path, nil, typed)
		for _, one := range in.http.Jar.Cookies(r.URL) {
			r.AddCookie(one)
		}
		if c.cookie != "" {
			r.AddCookie(&http.Cookie{Name: c.cookie, Value: "yes"})
		}
		to := &pausing{ResponseRecorder: httptest.NewRecorder()}
		handler.ServeHTTP(to, r)
		for _, f := range rev.Report.GetFindings() {
			if !strings.Contains(to.first, f.GetRule()+"</b>") {
				t.Errorf("%s: %s is not among what was sent first", c.path, client.Key(f))
			}
		}
		if !strings.Contains(to.first, `<div class="head"><span class="verdict v-danger">`) || strings.Contains(to.first, `class="card"`) || strings.Contains(to.first, "<svg") {
			t.Errorf("%s: sent first was %s", c.path, to.first)
		}
		rest := to.Body.String()[len(to.first):]
		waiting := strings.Count(rest, "data-fragment=")
		if got := strings.Count(rest, `<h3><a href="/sheet/1.2/table/`); got != c.pictures || got+waiting != len(rev.Report.GetTables()) || !strings.HasSuffix(strings.TrimSpace(rest), "</html>") {
			t.Errorf("%s with %q: %d pictures and %d to come; want %d of %d", c.path, c.cookie, got, waiting, c.pictures, len(rev.Report.GetTables()))
		}
	}
}
