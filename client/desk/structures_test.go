package desk

import (
	"strings"
	"testing"
)

// Every structure is shown on every page that shows tables, and each finding leads to its slice and cell.
func TestStructuresOnTheDesk(t *testing.T) {
	w := newWorld(t)
	w.structured(1)
	b := w.inside(w.lead.desk)
	sheet := b.shows("/sheet/1.1", "Changed tables, folder by folder, worst first", `<h3 class="folder">Engine, Fuel</h3>`, `<h3 class="folder">In no folder</h3>`,
		"Torque wanted, known as TQ_Want[0]", "Shown is gear third.", "<ins>hill</ins>", `href="/sheet/1.1/table/torque?slice=0&at=0,1"`, `href="/sheet/1.1/table/trim?slice=0,0&at=0,0"`,
		"first: on → <b>off</b>")
	if strings.Contains(sheet, "NaN") || strings.Contains(sheet, "no number") {
		t.Error("the sheet shows what is no number")
	}
	table := b.shows("/sheet/1.1/table/torque?slice=2&at=1,2", `Gear second</h2>`, "known as TQ_Want[0]", "set by 1.1, submitted by calibrator", `href="/sheet/1.1/table/torque?slice=0&at=0,1"`,
		`data-section="/sheet/1.1/section/torque?slice=2&"`)
	if !strings.Contains(table, `aria-selected="true" data-h="1"`) || !strings.Contains(table, "difference +63") {
		t.Error("the cursor does not stand where the address says")
	}
	b.shows("/sheet/1.1/section/torque?slice=2&at=1,2", "pedal position 80 %, gear second")
	b.shows("/sheet/1.1/table/note", "set by 1.1, submitted by calibrator, not signed off", "<del>road</del>")
	b.shows("/sheet/1.2/table/flow", "Of engine speed 3 of at most 4 breakpoints are used, in the base 2.", "<h2>Surface</h2>", "set by 1.2")
	b.shows("/sheet/1.2/table/ramp", "Its cells cannot be read:", "pointer in ramp", "allowed:")
	b.shows("/sheet/1.2", "rule ", "pointer", "only the candidate has it at air_temperature 60")
	b.shows("/job/1/between?a=1.1&b=1.2", `<h3 class="folder">torque</h3>`)
	b.shows("/between/1.1/1.2/table/torque", "102", "Gear third")
	b.shows("/report/1.read1", "judged by itself")
	b.shows("/job/1/submit", "Torque wanted, known as TQ_Want[0]")
	b.shows("/search?text=tq_want&definition=structured", "<b>TQ_Want[0]</b> is <b>torque</b>, Torque wanted", `href="/sheet/1.1"`)
	if body := b.shows("/search?text=tq_want", "Nothing has all of these words."); strings.Contains(body, "is <b>torque") {
		t.Error("a name is looked for in a definition that nobody picked")
	}
	b.shows("/search?text=tq_want&definition=none", "none")
	for _, path := range []string{"/sheet/1.1/section/torque?at=0,0", "/sheet/1.1/section/torque?slice=7&at=0,0", "/sheet/1.1/section/torque?slice=0&at=9,0", "/sheet/1.2/section/ramp?at=0,0"} {
		if status, _ := b.get(path); status < 400 || status >= 500 {
			t.Errorf("%s answers %d", path, status)
		}
	}
}
