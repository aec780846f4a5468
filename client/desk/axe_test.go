package desk

import (
	"os"

	"github.com/chromedp/chromedp"
)

// axeScript is axe-core, which judges pages by the Web Content Accessibility Guidelines; empty where it is not here.
func axeScript() string {
	b, _ := os.ReadFile("testdata/axe/node_modules/axe-core/axe.min.js")
	return string(b)
}

const noAxe = "no axe-core here: npm ci --prefix client/desk/testdata/axe"

// judged has axe-core look at the page that is there.
func (b *tab) judged(axe, what string) {
	b.Helper()
	if axe == "" {
		return
	}
	if !eval[bool](b, `window.axe !== undefined`) {
		if _, err := chromedp.Run(b.ctx, chromedp.Evaluate[chromedp.Void](axe)); err != nil {
			b.Fatal(err)
		}
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
