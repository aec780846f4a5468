package desk

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// tabsTo presses Tab until what has the focus is what script says, and fails if nothing is, or if
// the focus cannot be seen there.
func (b *tab) tabsTo(what, script string) {
	b.Helper()
	for range 120 {
		b.do(chromedp.KeyEvent(kb.Tab))
		if !eval[bool](b, fmt.Sprintf(`(e => %s)(document.activeElement)`, script)) {
			continue
		}
		if style := eval[string](b, `getComputedStyle(document.activeElement).outlineStyle`); style == "none" {
			b.Errorf("nothing shows that %s has the focus", what)
		}
		return
	}
	b.Fatalf("Tab never comes to %s in\n%s", what, b.text())
}

func (b *tab) press(keys string) {
	b.Helper()
	b.do(chromedp.KeyEvent(keys))
}

func TestSigningByKeyboardAlone(t *testing.T) {
	chromium(t)
	w := submittedWorld(t, "submission-2.bin")
	b := w.opens(w.lead)
	b.tabsTo("the submission", `e.getAttribute("href") === "/sheet/1.1"`)
	b.press(kb.Enter)
	b.sees("A lead must sign it")
	b.keeps("sheet-to-sign")
	b.tabsTo("the reason", `e.name === "because:advance-ceiling:ignition.98"`)
	b.press("no knock")
	b.tabsTo("the statement", `e.textContent === "Read the exact statement"`)
	b.press(kb.Enter)
	b.sees("What you are about to sign")
	b.keeps("statement")
	b.tabsTo("the passphrase", `e.name === "passphrase"`)
	b.press(passphrase + kb.Enter)
	b.sees("You signed off 1.1.")
	if text := b.text(); strings.Contains(text, passphrase) {
		t.Error("the page shows the passphrase")
	}
}

// shiftEnter goes back by a change.
func shiftEnter() chromedp.Action[chromedp.Void] {
	return chromedp.KeyEvent(kb.Enter, chromedp.KeyModifiers(chromedp.ModifierShift))
}

// scrolled goes to the end of the page.
func scrolled() chromedp.Action[chromedp.Void] {
	return chromedp.KeyEvent(kb.End)
}
