package view

import (
	"fmt"
	"os"
	"testing"

	"github.com/chromedp/chromedp"

	"witnessmark/client/desk/view/structured"
)

// Tables of every shape, among them those that the demo lacks: moved breakpoints, labels, one point, slices, texts, other counts.
func TestAxeFindsNothingInAnyShape(t *testing.T) {
	axe, err := os.ReadFile("../testdata/axe/node_modules/axe-core/axe.min.js")
	if err != nil {
		lacks(t, "no axe-core here: npm ci --prefix client/desk/testdata/axe")
	}
	moved := map[int]byte{0x10: 90}
	for at, v := range change {
		moved[at] = v
	}
	b := newBench(t, moved)
	wide := wideBench(t)
	names := []string{"findings", "wide", "wide card"}
	pages := []string{"<h1>Findings</h1><h2>Found</h2>" + string(b.drawn().Findings(nowhere)), "<h1>Wide</h1>" + wide.page(t, "wide"), "<h1>Wide</h1><h2>Tables</h2>" + wide.card(t, "wide")}
	another := newStructured(t, func(b []byte) {
		structured.Everywhere(b)
		structured.Flow(b, []uint16{1000, 1500, 3000}, []byte{20, 80}, []byte{1, 7, 5, 3, 8, 6})
		b[0xB0] = 3
	})
	for _, one := range []*bench{b, another} {
		for _, tr := range one.report.GetTables() {
			names = append(names, tr.GetId(), tr.GetId()+" card")
			pages = append(pages, "<h1>Table</h1>"+one.page(t, tr.GetId()), "<h1>Sheet</h1><h2>Tables</h2>"+one.card(t, tr.GetId()))
		}
	}
	ctx, at := browse(t, 800, pages...)
	for i, name := range names {
		if err := chromedp.Do(ctx, chromedp.Navigate(fmt.Sprint(at, i))); err != nil {
			t.Fatal(err)
		}
		if _, err := chromedp.Run(ctx, chromedp.Evaluate[chromedp.Void](string(axe))); err != nil {
			t.Fatal(err)
		}
		found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`axe.run(document).then(r => r.passes.length < 5 ? ["nothing to look at"] :
			r.violations.map(v => v.id + ": " + v.help + " " + v.nodes.map(n => n.html.slice(0, 160)).slice(0, 3).join(" | ")))`, chromedp.EvalAwaitPromise))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range found {
			t.Errorf("%s: %s", name, f)
		}
	}
}
