package desk

import (
	"fmt"
	"os"
	"testing"

	"github.com/chromedp/chromedp"
)

// axeScript is axe-core, which judges pages by the Web Content Accessibility Guidelines.
func axeScript(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("testdata/axe/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Skip("no axe-core here: npm ci --prefix client/desk/testdata/axe")
	}
	return string(b)
}

// TestAxeFindsNothing runs every rule of axe-core over every page, light and dark, and where there
// is so little room that grids scroll.
func TestAxeFindsNothing(t *testing.T) {
	looks(t)
	axe := axeScript(t)
	w := newWorld(t).full()
	b := w.opens(w.lead)
	for _, look := range []struct {
		scheme string
		width  int64
	}{{"light", 1280}, {"dark", 1280}, {"light", 640}} {
		scheme := fmt.Sprintf("%s at %d", look.scheme, look.width)
		b.scheme(look.scheme)
		b.do(chromedp.EmulateViewport(look.width, 900))
		for name, path := range pagesOf {
			b.goes(path)
			b.judged(axe, name+", "+scheme)
		}
	}
	b.statement()
	b.judged(axe, "statement")
	b.collected(w)
	b.judged(axe, "collected")
}

// judged has axe-core look at the page that is there.
func (b *tab) judged(axe, what string) {
	b.Helper()
	if _, err := chromedp.Run(b.ctx, chromedp.Evaluate[chromedp.Void](axe)); err != nil {
		b.Fatal(err)
	}
	found, err := chromedp.Run(b.ctx, chromedp.Evaluate[axeFound](`axe.run(document).then(r => ({passes: r.passes.length,
		violations: r.violations.map(v => v.id + ": " + v.help + " " + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160) + " " + n.failureSummary).join(" | "))}))`, chromedp.EvalAwaitPromise))
	if err != nil {
		b.Fatal(err)
	}
	if found.Passes < 10 {
		b.Errorf("%s: only %d rules had something to look at", what, found.Passes)
	}
	for _, f := range found.Violations {
		b.Errorf("%s: %s", what, f)
	}
}

type axeFound struct {
	Passes     int      `json:"passes"`
	Violations []string `json:"violations"`
}
