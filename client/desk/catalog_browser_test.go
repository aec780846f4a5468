package desk

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"witnessmark/client"
)

// drops has a file dropped anywhere on a page that takes one.
func (b *tab) drops(name, text string) {
	b.Helper()
	b.comes("[data-drop]")
	eval[bool](b, fmt.Sprintf(`(() => { const all = new DataTransfer(); all.items.add(new File([%s], %s));
		document.querySelector("h1").dispatchEvent(new DragEvent("drop", {dataTransfer: all, bubbles: true, cancelable: true})); return true })()`, quote(text), quote(name)))
}

// edits puts one text in the place of another, as typing does.
func (b *tab) edits(old, new string) {
	b.Helper()
	b.until("the text "+old, fmt.Sprintf(`(t => t !== null && t.value.includes(%[1]s) && (t.value = t.value.replace(%[1]s, %[2]s), t.dispatchEvent(new Event("input")), true))(document.getElementById("text"))`, quote(old), quote(new)))
}

// TestALeadAddsADefinitionAndLimits: a file is dropped, what is wrong is found at its line, mended, and added; limits are proposed, changed, and added. The pages
// on the way are looked at in every way.
func TestALeadAddsADefinitionAndLimits(t *testing.T) {
	chromium(t)
	axe := axeScript()
	w := newWorld(t)
	b := w.opens(w.lead)
	b.follows("Definitions")
	b.follows("Add a definition")
	def, err := os.ReadFile(w.demo("dx1-1.8t.yaml"))
	w.must(err)
	faulty := strings.Replace(strings.Replace(string(def), "name: dx1-1.8t\n", "name: club\n", 1), "role: target", "role: aim", 1)
	b.drops("club.yaml", faulty)
	b.sees("It cannot be used as it is: 1 fault.")
	b.everyLook(axe, "adding-faults")
	line := 1 + strings.Count(faulty[:strings.Index(faulty, "role: aim")], "\n")
	b.until("the line's number marked", fmt.Sprintf(`document.querySelector("[data-numbered] b").textContent === "▸%d\n"`, line))
	b.tabsTo("the fault", fmt.Sprintf(`e.dataset.at === "%d"`, line))
	b.press(kb.Enter)
	b.until("the line under the cursor", `(t => document.activeElement === t && t.value.slice(t.selectionStart, t.selectionEnd).trim() === "role: aim")(document.getElementById("text"))`)
	b.edits("role: aim", "role: target")
	b.follows("Check the text again")
	b.sees("It would become club, revision 1.")
	b.confirms("Add club, revision 1")
	b.sees("You added definition club, revision 1.")
	b.sees("Nothing is wrong or doubtful in it.")

	b.follows("Propose limits to start from")
	b.sees("It would become club-start, revision 1.")
	b.sees("No rule was proposed for friction_torque: torque.friction")
	b.types("fuel", "98 RON")
	b.follows("Propose again")
	b.until("the fuel in the text", `document.getElementById("text")?.value.includes('fuel: ["98 RON"]')`)
	b.edits("change: {unit: deg, max_up: 3, max_down: 12}", "change: {unit: deg, max_up: 1.5}")
	b.types("passphrase", "not this one")
	b.follows("Add club-start, revision 1")
	b.sees("the passphrase does not open your key")
	b.everyLook(axe, "adding-refused")
	b.confirms("Add club-start, revision 1")
	b.sees("You added limits club-start, revision 1.")
	if _, file, err := w.lead.client.Document(ctx, client.Limits, "club-start", 0); err != nil || !strings.Contains(string(file), "max_up: 1.5") || !strings.Contains(string(file), "98 RON") {
		t.Errorf("what was added: %v\n%.400s", err, file)
	}
	b.follows("Change it into a new revision")
	b.edits("max_up: 1.5", "max_up: 2")
	b.follows("Check the text again")
	b.confirms("Add club-start, revision 2")
	b.follows("what it changed")
	b.until("the line that changed", `document.querySelector(".came code").textContent.includes("max_up: 2") && document.querySelector(".went code").textContent.includes("max_up: 1.5")`)
	if axe == "" {
		lacks(t, noAxe)
	}
}
