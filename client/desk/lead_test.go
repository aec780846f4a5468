package desk

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"witnessmark/client"
)

// What the cursor of a table's page is on, in the grid of that name.
const onCell = `(name => document.querySelector("[data-pane=" + name + "] [aria-selected=true]").textContent)`

// TestALeadsWayThroughASheet: from a finding to its cell, from change to change and on to the next
// table, by keyboard and by button; rows fold, and the sections follow the cursor.
func TestALeadsWayThroughASheet(t *testing.T) {
	chromium(t)
	w := submittedWorld(t, "submission-1.bin")
	b := w.opens(w.lead)
	b.goes("/sheet/1.1")
	b.follows("cut-above-target in boost.target")
	b.sees("through engine speed 4500")
	b.until("the finding's cell", onCell+`("candidate") === "1999.0"`)
	if at := eval[string](b, `document.activeElement.closest("table")?.dataset.pane + " " + document.activeElement.textContent`); at != "difference +1814.1" {
		t.Errorf("the finding leads to %q", at)
	}
	order := eval[string](b, `[...document.querySelectorAll("[data-pane]")].map(g => g.dataset.pane).join()`)
	if order != "difference,candidate,room,base" {
		t.Errorf("the grids are %s", order)
	}
	// The slip of one column makes no other column wider: measured against a table without it.
	if wide := eval[bool](b, `(w => w[w.length - 1] > 1.3 * w[0] && w[w.length - 2] < 1.2 * w[0])([...document.querySelectorAll("[data-pane=difference] thead th")].map(e => e.offsetWidth).sort((a, b) => a - b))`); !wide {
		t.Errorf("the columns are %s wide", eval[string](b, `[...document.querySelectorAll("[data-pane=difference] thead th")].map(e => e.offsetWidth).join()`))
	}

	count := func() string { return eval[string](b, `document.querySelector("[data-count]").textContent`) }
	before := count()
	b.press(kb.Enter)
	b.until("the next change", `document.querySelector("[data-count]").textContent !== `+quote(before))
	b.until("a changed cell", onCell+`("difference").startsWith("+")`)
	b.do(shiftEnter())
	b.until("the change before", `document.querySelector("[data-count]").textContent === `+quote(before))
	b.until("the section through it", `document.querySelector("[data-sections]").textContent.includes("through engine speed 4500 1/min")`)
	b.follows("Next change")
	b.until("the section of the next", `!document.querySelector("[data-sections]").textContent.includes("through engine speed 4500 1/min")`)

	b.follows("Fold")
	b.until("folded rows", `[...document.querySelectorAll(".still")].every(e => e.getClientRects().length === 0)`)
	b.follows("Fold")
	b.until("unfolded rows", `[...document.querySelectorAll(".still")].every(e => e.getClientRects().length > 0)`)

	// Past the last change lies the next table's first, and before that the last again.
	const place = `location.pathname + document.querySelector("[data-count]")?.textContent`
	for range 40 {
		was := eval[string](b, place)
		b.follows("Next change")
		b.until("another change", place+" !== "+quote(was))
		if !strings.Contains(eval[string](b, `location.pathname`), "boost.target") {
			break
		}
	}
	b.sees("ignition.98")
	b.until("the first change", `document.querySelector("[data-count]")?.textContent.startsWith("change 1 of ")`)
	b.follows("Previous change")
	b.until("the table before, at its last", `location.pathname.endsWith("/boost.target") && /^change (\d+) of \1$/.test(document.querySelector("[data-count]")?.textContent)`)

	// Decision and findings are reached from the head, which stays in view.
	b.goes("/sheet/1.1?all=1")
	b.until("all of the page", `document.readyState === "complete"`)
	b.do(scrolled())
	b.until("the head in view", `(r => r.top >= 0 && r.bottom < innerHeight)(document.querySelector(".head").getBoundingClientRect())`)
	b.until("a signal's card with its section", `document.querySelector('.card [id="signal-boost.request"] ~ .section svg .cand') !== null`)
	if worst := eval[string](b, `[...document.querySelectorAll("#tables ~ .cards h3 .verdict")].map(e => e.textContent).join()`); !strings.HasPrefix(worst, "danger,warning") {
		t.Errorf("the cards have %s", worst)
	}
	if n := eval[int](b, `document.querySelectorAll(".card .over").length`); n == 0 {
		t.Error("no cell of a card is hatched")
	}
}

// TestAnAlarmIsRaisedAndEnded: what was read back is not what was written.
func TestAnAlarmIsRaisedAndEnded(t *testing.T) {
	chromium(t)
	w := collectedWorld(t)
	b := w.opens(w.technician)
	readBack := func(file, says string) {
		b.goes("/job/1/readback")
		b.chooses("file", w.demo(file))
		b.confirms("Add a read-back")
		b.sees(says)
	}
	readBack("submission-1.bin", "The read-back differs from what was written")
	if eval[bool](b, `document.querySelector(".done") !== null`) {
		t.Error("it is told in green")
	}
	for _, path := range []string{"/", "/job/1", "/sheet/1.1"} {
		b.goes(path)
		if red := eval[string](b, `(e => e === null ? "no alarm" : getComputedStyle(e).borderTopColor)(document.querySelector(".alarms"))`); red != "rgb(200, 16, 46)" {
			t.Errorf("%s: %s", path, red)
		}
		if title := eval[string](b, `document.title`); !strings.HasPrefix(title, "(1) ") {
			t.Errorf("%s is called %q", path, title)
		}
	}
	readBack("readback.bin", "The read-back matches what was written.")
	for _, path := range []string{"/", "/job/1", "/sheet/1.1"} {
		b.goes(path)
		if eval[bool](b, `document.querySelector(".alarms") !== null || document.title.startsWith("(")`) {
			t.Errorf("%s still has the alarm:\n%s", path, b.text())
		}
	}
	b.goes("/sheet/1.1")
	b.sees("It is in the car: a read-back matched it.")
}

// TestTwelveWaitingJobs: the worst first, and of equals the one that has waited longest; a part of
// them by what is asked for.
func TestTwelveWaitingJobs(t *testing.T) {
	looks(t)
	w := newWorld(t)
	var danger, warning []string
	for i := range 12 {
		file, list := "submission-2.bin", &warning
		if i%3 == 1 {
			file, list = "submission-1.bin", &danger
		}
		*list = append(*list, fmt.Sprintf("%d.1", w.waits(fmt.Sprintf("HC %d", i+1), file)))
	}
	b := w.opens(w.lead)
	b.sees("(12) Tray")
	slips := func() []string {
		return eval[[]string](b, `[...document.querySelectorAll(".slips li a")].map(e => e.textContent.match(/\d+\.\d+/)[0])`)
	}
	if got, want := slips(), append(danger, warning...); !slices.Equal(got, want) {
		t.Errorf("the tray has %q; want %q", got, want)
	}
	if n := eval[int](b, `[...document.querySelectorAll(".worst-line")].filter(e => /^(danger cut-above-target:boost.target|warning advance-ceiling:ignition.98): /.test(e.textContent)).length`); n != 12 {
		t.Errorf("%d of 12 say what was found worst", n)
	}
	for path, want := range map[string][]string{"/?text=danger": danger, "/?text=hc+11": {"11.1"}, "/?text=nothing+like+it": {}} {
		b.goes(path)
		if got := slips(); !slices.Equal(got, want) {
			t.Errorf("%s has %q; want %q", path, got, want)
		}
	}
	for path, want := range map[string]string{"/jobs?sort=worst&verdict=danger": "11 8 5 2", "/jobs?text=HC3": "3", "/jobs?person=calibrator&sort=oldest&text=larger&job=open": "1 2 3 4 5 6 7 8 9 10 11 12", "/jobs?state=returned": ""} {
		b.goes(path)
		if got := eval[string](b, `[...document.querySelectorAll("tbody th")].map(e => e.textContent).join(" ")`); got != want {
			t.Errorf("%s has %q; want %q", path, got, want)
		}
	}
	// A tray that lies open tells of one more in its title.
	b.goes("/")
	_, err := w.calibrator.client.Withdraw(ctx, 1, 1)
	w.must(err)
	b.sees("(11) Tray")
	_, err = w.technician.client.OpenJob(ctx, client.NewJob{Definition: "dx1-1.8t", Details: client.Details{Plate: "HC 99", Limits: "dx1-road-98", Fuel: "98 RON"}})
	w.must(err)
	b.sees("(12) Tray") // its controller is to be read
}
