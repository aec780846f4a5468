package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// chromium is a browser to click with, or the test is skipped.
func chromium(t testing.TB) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	lacks(t, "no Chromium here: apt-get install chromium")
	return ""
}

// lacks skips a test for want of a program; where everything has to be there, it fails.
func lacks(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("CI") != "" {
		t.Fatal(what)
	}
	t.Skip(what)
}

// looks is chromium for tests of how pages look, which take long under the race detector and tell it nothing: who clicks is
// watched by it in the other tests.
func looks(t testing.TB) {
	t.Helper()
	if underRace {
		t.Skip("how pages look is seen without the race detector")
	}
	chromium(t)
}

// tab is a person's own browser, with a profile of its own.
type tab struct {
	testing.TB
	ctx context.Context
	p   *person
}

// browserAt is the one browser process of all tests, once somebody opened it; endBrowser ends it.
var (
	browserAt  context.Context
	endBrowser = func() {}
)

// opens has a person open their private file, and waits for their tray.
func (w *world) opens(p *person) *tab {
	w.Helper()
	b := w.tab(p)
	b.enters()
	b.sees("waits for you")
	return b
}

// enters opens the private file, as `witnessmark desk` does.
func (b *tab) enters() {
	b.Helper()
	b.do(chromedp.Navigate("file://" + b.p.desk.DoorFile()))
}

// tab is a browser that nobody else's cookies are in.
func (w *world) tab(p *person) *tab {
	w.Helper()
	path := chromium(w.TB)
	if browserAt == nil {
		alloc, stop := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(path), chromedp.UserDataDir(filepath.Join(begun.dir, "profile")),
			chromedp.NoSandbox, chromedp.Headless, chromedp.DisableGPU, chromedp.NoFirstRun,
			chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
			chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.WSURLReadTimeout(longest))
		ctx, end := chromedp.NewContext(alloc)
		endBrowser = func() { end(); stop() }
		w.must(chromedp.Do(ctx)) // it lives as long as the context that it was started with
		browserAt = ctx
	}
	ctx, end := chromedp.NewContext(browserAt, chromedp.WithNewBrowserContext())
	w.Cleanup(end)
	b := &tab{w.TB, ctx, p}
	w.must(chromedp.Do(ctx))
	return b
}

// longest is how long a browser beside busy cores is waited for; what is there is seen at once.
const longest = 3 * time.Minute

func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.Helper()
	limited, cancel := context.WithTimeout(b.ctx, longest)
	defer cancel()
	err := chromedp.Do(limited, steps...)
	// A page that is just being replaced loses its nodes before anything is done with them.
	for err != nil && strings.Contains(err.Error(), "node with given id") {
		err = chromedp.Do(limited, steps...)
	}
	if err != nil {
		b.Fatalf("%s: %v\n%s", b.p.name, err, b.text())
	}
}

func eval[T any](b *tab, script string) T {
	b.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script))
	if err != nil {
		b.Fatalf("%s: %s: %v", b.p.name, script, err)
	}
	return v
}

// until waits until a page that is whole says yes to a script. One that is just being replaced cannot
// be asked; a whole one is not replaced but by a click.
func (b *tab) until(what, script string) {
	b.Helper()
	whole := fmt.Sprintf(`document.readyState === "complete" && (%s)`, script)
	for end := time.Now().Add(longest); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if yes, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](whole)); err == nil && yes {
			return
		}
	}
	b.Fatalf("%s waits in vain for %s in\n%s", b.p.name, what, b.text())
}

func (b *tab) text() string {
	s, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](`location + "\n" + document.title + "\n" + document.body?.innerText`))
	if err != nil {
		return err.Error() // between two pages there is none
	}
	return s
}

// quote is a text as a script writes it.
func quote(text string) string {
	b, _ := json.Marshal(text)
	return string(b)
}

// sees waits until the page says the words.
func (b *tab) sees(words string) {
	b.Helper()
	b.until(words, fmt.Sprintf(`(document.title + document.body.innerText).includes(%s)`, quote(words)))
}

// follows clicks a link or a button by its words, in one step: a live page may be renewed between two.
// Where a link leads to another page, that page has come when it returns, since the one before can
// still be asked and clicked for a while.
func (b *tab) follows(words string) {
	b.Helper()
	b.until("a link "+words, fmt.Sprintf(`(e => e !== undefined && (
		window.left = e.matches("a[href]:not([download])") && (e.pathname + e.search !== location.pathname + location.search || e.hash === ""), e.click(), true))(
		[...document.querySelectorAll("main a, main button, main summary, nav a")].find(e => e.textContent.trim().startsWith(%s)))`, quote(words)))
	b.until("the page behind "+words, `window.left !== true`)
}

func (b *tab) goes(path string) {
	b.Helper()
	b.do(chromedp.Navigate(strings.TrimSuffix(b.p.desk.URL(), "/") + path))
}

// comes waits until the page has an element.
func (b *tab) comes(selector string) {
	b.Helper()
	b.until(selector, fmt.Sprintf(`document.querySelector(%s) !== null`, quote(selector)))
}

// types fills a field by its name.
func (b *tab) types(field, text string) {
	b.Helper()
	selector := fmt.Sprintf(`main [name=%q]`, field)
	b.comes(selector)
	b.do(chromedp.SendKeys(selector, text))
}

// confirms types the passphrase into the form that a button is in, and presses the button.
func (b *tab) confirms(button string) {
	b.Helper()
	b.until("the button "+button, fmt.Sprintf(`(e => e !== undefined && (e.id = "pressed", e.form.querySelector("[name=passphrase]").id = "typed", true))(
		[...document.querySelectorAll("main button")].find(e => e.textContent.trim() === %s))`, quote(button)))
	b.do(chromedp.SendKeys("#typed", passphrase), chromedp.Click("#pressed"))
}

// ticks ticks a box by its value.
func (b *tab) ticks(value string) {
	b.Helper()
	b.until("the box "+value, fmt.Sprintf(`(e => e !== null && (e.checked || (e.click(), true)))(document.querySelector(%s))`, quote(fmt.Sprintf(`main input[type=checkbox][value=%q]`, value))))
}

func (b *tab) chooses(field, file string) {
	b.Helper()
	selector := fmt.Sprintf(`main input[name=%q]`, field)
	b.comes(selector)
	b.do(chromedp.SetUploadFiles(selector, []string{file}))
}

func TestThreePeopleClickThroughAWholeJob(t *testing.T) {
	chromium(t)
	w := newWorld(t)
	tech, lead := w.opens(w.technician), w.opens(w.lead)
	lead.sees("Nothing waits for you")

	// The technician opens the job and reads the car.
	tech.follows("Open a job")
	tech.types("plate", "HC 18")
	tech.types("fuel", "98 RON")
	tech.types("parts", "larger compressor wheel")
	tech.confirms("Open a job")
	tech.sees("You opened job 1.")
	tech.sees("What happened, in the order of the ledger")
	tech.follows("Add a read")
	tech.chooses("file", w.demo("asfound.hex"))
	tech.confirms("Add a read")
	tech.sees("judged by itself: clear")
	tech.follows("What you cannot do now")
	tech.sees("This is a calibrator's or a lead's to do; you are technician.")

	// The calibrator finds it in the tray, and submits what nobody may sign.
	cal := w.opens(w.calibrator)
	cal.sees("nothing has been submitted yet")
	cal.goes("/job/1/submit")
	cal.chooses("file", w.demo("submission-1.bin"))
	cal.types("note", "boost for the larger wheel")
	cal.ticks("boost.target")
	cal.ticks("ignition.98")
	cal.confirms("Submit a modified image")
	cal.sees("The verdict is danger.")
	cal.sees("cut-above-target")

	// The lead's tray has renewed itself, and the sheet says no.
	lead.sees("nobody may sign it; it is to be returned")
	lead.sees("(1) Tray")
	lead.sees("danger cut-above-target:boost.target")
	lead.until("news for a screen reader", `document.getElementById("news").textContent.includes("renewed")`)
	lead.follows("Return 1.1")
	lead.sees("Nobody may sign it.")
	lead.sees("You cannot sign this")
	lead.ticks("cut-above-target:boost.target")
	lead.until("the finding in the text", `document.querySelector("[name=reason]").value.startsWith("cut-above-target:boost.target: found 1999.0 kPa, allowed ")`)
	lead.types("reason", "\n199.9 kPa typed as 1999")
	lead.confirms("Return 1.1")
	lead.sees("You returned 1.1.")

	cal.goes("/")
	cal.sees("199.9 kPa typed as 1999")
	cal.goes("/job/1/submit")
	cal.chooses("file", w.demo("submission-2.bin"))
	cal.types("note", "without the slips")
	cal.confirms("Submit a modified image")
	cal.sees("The verdict is warning.")
	cal.sees("You cannot sign this")

	// The lead signs, with a reason, what they could read before.
	lead.goes("/")
	lead.follows("Sign or return 1.2")
	lead.sees("A lead must sign it")
	lead.types("because:advance-ceiling:ignition.98", "no knock on the rolling road")
	lead.follows("Read the exact statement")
	lead.sees("What you are about to sign")
	lead.sees("no knock on the rolling road")
	lead.confirms("Sign 1.2")
	lead.sees("You signed off 1.2. It is released.")

	// The calibrator still reads the sheet: it is not renewed under their eyes, and they are told.
	cal.sees("The ledger has grown")
	cal.sees("It is waiting.")
	cal.until("the link to it", `(document.querySelector("#news a").click(), true)`)
	cal.sees("It is released.")

	// The technician collects, writes, and reads back.
	tech.goes("/")
	tech.follows("Collect 1.2")
	tech.sees("A fresh read of the car in the bay")
	tech.confirms("Collect a release")
	tech.sees("the car in the bay must be told apart")
	tech.chooses("fresh", w.demo("asfound.bin"))
	tech.confirms("Collect a release")
	tech.sees("Bay sheet")
	tech.downloads(w)
	tech.follows("add the read-back")
	tech.chooses("file", w.demo("readback.bin"))
	tech.confirms("Add a read-back")
	tech.sees("The read-back matches what was written.")
	tech.sees("known by: read-back")

	// Anybody verifies.
	cal.goes("/ledger")
	cal.follows("Verify all of it")
	cal.sees("Verified in")
	j, err := w.technician.client.Job(1)
	w.must(err)
	if j.Submissions[1].State != "in car" || j.InCar.GetSubmission() != 2 {
		t.Errorf("the ledger has %s, %v", j.Submissions[1].State, j.InCar)
	}
}

// downloads fetches what was collected, as the links would, and compares it with what was submitted.
func (b *tab) downloads(w *world) {
	b.Helper()
	links := eval[[]string](b, `[...document.querySelectorAll("main a[download]")].map(a => a.getAttribute("href"))`)
	if len(links) != 4 {
		b.Fatalf("links %q", links)
	}
	for _, l := range links {
		length := eval[int](b, fmt.Sprintf(`(() => { const x = new XMLHttpRequest(); x.open("GET", %q, false); x.overrideMimeType("text/plain; charset=x-user-defined"); x.send();
			if (x.status !== 200 || !x.getResponseHeader("Content-Disposition").startsWith("attachment")) return -1; return x.responseText.length; })()`, l))
		if length < 1000 {
			b.Errorf("%s has %d bytes", l, length)
		}
	}
	b.p.desk.taken.mu.Lock()
	defer b.p.desk.taken.mu.Unlock()
	for _, h := range b.p.desk.taken.held {
		hex := filepath.Join(h.value.Dir, h.value.Names[0])
		got, err := os.ReadFile(hex)
		w.must(err)
		if !strings.HasPrefix(string(got), ":") {
			b.Errorf("%s is not Intel HEX, which the read came in", hex)
		}
	}
}
