package desk

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"witnessmark/client"
	"witnessmark/store/record"
)

// frameNumber is that of the demo's car, as its image holds it.
const frameNumber = "WTMDX1H1LLC1MB042"

// edited is the image as found with other bytes at addresses, and its sum made right again, as the demo's definition has it.
func (w *world) edited(name string, bytes map[int]byte) string {
	w.Helper()
	image, err := os.ReadFile(w.demo("asfound.bin"))
	w.must(err)
	for at, v := range bytes {
		image[at] = v
	}
	binary.BigEndian.PutUint32(image[0x3FFFC:], crc32.ChecksumIEEE(image[:0x3E000]))
	w.must(os.WriteFile(w.path(name), image, 0o600))
	return w.path(name)
}

// advanced is the image as found with so many degrees more in a cell of ignition.base, a raw step being half of one.
func (w *world) advanced(deg float64) string {
	w.Helper()
	return w.edited(fmt.Sprintf("by-%v.bin", deg), map[int]byte{0x10286: 0x29 + byte(2*deg)})
}

// dayWorld is a world with a job that was read, and nothing submitted.
func dayWorld(t testing.TB) *world {
	t.Helper()
	return begin(t, "day", func(w *world) {
		_, err := w.technician.client.OpenJob(ctx, client.NewJob{Definition: "dx1-1.8t", Details: client.Details{Plate: "HC 18", Limits: "dx1-road-98", Fuel: "98 RON"}})
		w.must(err)
		_, _, err = w.technician.client.AddRead(ctx, client.NewRead{Job: 1, Path: w.demo("asfound.bin")})
		w.must(err)
		w.must(w.lead.client.Sync(ctx))
	})
}

// opensCorridor opens one as the lead, on ignition.base alone.
func (w *world) opensCorridor(maps uint32) {
	w.Helper()
	_, err := w.lead.client.OpenCorridor(ctx, client.CorridorPlan{Job: 1, Authors: []string{"calibrator"}, Tables: []string{"ignition.base=1.5:1"}, Most: "caution", Maps: maps, Reason: "away until five"})
	w.must(err)
}

// submits has the calibrator submit a file, and answers with its state.
func (w *world) submits(path, note string) string {
	w.Helper()
	s, _, err := w.calibrator.client.Submit(ctx, client.NewSubmission{Job: 1, Path: path, Note: note})
	w.must(err)
	return s.GetState()
}

// TestADayOnTheRollingRoad: the lead opens a corridor on the desk, maps come and are collected by a key, one lies outside, one is
// recalled, one stays and is signed by itself in the end.
func TestADayOnTheRollingRoad(t *testing.T) {
	chromium(t)
	w := dayWorld(t)
	lead, tech := w.opens(w.lead), w.opens(w.technician)

	// The lead does it by keyboard alone; the one who may be an author is ticked already.
	lead.goes("/job/1")
	lead.tabsTo("the corridor", `e.textContent === "Open a corridor"`)
	lead.press(kb.Enter)
	lead.sees("It starts from")
	lead.tabsTo("the tables' filter", `e.matches(".bounds input")`)
	lead.press("ignition.b")
	lead.tabsTo("how far up", `e.name === "up:ignition.base"`)
	lead.press("1.5")
	lead.tabsTo("how far down", `e.name === "down:ignition.base"`)
	lead.press("1")
	lead.tabsTo("how many", `e.name === "maps"`)
	lead.press("20")
	lead.tabsTo("why", `e.name === "because"`)
	lead.press("away until five")
	lead.tabsTo("what would be signed", `e.textContent === "Read what you would sign"`)
	lead.press(kb.Enter)
	lead.sees("ignition.base at most 1.5 deg up and 1 deg down")
	lead.sees("nobody looks at it before it goes to the car")
	lead.tabsTo("the passphrase", `e.name === "passphrase"`)
	lead.press(passphrase + kb.Enter)
	lead.sees("You opened corridor 1.")
	lead.sees("It is open, 0 of 20 maps.")

	// The page waits, and makes no sound before somebody pressed a key on it.
	tech.goes("/job/1/road")
	tech.sees("nothing was submitted yet")
	tech.sees("In the car: 1.read1")
	tech.sees("Sound is off until you press a key")
	tech.hears()
	tech.press(kb.Tab)
	tech.sees("Sound is on")
	if state := w.submits(w.advanced(1), "a degree more"); state != record.Released {
		t.Fatalf("the first is %s", state)
	}
	tech.sees("To collect: 1.1")
	tech.sees("a degree more")
	tech.sees("Released by corridor 1.corridor1, which lead signed on")
	tech.sees("1 of 20 maps")
	tech.tones("a new release", 2)

	// A wrong passphrase is said, and what tells the car apart is said once.
	tech.types("frame", frameNumber)
	tech.types("passphrase", "wrong")
	tech.slowly()
	tech.press(kb.Enter)
	tech.sees("the passphrase does not open your key")
	tech.comes(`[name=passphrase]:focus`)
	tech.press(passphrase + kb.Enter)
	tech.sees("job-1.1.bin")
	tech.sees("In the car: 1.1")
	tech.comes(`[data-of="1.1"]:focus`)
	tech.told()
	if got, want := tech.fetched("/taken/", "job-1.1.bin"), w.read(w.advanced(1)); got != want {
		t.Error("the file collected is not the one that was submitted")
	}

	// The next comes by itself; a key collects it, with nothing typed again but the passphrase.
	w.submits(w.advanced(0.5), "half of it back")
	tech.sees("To collect: 1.2")
	tech.sees("Against 1.1, collected last")
	tech.sees("Against the read as found")
	tech.tones("another release", 4)
	tech.comes(`[name=passphrase]:focus`)
	tech.press(passphrase)
	tech.keeps("road-to-collect")
	tech.slowly()
	tech.press(kb.Enter)
	tech.sees("In the car: 1.2")
	tech.sees("2 files of corridor 1 were collected")
	if frame := eval[string](tech, `document.querySelector("[name=frame]").value`); frame != frameNumber {
		t.Errorf("of the frame number there is %q", frame)
	}

	// What lies outside waits, and the cell is named wherever it is looked at.
	if state := w.submits(w.advanced(2.5), "too far"); state != record.Waiting {
		t.Fatalf("what lies outside is %s", state)
	}
	tech.sees("outside corridor 1: ignition.base at")
	tech.sees("2.5 above the start; the corridor allows 1.5 up")
	lead.goes("/sheet/1.3")
	lead.sees("2.5 above the start; the corridor allows 1.5 up")
	tech.tones("one that waits", 4)

	// A recall of what is in the car is shouted.
	_, err := w.lead.client.ReturnSubmission(ctx, 1, 2, "it knocked")
	w.must(err)
	tech.sees("Stop: 1.2 was recalled")
	tech.sees("it knocked")
	tech.sees("To collect: 1.1")
	tech.tones("a recall", 10)
	if red := eval[string](tech, `getComputedStyle(document.querySelector("[role=alert].stop")).backgroundColor`); red != "rgb(200, 16, 46)" {
		t.Errorf("a recall is %s", red)
	}
	tech.keeps("road-recalled")
	tech.types("passphrase", passphrase)
	tech.slowly()
	tech.press(kb.Enter)
	tech.sees("In the car: 1.1")

	// At the end one stays.
	tech.follows("close corridor 1")
	tech.sees("1.1 by calibrator, collected last")
	tech.confirms("Close the corridor")
	tech.sees("You closed corridor 1.")
	tech.sees("1.1 stays.")
	tech.sees("☐ Read 1.1 back before the car leaves.")
	tech.keeps("road-closed")
	lead.goes("/")
	lead.sees("1.1 has the yes of corridor 1 alone, which is closed")
	lead.goes("/sheet/1.1")
	lead.sees("It stays, and a lead is asked to sign it by itself.")
	lead.sees("The way to the one that stays")
	lead.follows("Read the exact statement")
	lead.confirms("Sign 1.1")
	lead.sees("You signed off 1.1.")
	tech.sees("☑ Signed off by itself")
	j, err := w.lead.client.Job(1)
	w.must(err)
	for _, a := range j.GetAlarms() {
		if a.GetAlarm() == record.CorridorOnly {
			t.Errorf("there still is %s of %s", a.GetAlarm(), a.GetAbout())
		}
	}
	tech.follows("Read 1.1 back")
	tech.chooses("file", w.advanced(1))
	tech.confirms("Add a read-back")
	tech.sees("The read-back matches what was written.")
	tech.goes("/job/1/road")
	tech.sees("☑ 1.1 was read back, and matches.")
}

// hears has a page count the tones that it starts.
func (b *tab) hears() {
	b.Helper()
	eval[bool](b, `(() => { window.heard = 0; const start = OscillatorNode.prototype.start; OscillatorNode.prototype.start = function (at) { window.heard++; return start.call(this, at) }; return true })()`)
}

// tones wants so many of them since.
func (b *tab) tones(what string, want int) {
	b.Helper()
	if heard := eval[int](b, `window.heard`); heard != want {
		b.Errorf("after %s %d tones were heard, want %d", what, heard, want)
	}
}

// slowly waits until what is offered has been there long enough to be looked at.
func (b *tab) slowly() {
	b.Helper()
	eval[bool](b, `(window.shown = performance.now(), true)`)
	b.until("a second look", `performance.now() - window.shown > 900`)
}

// fetched is a file that the page offers.
func (b *tab) fetched(under, name string) string {
	b.Helper()
	return eval[string](b, fmt.Sprintf(`(() => { const x = new XMLHttpRequest(); x.open("GET", [...document.querySelectorAll("a[download]")].map(a => a.getAttribute("href")).find(h => h.startsWith(%q) && h.endsWith(%q)), false);
		x.overrideMimeType("text/plain; charset=x-user-defined"); x.send(); return [...x.responseText].map(c => (c.charCodeAt(0) & 255).toString(16).padStart(2, "0")).join("") })()`, under, "/"+name))
}

// read is a file in hexadecimal.
func (w *world) read(path string) string {
	w.Helper()
	b, err := os.ReadFile(path)
	w.must(err)
	return fmt.Sprintf("%x", b)
}

// TestRoadPagesFit looks at the pages of the day as TestPagesFit does at the others.
func TestRoadPagesFit(t *testing.T) {
	looks(t)
	w := dayWorld(t)
	w.opensCorridor(20)
	w.submits(w.advanced(1), "a degree more at the top")
	for _, at := range []struct {
		when string
		gain float64
	}{{"before", 0}, {"after", 12}} {
		w.must(os.WriteFile(w.path("pull.csv"), []byte(pull(at.gain)), 0o600))
		_, err := w.technician.client.AddRun(ctx, 1, w.path("pull.csv"), "", at.when)
		w.must(err)
		_, err = w.technician.client.Collect(ctx, client.Collecting{Job: 1, Submission: 1, Out: w.path(at.when + ".bin"), Frame: frameNumber})
		w.must(err)
	}
	w.submits(w.advanced(0.5), "half of it back")
	w.submits(w.advanced(3), "too far")
	axe := axeScript()
	for _, scheme := range []string{"light", "dark"} {
		for who, pages := range map[*person]map[string]string{
			w.technician: {"road": "/job/1/road", "corridor-close": "/job/1/corridor-close", "day-card": "/job/1", "day-runs": "/job/1/runs"},
			w.lead:       {"sheet-outside": "/sheet/1.3", "sheet-inside": "/sheet/1.2"},
		} {
			b := w.opens(who)
			for name, path := range pages {
				for _, width := range []int64{1280, 400} {
					b.lookAt(name, path, width, scheme)
				}
				b.judged(axe, name+", "+scheme)
			}
		}
	}
	w.must(closed(w))
	b := w.opens(w.lead)
	for _, width := range []int64{1280, 400} {
		b.lookAt("corridor", "/job/1/corridor", width, "light")
	}
	b.judged(axe, "corridor")
	b.types("up:ignition.base", "1.5")
	b.types("maps", "20")
	b.do(chromedp.SetValue(`[name=from]`, "1.1"))
	b.follows("Read what you would sign")
	b.sees("What you are about to sign")
	b.fits("corridor-draft", 400, "light")
	b.fits("corridor-draft", 1280, "light")
	b.judged(axe, "corridor-draft")
}

func closed(w *world) error {
	_, err := w.technician.client.CloseCorridor(ctx, 1, "", "the day is over")
	return err
}

// TestTheBayWithoutTheServer: the page says by itself that what it shows may be old, collects nothing, and goes on when the server
// is back; what was typed stays.
func TestTheBayWithoutTheServer(t *testing.T) {
	chromium(t)
	w := dayWorld(t)
	w.opensCorridor(20)
	w.submits(w.advanced(1), "a degree more")
	tech := w.opens(w.technician)
	tech.goes("/job/1/road")
	tech.sees("To collect: 1.1")
	tech.types("frame", frameNumber)

	// What takes the place of another under the finger is not collected for it.
	tech.types("passphrase", passphrase)
	eval[bool](tech, `(document.addEventListener("renewed", () => document.querySelector("[data-collect]").requestSubmit(), { once: true }), true)`)
	w.submits(w.advanced(1.5), "half a degree more")
	tech.until("a second look asked for", `document.querySelector("form .problem").textContent.startsWith("1.2 came this moment")`)
	tech.sees("In the car: 1.read1")
	if typed := eval[string](tech, `document.querySelector("[name=passphrase]").value`); typed != passphrase {
		t.Errorf("of what was typed there is %q", typed)
	}

	at := w.srv.Addr()
	w.must(w.srv.Stop())
	tech.sees("server not reached")
	tech.slowly()
	tech.press(kb.Enter)
	tech.until("why nothing was collected", `document.querySelector("form .problem").textContent.includes("reached")`)
	w.serve(at)
	tech.until("the server again", `!document.body.innerText.includes("server not reached")`)
	tech.press(passphrase)
	tech.press(kb.Enter)
	tech.sees("In the car: 1.2")
	w.submits(w.advanced(0.5), "half of it back")
	tech.sees("To collect: 1.3")
	if frame := eval[string](tech, `document.querySelector("[name=frame]").value`); frame != frameNumber {
		t.Errorf("of the frame number there is %q", frame)
	}
}

// TestTheRoadPageSaysWhoseYesItIs: by the ledger alone, and the same wherever a release is shown.
func TestTheRoadPageSaysWhoseYesItIs(t *testing.T) {
	w := dayWorld(t)
	b := w.inside(w.technician.desk)
	b.shows("/job/1/road", "In the car: <strong>1.read1</strong>", "nothing was submitted yet", "None was opened.", "No run was added yet.", `data-collect aria-label="Collect" hidden`)
	w.opensCorridor(1)
	w.submits(w.advanced(1), "a degree more")
	inAdvance := "released by corridor 1.corridor1, which lead signed on "
	for _, path := range []string{"/job/1/road", "/sheet/1.1", "/sheet/1.1/table/ignition.base"} {
		if page := b.shows(path); !strings.Contains(strings.ToLower(page), inAdvance) || strings.Contains(page, "Signed off by lead") {
			t.Errorf("%s does not say whose yes it is", path)
		}
	}
	b.shows("/job/1", "1 of 1 maps, and covers nothing more: its maps are used up")
	b.shows("/job/1/road", `data-offer="1.1"`, "Collect 1.1", "Against the read as found", "close corridor 1")
	w.inside(w.calibrator.desk).hides("/job/1/road", "data-collect")
	if state := w.submits(w.advanced(0.5), "one too many"); state != record.Waiting {
		t.Errorf("one too many is %s", state)
	}

	// A browser without a script collects by the same form, and comes to the page with the files.
	if status, page := b.sends("/job/1/collect", url.Values{"submission": {"1"}, "frame": {frameNumber}}, nil); status != http.StatusSeeOther {
		t.Fatalf("collecting: %d %s", status, page)
	}
	b.shows("/job/1/road", `data-offer=""`, "1.1 was collected, and nothing newer is released.", "job-1.1.bin", "1 file of corridor 1 was collected")
	if status, page := b.sends("/job/1/corridor-close", url.Values{"keep": {"1.2"}}, nil); status < 400 || !strings.Contains(page, "no release of 1.corridor1") {
		t.Errorf("keeping what it did not release: %d", status)
	}

	// Recalled with nothing else to write: back to as found.
	_, err := w.lead.client.ReturnSubmission(ctx, 1, 1, "it knocked")
	w.must(err)
	b.shows("/job/1/road", "Stop: 1.1 was recalled", `data-stop="1.1 `, `Write <a href="/job/1/asfound">the read as found</a>.`, `data-offer=""`)
	if status, _ := b.sends("/job/1/corridor-close", url.Values{"because": {"the day is over"}}, nil); status != http.StatusSeeOther {
		t.Errorf("closing: %d", status)
	}
	b.shows("/job/1", "It is closed, 1 of 1 maps.", "the day is over")
}
