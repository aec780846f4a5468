package desk

import (
	"encoding/hex"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"witnessmark/client"
	"witnessmark/client/desk/view/structured"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// pagesOf is every page that has something on it, of a full world.
var pagesOf = map[string]string{
	"tray": "/", "jobs": "/jobs", "card": "/job/1", "card-changed": "/job/2", "card-erased": "/job/3", "sheet": "/sheet/1.1?all=1", "sheet-scripted": "/sheet/1.2", "table": "/sheet/1.1/table/ignition.98", "ledger": "/ledger",
	"open": "/job/new", "read": "/job/1/read", "submit": "/job/1/submit", "collect": "/job/1/collect", "as-found": "/job/1/asfound", "readback": "/job/1/readback",
	"run": "/job/1/run", "note": "/job/1/note", "amend": "/job/1/amend", "void": "/job/1/void", "close": "/job/1/close", "settle": "/job/2/settle",
	"reopen": "/job/3/reopen", "erase": "/job/3/erase", "problem": "/job/9", "report": "/report/1.back1", "report-read": "/report/2.read1", "report-table": "/report/2.read1/table/ignition.98", "search": "/search?text=boost", "search-none": "/search", "jobs-filtered": "/jobs?verdict=danger&sort=worst&text=hc", "jobs-refused": "/jobs?person=nobody",
	"between": "/job/1/between?a=1.1&b=1.2", "curve": "/sheet/1.2/table/boost.target", "runs": "/job/1/runs", "outcome": "/job/1/outcome", "visited": "/sheet/1.2?all=1",
	"structures": "/sheet/5.1?all=1", "structures-2": "/sheet/5.2?all=1", "structures-between": "/job/5/between?a=5.1&b=5.2", "structures-read": "/report/5.read1", "block": "/sheet/5.1/table/torque?slice=1&at=0,2",
	"block-4": "/sheet/5.1/table/trim", "counts": "/sheet/5.2/table/flow", "slices-moved": "/sheet/5.2/table/layers?slice=2", "text": "/sheet/5.1/table/note", "astray": "/sheet/5.2/table/ramp",
	"definitions": "/catalog/definition", "limits": "/catalog/limits", "definition": "/catalog/definition/dx1-1.8t", "difference": "/catalog/limits/structured?against=1", "limits-remarks": "/catalog/limits/structured",
	"add-definition": "/add/definition", "add-limits": "/add/limits", "add-from": "/add/limits?from=dx1-road-98", "proposal": "/propose?definition=dx1-1.8t&job=1",
	"labels": "/sheet/5.1/table/per-gear", "block-labels": "/sheet/5.1/table/states", "meant": "/job/5/submit", "search-known": "/search?text=tq&definition=structured",
	"people": "/people", "people-refused": "/people/enrol?line=witnessmark+introduction", "retire": "/people/retire?name=calibrator", "enrol": "/people/enrol?line=" + url.QueryEscape(introduction("technician")), "enrol-alike": "/people/enrol?line=" + url.QueryEscape(introduction("calibrat0r")),
}

// everyLook is a laptop in the dark, a laptop, a tablet, the laptop at 200 % zoom, and a telephone; axe-core looks, too, where colours
// are others, and where there is so little room that grids scroll.
var everyLook = []struct {
	scheme string
	width  int64
	axe    bool
}{{"dark", 1280, true}, {"light", 1280, true}, {"light", 800, false}, {"light", 640, true}, {"light", 400, false}}

// TestPagesFit looks at every page in every way: nothing may stick out, every field has a label, the policy lets everything through
// that the page asks for, and axe-core finds nothing with any of its rules. With WITNESSMARK_SHOTS=DIR the pages are kept as pictures.
func TestPagesFit(t *testing.T) {
	looks(t)
	axe := axeScript()
	w := begin(t, "full", func(w *world) { w.full() })
	b := w.opens(w.lead)
	for name, path := range pagesOf {
		b.goes(path)
		b.everyLook(axe, name)
	}
	b.headingsStay()
	b.statement()
	b.everyLook(axe, "statement")
	b.collected(w)
	b.everyLook(axe, "collected")
	if axe == "" {
		lacks(t, noAxe)
	}
}

// everyLook looks at the page that is there.
func (b *tab) everyLook(axe, name string) {
	b.Helper()
	for _, look := range everyLook {
		b.scheme(look.scheme)
		b.fits(name, look.width, look.scheme)
		if look.axe {
			b.judged(axe, fmt.Sprintf("%s, %s at %d", name, look.scheme, look.width))
		}
	}
	b.scheme("light")
}

// introduction is the line of somebody who has the key of RFC 8032's first test, section 7.1.
func introduction(name string) string {
	key, err := hex.DecodeString("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
	if err != nil {
		panic(err)
	}
	return client.Introduction{Name: name, Roles: []string{"technician"}, Key: signoff.FormatPublicKey(key)}.String()
}

// TestWelcomeFits looks at the pages of a desk that is nobody's yet as at the others.
func TestWelcomeFits(t *testing.T) {
	looks(t)
	axe := axeScript()
	w := newWorld(t)
	w.lead = w.nobodys("new")
	b := w.tab(w.lead)
	b.enters()
	b.sees("This machine knows no workshop yet")
	b.everyLook(axe, "welcome")
	b.follows("Start a workshop here")
	b.presses("Start the workshop")
	b.sees("needs a passphrase")
	b.everyLook(axe, "start")
	b.goes("/join")
	b.presses("Go on")
	b.everyLook(axe, "join")
	i, err := w.calibrator.client.Invite()
	w.must(err)
	b.fills("name", "new")
	b.fills("invitation", i.String())
	b.ticks("calibrator")
	b.fills("passphrase", passphrase)
	b.fills("again", passphrase)
	b.presses("Go on")
	b.line("witnessmark introduction ")
	b.everyLook(axe, "joining")
	w.must(w.srv.Stop())
	b.sees("asked again every few seconds")
	b.everyLook(axe, "joining-away")
	last := len(w.stop) - 1 // theirs began last
	w.must(w.stop[last]())
	w.stop = w.stop[:last]
	*w.lead = *w.nobodys("new")
	b.enters()
	b.presses("Go on")
	b.sees("wrong passphrase: nothing was typed")
	b.everyLook(axe, "joining-locked")
	closed := w.tab(w.nobodys("lead"))
	closed.enters()
	closed.sees("Your key is closed")
	closed.everyLook(axe, "unlock")
	if axe == "" {
		lacks(t, noAxe)
	}
}

// headingsStay scrolls a grid that is wider than a telephone: its row headings stay where they are seen.
func (b *tab) headingsStay() {
	b.Helper()
	b.do(chromedp.EmulateViewport(400, 900))
	b.goes("/sheet/1.1/table/ignition.98")
	b.until("a row heading in view beside the last column", `(frame => { frame.scrollLeft = frame.scrollWidth; const f = frame.getBoundingClientRect();
		return frame.scrollLeft > 100 && [...frame.querySelectorAll("tbody th, thead td")].every(e => { const r = e.getBoundingClientRect(); return r.left >= f.left - 1 && r.right < f.right }) })(
		document.querySelector("[data-pane=difference]").parentElement)`)
}

// measure looks at the page that is there at each width.
func (b *tab) measure(name string) {
	b.Helper()
	for _, look := range everyLook[1:] {
		b.fits(name, look.width, look.scheme)
	}
}

// statement goes to what would be signed.
func (b *tab) statement() {
	b.Helper()
	b.goes("/sheet/4.1")
	b.types("because:advance-ceiling:ignition.98", "no knock on the rolling road")
	b.follows("Read the exact statement")
	b.sees("What you are about to sign")
}

// collected collects a release, and goes to what was collected.
func (b *tab) collected(w *world) {
	b.Helper()
	b.goes("/job/1/collect?submission=1")
	b.chooses("fresh", w.demo("asfound.bin"))
	b.confirms("Collect a release")
	b.sees("Bay sheet")
}

// waits opens a job of another car, with a submission that waits.
func (w *world) waits(plate, file string) uint32 {
	w.Helper()
	j, err := w.technician.client.OpenJob(ctx, client.NewJob{Definition: "dx1-1.8t", Details: client.Details{Plate: plate, Limits: "dx1-road-98", Fuel: "98 RON", Car: client.AnotherCar}})
	w.must(err)
	_, _, err = w.technician.client.AddRead(ctx, client.NewRead{Job: j.GetNumber(), Path: w.demo("asfound.bin")})
	w.must(err)
	_, _, err = w.calibrator.client.Submit(ctx, client.NewSubmission{Job: j.GetNumber(), Path: w.demo(file), Note: "for the larger wheel"})
	w.must(err)
	return j.GetNumber()
}

// full is a job with runs, a release that was written and read back as something else, and a newer
// submission that nobody may sign; one that was erased; and one whose car somebody changed.
func (w *world) full() *world {
	w.Helper()
	w.twoSubmissions().demoRuns()
	_, err := w.technician.client.Collect(ctx, client.Collecting{Job: 1, Submission: 1, Out: w.path("out.bin"), FreshRead: w.demo("asfound.bin")})
	w.must(err)
	_, err = w.technician.client.AddNote(ctx, client.NewNote{About: record.Name{Job: 1}, Text: "The second gear pull was cut short by the fan belt.", Files: []string{w.demo("dx1-road-98.yaml")}})
	w.must(err)
	for _, plate := range []string{"HC 18", "HC 2"} {
		_, err := w.technician.client.OpenJob(ctx, client.NewJob{Definition: "dx1-1.8t", Details: client.Details{Plate: plate, Limits: "dx1-road-98", Fuel: "98 RON"}})
		w.must(err)
	}
	_, _, err = w.technician.client.AddRead(ctx, client.NewRead{Job: 2, Path: w.demo("submission-2.bin")})
	w.must(err)
	w.waits("HC 7", "submission-2.bin")
	_, err = w.technician.client.Readback(ctx, 1, w.demo("submission-1.bin"), "")
	w.must(err)
	_, err = w.technician.client.CloseJob(ctx, 3, "cancelled", "the car did not come")
	w.must(err)
	_, err = w.lead.client.Erase(ctx, 3, false, "its owner asked for it")
	w.must(err)
	w.structured(5)
	return w
}

// structured is a job of a controller that has one of each structure, with a submission that changes all of them and one that
// uses other counts and leads outside.
func (w *world) structured(job uint32) {
	w.Helper()
	file := func(name string, body []byte) string {
		w.must(os.WriteFile(w.path(name), body, 0o600))
		return w.path(name)
	}
	_, _, err := w.lead.client.AddDocument(ctx, client.Definitions, file("structured.yaml", []byte(structured.Definition)))
	w.must(err)
	_, _, err = w.lead.client.AddDocument(ctx, client.Limits, file("structured-limits.yaml", []byte(structured.Limits)))
	w.must(err)
	j, err := w.technician.client.OpenJob(ctx, client.NewJob{Definition: "structured", Details: client.Details{Plate: "HC 3", Limits: "structured", Fuel: "98 RON"}})
	w.must(err)
	if j.GetNumber() != job {
		w.Fatalf("it is job %d, want %d", j.GetNumber(), job)
	}
	image := structured.Image()
	_, _, err = w.technician.client.AddRead(ctx, client.NewRead{Job: job, Path: file("structured.bin", image)})
	w.must(err)
	structured.Everywhere(image)
	_, _, err = w.calibrator.client.Submit(ctx, client.NewSubmission{Job: job, Path: file("structured-1.bin", image), Note: "hill stage", MeantGiven: true, Meant: []string{"torque", "note"}})
	w.must(err)
	structured.Flow(image, []uint16{1000, 1500, 3000}, []byte{20, 80}, []byte{1, 7, 5, 3, 8, 6})
	image[0x70], image[0xB0], image[1] = 0x10, 3, 102
	_, _, err = w.calibrator.client.Submit(ctx, client.NewSubmission{Job: job, Path: file("structured-2.bin", image), Note: "more points"})
	w.must(err)
	_, _, err = w.lead.client.AddDocument(ctx, client.Limits, file("structured-limits.yaml", []byte(strings.Replace(structured.Limits, "The gearbox.", "What the gearbox bears.", 1))))
	w.must(err)
	w.must(w.lead.client.Sync(ctx))
}

// twoSubmissions is a job with a release and a newer submission that nobody may sign.
func (w *world) twoSubmissions() *world {
	w.Helper()
	w.submitted("submission-2.bin")
	r, err := w.lead.client.Review(ctx, 1, 1)
	w.must(err)
	_, err = w.lead.client.SignOff(ctx, r, map[string]string{"advance-ceiling:ignition.98": "no knock on the rolling road"}, nil)
	w.must(err)
	_, _, err = w.calibrator.client.Submit(ctx, client.NewSubmission{Job: 1, Path: w.demo("submission-1.bin"), Note: "more boost",
		MeantGiven: true, Meant: []string{"boost.target", "lambda.target", "ignition.dwell"}})
	w.must(err)
	w.must(w.lead.client.Sync(ctx))
	return w
}

func (b *tab) lookAt(name, path string, width int64, scheme string) {
	b.Helper()
	b.scheme(scheme)
	b.goes(path)
	b.fits(name, width, scheme)
}

func (b *tab) fits(name string, width int64, scheme string) {
	b.Helper()
	b.do(chromedp.EmulateViewport(width, 900))
	// What lies out of sight of a long list is laid out as well.
	eval[bool](b, `(() => { const all = new CSSStyleSheet(); all.replaceSync("* { content-visibility: visible !important }"); document.adoptedStyleSheets = [all]; return true })()`)
	what := fmt.Sprintf("%s at %d, %s", name, width, scheme)
	if wide := eval[int64](b, `document.documentElement.scrollWidth`); wide > width {
		b.Errorf("%s: %d pixels wide; sticking out: %s", what, wide, eval[string](b,
			`[...document.querySelectorAll("main *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest(".scroll, .card")).slice(0, 4).map(e => e.outerHTML.slice(0, 120)).join(" | ")`))
	}
	if bare := eval[string](b, `[...document.querySelectorAll("main input:not([type=hidden]), main select, main textarea")].filter(e => !e.labels.length).map(e => e.name).join(" ")`); bare != "" {
		b.Errorf("%s: fields without a label: %s", what, bare)
	}
	if n := eval[int](b, `document.querySelectorAll("h1").length`); n != 1 {
		b.Errorf("%s: %d main headings", what, n)
	}
	// On a telephone lists are stacked, so that nothing of them is cut; grids scroll inside themselves.
	if cut := eval[string](b, `[...document.querySelectorAll("main .list")].filter(e => e.parentElement.scrollWidth > e.parentElement.clientWidth + 1).map(e => e.textContent.slice(0, 60)).join(" | ")`); cut != "" && width == 400 {
		b.Errorf("%s: a list is cut: %s", what, cut)
	}
	b.keeps(fmt.Sprintf("%s-%d-%s", name, width, scheme))
}

// keeps takes a picture of the page, where somebody wants to look at it.
func (b *tab) keeps(name string) {
	b.Helper()
	dir := os.Getenv("WITNESSMARK_SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.Logf("no picture of %s: %v", name, err) // it is larger than a browser draws at once
		return
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o600); err != nil {
		b.Fatal(err)
	}
}

// scheme is light or dark.
func (b *tab) scheme(name string) {
	b.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}}})
	if err != nil {
		b.Fatal(err)
	}
}
