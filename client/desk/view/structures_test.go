package view

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"witnessmark/client/desk/view/structured"
	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed/changedtest"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

func newStructured(t testing.TB, change func(b []byte)) *bench {
	t.Helper()
	b := &bench{base: structured.Image()}
	var err error
	if b.lay, err = definition.Load("structured.yaml", []byte(structured.Definition)); err != nil {
		t.Fatal(err)
	}
	if b.lim, err = limits.Load("limits.yaml", []byte(structured.Limits)); err != nil {
		t.Fatal(err)
	}
	b.cand = bytes.Clone(b.base)
	change(b.cand)
	b.compare(t)
	return b
}

func (b *bench) compare(t testing.TB) {
	t.Helper()
	var err error
	start := uint64(b.lay.Space[0].Start)
	if b.report, err = compare.Compare(compare.Input{Base: image.Whole(start, b.base), Candidate: image.Whole(start, b.cand), Layout: b.lay, Limits: b.lim}); err != nil {
		t.Fatal(err)
	}
}

// whole is the page of one slice of a table.
func (b *bench) whole(t testing.TB, id, slice, at string) string {
	t.Helper()
	out, err := b.drawn().Table(id, Whole{Slice: slice, At: at, History: func(cell int) string { return fmt.Sprint("cell ", cell) }, Section: "/section", Href: func(f *calibrationv1.Finding) string { return id + b.drawn().At(f) }})
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

func has(t *testing.T, page string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(page, w) {
			t.Errorf("no %q in %.6000s", w, page)
		}
	}
}

func hasNot(t *testing.T, page string, not ...string) {
	t.Helper()
	for _, w := range not {
		if strings.Contains(page, w) {
			t.Errorf("%q in %.6000s", w, page)
		}
	}
}

// Of a block each slice is a page: named by the axes beyond y, marked where it holds changes, with a cursor that stays.
func TestSlicesOfABlock(t *testing.T) {
	b := newStructured(t, structured.Everywhere)
	page := b.whole(t, "torque", "", "")
	has(t, page, `Block of engine torque in N.m; across: engine speed, 1/min; down: pedal position, %; slice by slice: gear. 3 of 18 cells changed.`,
		`<h2 class="in">Gear third</h2>`, `<a href="?slice=0&amp;at=0,1" aria-current="page">third <span class="other" title="1 change">1</span></a>`,
		`<a href="?slice=1&amp;at=0,1">first <span class="other"`, `<a href="?slice=1&amp;at=0,1" data-slice="1">Slice after</a>`, `<a href="?slice=1&amp;at=first" data-changes="1">Changes after</a>`,
		`3 of 3 slices hold changes.`, `data-in="gear third"`, `data-section="/section?slice=0&amp;"`, `through pedal position 20 %, gear third`,
		`<a href="torque?slice=0&amp;at=0,1">most in torque</a>`, `at engine speed 2000 1/min, pedal position 20 %, gear third`)
	hasNot(t, page, `data-slice="-1"`, `data-changes="-1"`)
	for slice, want := range map[string]map[int]string{"0": {1: "+90"}, "1": {2: "+1"}, "2": {5: "+63"}} {
		cells := cellsOf(t, b.whole(t, "torque", slice, "first"))["difference"]
		for i, c := range cells {
			if c.text != want[i] && (want[i] != "" || c.text != "0") {
				t.Errorf("slice %s, cell %d: %q, want %q", slice, i, c.text, want[i])
			}
		}
	}
	// Without a slice, "first" and "last" are changes of the whole table.
	has(t, b.whole(t, "torque", "", "first"), `Gear third</h2>`)
	has(t, b.whole(t, "torque", "", "last"), `Gear second</h2>`, `aria-selected="true" data-h="5">90`)
	has(t, b.whole(t, "torque", "9", "7,7"), `Gear third</h2>`) // what is none is where the largest change is
	first := newStructured(t, func(b []byte) { b[0]++ })        // of torque, in its first slice alone
	has(t, first.whole(t, "torque", "", "last"), `Gear third</h2>`, `aria-current="page">third <span class="other" title="1 change">1</span></a>`, `>second</a>`)

	four := b.whole(t, "trim", "2,1", "0,2")
	has(t, four, `slice by slice: gear; slice by slice: drive mode`, `Gear second, drive mode hill</h2>`, `<a href="?slice=0,1&amp;at=0,2">third`, `<a href="?slice=2,1&amp;at=0,2" aria-current="page">hill`,
		`2 of 6 slices hold changes.`, `data-changes="-1"`, `>77</td>`, `in parts of 8`)
	hasNot(t, four, `data-slice="1"`)
	if _, err := b.drawn().Section("trim", "2", "0,0"); err == nil || !strings.Contains(err.Error(), "slice") {
		t.Errorf("a section of no slice: %v", err)
	}
	section, err := b.drawn().Section("trim", "2,1", "1,0")
	if err != nil {
		t.Fatal(err)
	}
	has(t, string(section), "pedal position 80 %, gear second, drive mode hill")
	has(t, b.card(t, "torque"), `Shown is gear third.`, `3 of 3 slices hold changes.`, "Torque wanted, known as TQ_Want[0]")
	has(t, b.whole(t, "states", "0", ""), `>other label</td>`, `Gear third</h2>`)
	has(t, b.whole(t, "states", "1", ""), `>raw 1→3</td>`, `>part</td>`) // another number of the same label
}

// A code that is no value has a sign, and a title that says the code; it takes part in no number.
func TestCodesAreNoValues(t *testing.T) {
	b := newStructured(t, structured.Everywhere)
	page := b.whole(t, "trim", "0,0", "0,0")
	has(t, page, `title="raw 255 is no value">—</td>`, `base — (raw 255 is no value)`, `switched-off in trim`)
	cells := cellsOf(t, page)
	for pane, want := range map[string][]string{"base": {"—", "2"}, "candidate": {"9", "—"}, "difference": {"—", "—"}} {
		for i, text := range want {
			if got := cells[pane][i]; got.text != text || pane == "difference" && !strings.Contains(got.class, "other") {
				t.Errorf("%s, cell %d: %v, want %q", pane, i, got, text)
			}
		}
	}
	hasNot(t, page, "no number", "NaN", "+7", "253")
	hasNot(t, b.card(t, "trim"), "no number", "NaN")
}

// Where breakpoints moved too, the joined surface has no number where a code has a say, and the page is there all the same.
func TestCodesOnTheJoinedSurface(t *testing.T) {
	b := newStructured(t, func([]byte) {})
	text := strings.Replace(structured.Definition, "address: 0x805C, type: u8, layout: packed", "address: 0x805C, type: u8, layout: packed, not_a_value: [2]", 1)
	var err error
	if b.lay, err = definition.Load("codes.yaml", []byte(text)); err != nil {
		t.Fatal(err)
	}
	structured.Flow(b.cand, []uint16{1000, 1500, 3000}, []byte{20, 80}, []byte{1, 7, 5, 3, 8, 6})
	b.compare(t)
	cells := cellsOf(t, strings.SplitN(b.whole(t, "flow", "", ""), "Cells as stored", 2)[0])
	for pane, want := range map[string]string{"difference": "0 — — — 0 +4.5 +3.3 +2.0", "base": "1.0 — — — 3.0 3.5 4.0 4.0", "candidate": "1.0 7.0 6.3 5.0 3.0 8.0 7.3 6.0"} {
		var got []string
		for _, c := range cells[pane] {
			got = append(got, c.text)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s shows %q, want %q", pane, got, want)
		}
	}
}

func TestNamesAlongAxes(t *testing.T) {
	b := newStructured(t, structured.Everywhere)
	page := b.whole(t, "per-gear", "", "")
	has(t, page, `across: gear`, `<th scope="col" class="w5">third</th>`, `gear second: difference +300, candidate 450, base 150`, `h14`, `>first</text>`)
	hasNot(t, page, `class="line cand" d="M74.0 12.0L`)
	has(t, b.whole(t, "through", "", ""), `across: speed index (looked up through to-index). 0 of 3 cells changed.`)
	has(t, b.card(t, "kept"), `gear first: on → <b>off</b>`)
}

func TestTextsAreMarkedWhereTheyDiffer(t *testing.T) {
	b := newStructured(t, structured.Everywhere)
	page := b.whole(t, "note", "", "")
	has(t, page, `Text of 24 bytes.`, `<dt>Base</dt><dd class="text"><del>road</del>, stage <del>1</del></dd>`, `<dt>Candidate</dt><dd class="text"><ins>hill</ins>, stage <ins>2</ins></dd>`, `What set the bytes`)
	hasNot(t, page, "data-quad", "cells changed")
	has(t, b.card(t, "note"), "<ins>hill</ins>", "text changed; <strong>no limit looks at it</strong>")
	if _, err := b.drawn().Section("note", "", "0,0"); err == nil {
		t.Error("a text has sections")
	}
	hostileText := newStructured(t, func(b []byte) { copy(b[0x80:], "<script>alert(1)</scrip>") })
	hasNot(t, hostileText.whole(t, "note", "", "")+hostileText.card(t, "note"), "<script")
}

// Another count: the surface is joined, what is stored is lined up, and who lacks what is said.
func TestAnotherCount(t *testing.T) {
	b := newStructured(t, func(b []byte) {
		structured.Flow(b, []uint16{1000, 1500, 3000}, []byte{20, 80}, []byte{1, 7, 5, 3, 8, 6})
	})
	page := b.whole(t, "flow", "", "")
	has(t, page, `Of engine speed 3 of at most 4 breakpoints are used, in the base 2.`, `<h2>Surface</h2>`, `Cells as stored`, `<th scope="col" class="w4">1500</th>`, `not in the candidate`)
	cells := cellsOf(t, strings.SplitN(page, "Cells as stored", 2)[1])
	// In order: 1000 in both, 1500 new, 2000 gone, 3000 new.
	for pane, want := range map[string]string{"difference": "0 new gone new 0 new gone new", "candidate": "1 7 · 5 3 8 · 6", "base": "1 · 2 · 3 · 4 ·"} {
		var got []string
		for _, c := range cells[pane] {
			got = append(got, c.text)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s shows %q, want %q", pane, got, want)
		}
	}
	// History is by the candidate's own cells: the last is its sixth.
	has(t, page, `data-told="6"><span>cell 5</span>`)
	has(t, b.card(t, "flow"), "breakpoints changed", "Difference of the surface, g/s.", ">+5.5</td>", "Of engine speed 3 of at most 4")
	section, err := b.drawn().Section("flow", "", "0,3")
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(section), `class="dot cand"`); n != 3+2 {
		t.Errorf("%d dots of the candidate, want 3 along x and 2 along y", n)
	}

	fewer := newStructured(t, func(b []byte) { b[0xB0] = 3 })
	page = fewer.whole(t, "layers", "2", "")
	has(t, page, `<a href="?slice=2&amp;at=0,0" aria-current="page">60 <span class="other" title="6 changes">6</span></a>`, `Where slices lie changed along air temperature.`, `Air temperature 60 Cel</h2>`, `<h2>Surface</h2>`)
	if got := cellsOf(t, strings.SplitN(page, "Cells as stored", 2)[1])["difference"][0].text; got != "new" {
		t.Errorf("a slice that the base lacks differs by %q", got)
	}
	// Where only slices were added, the surface differs where the base holds its last slice.
	has(t, fewer.card(t, "layers"), "1 of 3 slices hold changes.", "Shown is air temperature 60 Cel.", "Difference of the surface", ">+6.0</td>")
	back := newStructured(t, func(b []byte) { b[0xB0] = 1 })
	page = back.whole(t, "layers", "1", "")
	has(t, page, `not on this side`, `>gone</td>`, `Air temperature 40 Cel</h2>`)
}

func TestATableThatLeadsOutside(t *testing.T) {
	b := newStructured(t, func(b []byte) { b[0x70], b[0x50] = 0x90, 9 })
	for id, want := range map[string]string{"ramp": "pointer in ramp", "flow": "pointer in flow"} {
		page := b.whole(t, id, "", "")
		has(t, page, want, "Its cells cannot be read:", "in the candidate ")
		hasNot(t, page, "data-quad")
		if _, err := b.drawn().Section(id, "", "0,0"); err == nil {
			t.Errorf("%s has sections", id)
		}
	}
	has(t, b.whole(t, "flow", "", ""), "in the candidate along engine speed its count at 0x8050 is 9; allowed: 1 to 4", `href="flow"`)
}

// The folder with the worst finding comes first; what is in a folder of a folder is named by both.
func TestFolders(t *testing.T) {
	c := newStructured(t, structured.Everywhere).drawn()
	var got []string
	for _, f := range c.Folders() {
		for _, t := range f.Tables {
			got = append(got, f.Name+": "+t.GetId())
		}
	}
	worst := c.WorstFirst()[0].GetId()
	if len(got) != 9 || !slices.Contains(got, "Engine, Fuel: flow") || !slices.Contains(got, "Engine, Fuel: trim") || !slices.Contains(got, "torque: torque") || !slices.Contains(got, "In no folder: note") || !strings.HasSuffix(got[0], ": "+worst) {
		t.Errorf("%q; the worst is %s", got, worst)
	}
	if plain := newBench(t, change).drawn().Folders(); len(plain) != 1 || plain[0].Name != "" {
		t.Errorf("without folders there are %v", plain)
	}
}

// Whatever bytes differ: pages and cards say of every changed cell what the report says, and nothing falls over.
func TestAnyBytesOfStructures(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 0))
	for range 300 {
		b := newStructured(t, func(b []byte) {
			for range 1 + r.IntN(8) {
				b[r.IntN(0x100)] = byte(r.IntN(256) >> (r.IntN(2) * 6))
			}
			if r.IntN(3) == 0 {
				b[0x50], b[0x51], b[0xB0] = byte(1+r.IntN(4)), byte(1+r.IntN(2)), byte(1+r.IntN(3))
			}
		})
		if r.IntN(2) == 0 {
			b.base, b.cand = b.cand, b.base
			b.compare(t)
		}
		for _, table := range b.lay.Tables {
			b.whole(t, table.ID, "", []string{"", "first", "last", "0,1"}[r.IntN(4)])
		}
		for _, f := range b.report.GetFindings() {
			b.drawn().At(f)
		}
		for _, tr := range b.report.GetTables() {
			b.card(t, tr.GetId())
			for _, c := range changedtest.Objects(tr) {
				b.saysChange(t, tr, c)
			}
		}
		if t.Failed() {
			t.Fatalf("seed %d: base %x, candidate %x", seed, b.base[:0x100], b.cand[:0x100])
		}
	}
}

// saysChange looks a changed cell up on the page of its slice, where At of a finding there leads.
func (b *bench) saysChange(t *testing.T, tr *calibrationv1.TableReport, c *calibrationv1.CellChange) {
	t.Helper()
	if tr.GetKind() == "text" {
		return
	}
	w := &calibrationv1.Worst{Row: &c.Row, Column: &c.Column, Slice: c.Slice}
	at := b.drawn().At(&calibrationv1.Finding{Table: tr.GetId(), Worst: w})
	_, slice, sliced := strings.Cut(at, "slice=")
	slice, _, _ = strings.Cut(slice, "&")
	_, cell, ok := strings.Cut(at, "at=")
	if !ok || sliced != (tr.GetKind() == "block") {
		t.Errorf("%s leads to %q", tr.GetId(), at)
		return
	}
	page := b.whole(t, tr.GetId(), slice, cell)
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	shown := map[string]string{}
	for n := range doc.Descendants() {
		if n.Type == html.ElementNode && attr(n, "aria-selected") == "true" {
			table := n.Parent
			for table.Data != "table" {
				table = table.Parent
			}
			if strings.HasPrefix(attr(table, "aria-labelledby"), "cells-") {
				shown[attr(table, "data-pane")] = n.FirstChild.Data
			}
		}
	}
	cells := b.lay.ByID[tr.GetId()].Cells
	for pane, v := range map[string]any{"base": c.GetBase().AsInterface(), "candidate": c.GetCandidate().AsInterface()} {
		want := sheet.NoValue
		switch v := v.(type) {
		case float64:
			want = places(cells).text(v)
		case string:
			want = v
		}
		if shown[pane] != want && shown[pane] != "b" { // hatched, the number is inside
			t.Errorf("%s, %s of %s: shows %q, the report says %q", tr.GetId(), pane, at, shown[pane], want)
		}
	}
}
