package desk

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

var mediaBox = regexp.MustCompile(`/MediaBox\s*\[\s*0 0 ([0-9.]+) ([0-9.]+)\s*\]`)

// TestASheetPrints: A4 pages, the pictures all there, and nothing that only a screen is for.
func TestASheetPrints(t *testing.T) {
	looks(t)
	w := twoSubmissionsWorld(t)
	b := w.opens(w.lead)
	b.scheme("dark") // paper is white all the same
	for _, path := range []string{"/sheet/1.2?all=1", "/sheet/1.2/table/boost.target"} {
		b.goes(path)
		pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize(), chromedp.PDFPrintBackground()))
		w.must(err)
		sizes := mediaBox.FindAllSubmatch(pdf, -1)
		if !bytes.HasPrefix(pdf, []byte("%PDF-")) || len(sizes) == 0 {
			t.Fatalf("%s: %d bytes, no page", path, len(pdf))
		}
		for _, s := range sizes {
			if !strings.HasPrefix(string(s[1]), "59") || !strings.HasPrefix(string(s[2]), "84") {
				t.Errorf("%s: a page of %s by %s points; A4 is 595 by 842", path, s[1], s[2])
			}
		}
		if dir := os.Getenv("WITNESSMARK_SHOTS"); dir != "" {
			w.must(os.WriteFile(filepath.Join(dir, strings.NewReplacer("/", "_", "?", "_").Replace(path)+".pdf"), pdf, 0o600))
		}
	}
	b.printed()
	for what, script := range map[string]string{
		"the form to sign": `[...document.querySelectorAll(".screen, header nav")].some(e => e.getClientRects().length > 0)`,
		"a grid cut off":   `[...document.querySelectorAll("main table")].some(e => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1)`,
		"dark paper":       `getComputedStyle(document.querySelector(".paper")).backgroundColor !== "rgb(255, 255, 255)"`,
	} {
		for _, path := range []string{"/sheet/1.2?all=1", "/sheet/1.2/table/boost.target", "/sheet/1.2/table/ignition.98"} {
			b.goes(path)
			if eval[bool](b, script) {
				t.Errorf("%s prints %s", path, what)
			}
		}
	}
}

// printed shows pages as they print, on the width that A4 leaves between its margins.
func (b *tab) printed() {
	b.Helper()
	b.do(chromedp.EmulateViewport(688, 1000))
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print",
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}}); err != nil {
		b.Fatal(err)
	}
}
