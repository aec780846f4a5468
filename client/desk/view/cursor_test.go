package view

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"witnessmark/client/desk/view/structured"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// browse opens the first of some bodies in a real browser, under the desk's own strict policy; the
// answer has the address of number 0, and the others follow as 1, 2 and so on.
func browse(t *testing.T, width int, bodies ...string) (context.Context, string) {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		lacks(t, "no Chromium here: apt-get install chromium")
	}
	mux := http.NewServeMux()
	serve := func(kind, text string) http.HandlerFunc {
		return func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", kind+"; charset=utf-8")
			w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; script-src 'self'")
			_, _ = w.Write([]byte(text))
		}
	}
	mux.HandleFunc("/view.css", serve("text/css", CSS))
	mux.HandleFunc("/view.js", serve("text/javascript", JS))
	for i, body := range bodies {
		mux.HandleFunc(fmt.Sprintf("/page/%d", i), serve("text/html", `<!doctype html><html lang="en"><title>t</title><link rel="stylesheet" href="/view.css"><script src="/view.js" defer></script><main>`+body+`</main>`))
	}
	srv := httptest.NewServer(mux)
	t.Cleanup(srv.Close)
	alloc, stop := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()),
		chromedp.NoSandbox, chromedp.Headless, chromedp.DisableGPU, chromedp.NoFirstRun)
	t.Cleanup(stop)
	timed, cancel := context.WithTimeout(alloc, 4*time.Minute)
	t.Cleanup(cancel)
	ctx, end := chromedp.NewContext(timed)
	t.Cleanup(end)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(int64(width), 900), chromedp.Navigate(srv.URL+"/page/0")); err != nil {
		t.Fatal(err)
	}
	return ctx, srv.URL + "/page/"
}

func ask[T any](t *testing.T, ctx context.Context, script string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script))
	if err != nil {
		t.Fatalf("%s: %v", script, err)
	}
	return v
}

const (
	selected = `[...document.querySelectorAll("[aria-selected=true]")].map(c => c.textContent + (c.tabIndex === 0 ? "" : "!")).join(" ")`
	readout  = `document.querySelector("[data-readout]").textContent`
)

func TestOneCursorMovesOverAllGrids(t *testing.T) {
	b := newBench(t, change)
	ctx, _ := browse(t, 1280, b.page(t, "advance"))
	want := func(step, cells, said string) {
		t.Helper()
		if got := ask[string](t, ctx, selected); got != cells {
			t.Errorf("%s: the cursor is on %q; want %q", step, got, cells)
		}
		if got := ask[string](t, ctx, readout); !strings.Contains(got, said) {
			t.Errorf("%s: it says %q; want %q in it", step, got, said)
		}
	}
	key := func(keys string) {
		t.Helper()
		if err := chromedp.Do(ctx, chromedp.KeyEvent(keys)); err != nil {
			t.Fatal(err)
		}
	}
	want("at first", "+21.00 30.00 −5.00 9.00", "cylinder filling 100 %")
	ask[bool](t, ctx, `(document.querySelector("[data-step='1']").focus(), true)`)
	key(kb.Tab)
	if got := ask[string](t, ctx, `document.activeElement.closest("table").dataset.pane`); got != "difference" {
		t.Errorf("Tab goes to %q; want the difference's cell", got)
	}
	key(kb.ArrowDown)
	want("down", "0 18.00 7.00 18.00", "engine speed 2000 1/min, cylinder filling 20 %")
	key(kb.ArrowLeft)
	want("left", "−18.00 −3.00 −3.00 15.00", "row 1")
	key(kb.ArrowLeft)
	want("left at the edge", "−18.00 −3.00 −3.00 15.00", "row 1")
	key(kb.End)
	want("End", "0 21.00 9.00 21.00", "engine speed 3000")
	key(kb.Tab)
	if got := ask[string](t, ctx, `document.activeElement.closest("table").dataset.pane + document.activeElement.textContent`); got != "candidate21.00" {
		t.Errorf("the second Tab goes to %q; want the same cell of the candidate", got)
	}
	if err := chromedp.Do(ctx, chromedp.Click(`[data-pane=room] tbody tr:first-child td:nth-of-type(1)`)); err != nil {
		t.Fatal(err)
	}
	want("a click in another grid", "0 7.50 7.50 7.50", "row 0")
	// Changed are the middle cell of the first row and the first of the second.
	key(kb.Enter)
	want("the next change", "+21.00 30.00 −5.00 9.00", "cylinder filling 100 %")
	key(kb.Enter)
	want("the one after", "−18.00 −3.00 −3.00 15.00", "cylinder filling 20 %")
	key(kb.Enter)
	want("after the last", "−18.00 −3.00 −3.00 15.00", "row 1")
	if err := chromedp.Do(ctx, chromedp.Click(`[data-step="-1"]`)); err != nil {
		t.Fatal(err)
	}
	want("the button back", "+21.00 30.00 −5.00 9.00", "row 0")
	if got := ask[string](t, ctx, `document.querySelector("[data-count]").textContent`); got != "change 1 of 2" {
		t.Errorf("it counts %q", got)
	}
	if n := ask[int](t, ctx, `document.querySelectorAll("td[tabindex='0']").length`); n != 4 {
		t.Errorf("%d cells can be reached by Tab; want one in each of four grids", n)
	}
}

// wideBench has a map of 24 by 24 cells, nearly all of them changed.
func wideBench(t *testing.T) *bench {
	t.Helper()
	var points []string
	for i := range 24 {
		points = append(points, fmt.Sprint(500+250*i))
	}
	axis := "[" + strings.Join(points, ", ") + "]"
	text := "name: wide\nbyte_order: big\nimage: {start: 0x0, size: 0x800, segments: [{start: 0x0, end: 0x800, content: calibration}]}\n" +
		"tables:\n  - {id: wide, title: Wide, quantity: manifold_pressure, unit: kPa, stored: {address: 0x0, type: u16}, conversion: {factor: 0.1}, " +
		"x: {quantity: engine_speed, unit: 1/min, points: " + axis + "}, y: {quantity: pedal_position, unit: \"%\", points: " + axis + "}}\n"
	lay, err := definition.Load("wide.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{lay: lay, base: make([]byte, 0x800), cand: make([]byte, 0x800)}
	for i := range 576 {
		b.base[2*i], b.cand[2*i] = byte(i%7), byte(i%11)
		b.base[2*i+1], b.cand[2*i+1] = byte(i), byte(i+1)
	}
	b.report, err = compare.Compare(compare.Input{Base: image.Whole(0, b.base), Candidate: image.Whole(0, b.cand), Layout: lay})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// settles asks until the answer is empty, for ten seconds: a browser tells of scrolling a frame or more later, and cannot
// be asked between two pages.
func settles(t *testing.T, ctx context.Context, script string) (last string) {
	t.Helper()
	for range 200 {
		var err error
		switch last, err = chromedp.Run(ctx, chromedp.Evaluate[string](script)); {
		case err != nil:
			last = err.Error()
		case last == "":
			return ""
		}
		time.Sleep(50 * time.Millisecond)
	}
	return last
}

// Columns stand under each other in all grids, none wider than its page, and what is scrolled in one is in all.
func TestGridsStayAligned(t *testing.T) {
	b := wideBench(t)
	for _, width := range []int{1280, 800} {
		ctx, _ := browse(t, width, b.page(t, "wide"))
		if got := settles(t, ctx, `(() => {
			const lefts = [...document.querySelectorAll("table[role=grid]")].map(g => [...g.tBodies[0].rows[0].cells].map(c => Math.round(c.getBoundingClientRect().left)).join());
			return lefts.every(l => l === lefts[0]) ? "" : lefts.join(" / ");
		})()`); got != "" {
			t.Errorf("at %d the columns begin at %s", width, got)
		}
		if n := ask[int](t, ctx, `document.documentElement.scrollWidth`); n > width {
			t.Errorf("the page is %d wide in a window of %d", n, width)
		}
		ask[bool](t, ctx, `(() => { const f = document.querySelectorAll(".quad .wide")[1]; f.scrollLeft = f.scrollLeft > 5 ? 0 : 40; return true; })()`)
		apart := settles(t, ctx, `(() => { const f = [...document.querySelectorAll(".quad .wide")]; return f.every(o => o.scrollLeft === f[1].scrollLeft) ? "" : f.map(o => o.scrollLeft).join(); })()`)
		if apart != "" {
			t.Errorf("at %d the grids are scrolled to %s", width, apart)
		}
	}
}

// Slices turn with the cursor where it is; changes go on from slice to slice.
func TestOneCursorTurnsSlices(t *testing.T) {
	b := newStructured(t, structured.Everywhere)
	ctx, _ := browse(t, 1280, "")
	// The page of each slice lies where its links lead, as on the desk.
	mux := http.NewServeMux()
	mux.HandleFunc("/view.js", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript")
		_, _ = w.Write([]byte(JS))
	})
	mux.HandleFunc("/table", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = w.Write([]byte(`<!doctype html><html lang="en"><title>t</title><script src="/view.js" defer></script><main>` +
			b.whole(t, "torque", r.URL.Query().Get("slice"), r.URL.Query().Get("at")) + `<a data-next-table="1" href="/table?slice=1&amp;at=0,0&amp;next">Next</a></main>`))
	})
	srv := httptest.NewServer(mux)
	t.Cleanup(srv.Close)
	if err := chromedp.Do(ctx, chromedp.Navigate(srv.URL+"/table?slice=1&at=1,1")); err != nil {
		t.Fatal(err)
	}
	want := func(step, said, focus string) {
		t.Helper()
		const shown = `(document.querySelector("[data-readout]")?.textContent ?? "")`
		script := fmt.Sprintf(`document.readyState === "complete" && %s.includes(%q) && document.activeElement?.textContent === %q ? "" : location.search + %s + document.activeElement?.textContent`, shown, said, focus, shown)
		if got := settles(t, ctx, script); got != "" {
			t.Fatalf("%s: %s; want %q, and the focus on %q", step, got, said, focus)
		}
	}
	key := func(keys string, mods ...chromedp.KeyOption) {
		t.Helper()
		if err := chromedp.Do(ctx, chromedp.KeyEvent(keys, mods...)); err != nil {
			t.Fatal(err)
		}
	}
	want("at first", "engine speed 2000 1/min, pedal position 80 %, gear first: difference 0", "0")
	key(kb.ArrowRight)
	key(kb.PageDown)
	want("Page Down", "engine speed 3000 1/min, pedal position 80 %, gear second: difference +63", "+63")
	key(kb.ArrowUp)
	key(kb.PageUp)
	want("Page Up", "engine speed 3000 1/min, pedal position 20 %, gear first: difference +1", "+1")
	key(kb.Enter)
	want("the next change", "pedal position 80 %, gear second: difference +63", "+63")
	key(kb.Enter, chromedp.KeyModifiers(chromedp.ModifierShift))
	want("the change before", "pedal position 20 %, gear first: difference +1", "+1")
	key(kb.Enter, chromedp.KeyModifiers(chromedp.ModifierShift))
	want("the one before that", "engine speed 2000 1/min, pedal position 20 %, gear third: difference +90", "+90")
	if err := chromedp.Do(ctx, chromedp.Click(`[data-slices] p:first-child a:last-child`)); err != nil {
		t.Fatal(err)
	}
	want("a choice", "engine speed 2000 1/min, pedal position 20 %, gear second: difference 0", "0")
	key(kb.Enter)
	want("the last change", "pedal position 80 %, gear second: difference +63", "+63")
	key(kb.Enter)
	if got := settles(t, ctx, `location.search.endsWith("next") ? "" : location.search`); got != "" {
		t.Errorf("after the last slice it stays at %s; want the next table", got)
	}
}

// lacks skips a test for want of a program; where everything has to be there, it fails.
func lacks(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("CI") != "" {
		t.Fatal(what)
	}
	t.Skip(what)
}
