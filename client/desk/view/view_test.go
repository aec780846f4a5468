package view

import (
	"bytes"
	"flag"
	"fmt"
	"html/template"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed/changedtest"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

var update = flag.Bool("update", false, "write the golden files anew")

const hostile = `<script>alert("1")</script>' onclick=x & "`

const benchDefinition = `name: bench
byte_order: big
image: {start: 0x0, size: 0x100, segments: [{start: 0x0, end: 0x100, content: calibration}]}
axes:
  - {id: speed, quantity: engine_speed, unit: 1/min, points: [1000, 2000, 3000]}
  - {id: load, quantity: cylinder_filling, unit: "%", stored: {address: 0x10, type: u8, count: 2}}
  - {id: gear, quantity: gear, unit: "1", points: [1, 2, 3], index: true}
tables:
  - {id: advance, title: Advance, quantity: ignition_advance, unit: deg, stored: {address: 0x20, type: s8}, conversion: {factor: 0.75}, x: {axis: speed}, y: {axis: load}}
  - {id: cut, title: Cut, quantity: manifold_pressure, unit: kPa, stored: {address: 0x30, type: u8}, x: {axis: speed}}
  - {id: by-gear, title: By gear, quantity: manifold_pressure, unit: kPa, stored: {address: 0x40, type: u8}, x: {axis: gear}}
  - {id: single, title: One point, quantity: manifold_pressure, unit: kPa, stored: {address: 0x48, type: u8}, x: {quantity: engine_speed, unit: 1/min, points: [800]}}
  - {id: switch, title: Switch, stored: {address: 0x50, type: u8}, conversion: {labels: {0: "off", 1: "on"}}}
  - {id: modes, title: Modes, stored: {address: 0x54, type: u8}, conversion: {labels: {0: "off", 1: '` + "<b>armed</b>" + `'}}, x: {axis: gear}}
  - {id: idle, title: '` + "<script>alert(\"1\")</script>'' onclick=x & \"" + `', quantity: engine_speed, unit: 1/min, stored: {address: 0x60, type: u16}}
  - {id: gain, title: Gain, quantity: gain, unit: "1", stored: {address: 0x68, type: f32}, x: {axis: speed}}
`

const benchLimits = `name: bench
rules:
  - id: ceiling
    severity: warning
    select: {tables: [advance]}
    reason: "Knock <i>margin</i>."
    source: common practice
    envelope: {side: max, unit: deg, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000]}, values: [[20, 30]]}
  - {id: floor, severity: notice, select: {tables: [advance]}, reason: Misfire., source: common practice, range: {unit: deg, min: 0}}
  - {id: press, severity: danger, select: {quantity: manifold_pressure}, reason: Pistons., source: common practice, range: {unit: kPa, max: 200, min: 50}}
`

// bench is a small controller: base, and a candidate with changes at the addresses given.
type bench struct {
	lay        *definition.Layout
	lim        *limits.Limits
	base, cand []byte
	report     *calibrationv1.Report
}

func newBench(t testing.TB, change map[int]byte) *bench {
	t.Helper()
	b := &bench{base: make([]byte, 0x100)}
	var err error
	if b.lay, err = definition.Load("bench.yaml", []byte(benchDefinition)); err != nil {
		t.Fatal(err)
	}
	if b.lim, err = limits.Load("limits.yaml", []byte(benchLimits)); err != nil {
		t.Fatal(err)
	}
	copy(b.base[0x10:], []byte{100, 20}) // falls
	copy(b.base[0x20:], []byte{10, 12, 14, 20, 24, 28})
	copy(b.base[0x30:], []byte{180, 190, 195})
	copy(b.base[0x40:], []byte{120, 150, 180})
	b.base[0x48] = 100
	copy(b.base[0x60:], []byte{3, 32}) // 800
	b.cand = bytes.Clone(b.base)
	for at, v := range change {
		b.cand[at] = v
	}
	b.report, err = compare.Compare(compare.Input{Base: image.Whole(0, b.base), Candidate: image.Whole(0, b.cand), Layout: b.lay, Limits: b.lim})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *bench) drawn() *Comparison {
	return &Comparison{Report: b.report, Layout: b.lay, Limits: b.lim, Base: b.base, Candidate: b.cand}
}

func nowhere(*calibrationv1.Finding) string { return "/x?" + hostile }

func (b *bench) page(t testing.TB, id string) string {
	t.Helper()
	out, err := b.drawn().Table(id, Whole{History: func(cell int) string { return fmt.Sprintf("%s row %d", hostile, cell/b.lay.ByID[id].Cells.NX) }, Section: "/section?" + hostile, Href: nowhere})
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

func (b *bench) card(t testing.TB, id string) string {
	t.Helper()
	for _, tr := range b.report.GetTables() {
		if tr.GetId() == id {
			return string(b.drawn().Card(tr, "/t?a=1&b="+hostile))
		}
	}
	t.Fatalf("the report has no table %s", id)
	return ""
}

// What a table is since the car first came stands beside what this submission did to it, where they differ.
func TestACardSaysWhatIsSinceTheCarFirstCame(t *testing.T) {
	b := newBench(t, map[int]byte{0x20: 11})
	if len(b.report.GetTables()) != 1 {
		t.Fatalf("%d tables changed", len(b.report.GetTables()))
	}
	tr := b.report.GetTables()[0]
	once := tr.GetDelta().GetMax()
	twice := 2 * once
	tr.FromAsFound = &calibrationv1.SinceAsFound{Changed: tr.GetChanged(), Min: &once, Max: &once}
	if card := b.card(t, tr.GetId()); strings.Contains(card, "first came") {
		t.Errorf("it says twice what is the same: %s", card)
	}
	tr.FromAsFound = &calibrationv1.SinceAsFound{Changed: 3, Min: &once, Max: &twice}
	want := fmt.Sprintf("1 of 6 cells, by %s deg in this submission; since the car first came 3, by %s to %s deg", decimals(2).signed(once), decimals(2).signed(once), decimals(2).signed(twice))
	if card := b.card(t, tr.GetId()); !strings.Contains(card, want) {
		t.Errorf("no %q in %s", want, card)
	}
}

// WCAG 2.2, success criterion 1.4.3: 4.5 to 1. The colours are read out of the style that browsers get,
// and the formula is written out here again from the recommendation's definition of relative luminance.
func TestEveryNumberReadsOnItsColour(t *testing.T) {
	rule := regexp.MustCompile(`\.([dvr]-?\d+) \{ --c: #([0-9a-f]{6}); --t: #([0-9a-f]{6}); \}`)
	found := rule.FindAllStringSubmatch(CSS, -1)
	const each = 4*steps + 3
	if len(found) != 2*each {
		t.Fatalf("%d colours in the style; want %d, light and dark", len(found), 2*each)
	}
	lum := func(hex string) float64 {
		v, err := strconv.ParseUint(hex, 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		l := 0.0
		for i, weight := range []float64{.0722, .7152, .2126} {
			c := float64(v>>(8*i)&255) / 255
			if c <= .03928 {
				c /= 12.92
			} else {
				c = math.Pow((c+.055)/1.055, 2.4)
			}
			l += weight * c
		}
		return l
	}
	seen := map[string]bool{}
	for i, m := range found {
		a, b := lum(m[2]), lum(m[3])
		if ratio := (max(a, b) + .05) / (min(a, b) + .05); ratio < 4.5 {
			t.Errorf("step %s (%d): #%s on #%s is %.2f to 1", m[1], i, m[3], m[2], ratio)
		}
		key := fmt.Sprint(i/each, m[1][:1], m[2])
		if seen[key] {
			t.Errorf("%s has the colour of another step", m[1])
		}
		seen[key] = true
	}
}

// Brown and teal must stay apart for colour-blind people. The matrices for protanopia and deuteranopia are
// Machado, Oliveira and Fernandes (2009), severity 1.0, on linear light; from memory, not looked up.
func TestBrownAndTealStayApart(t *testing.T) {
	matrices := map[string][9]float64{
		"protanopia":   {.152286, 1.052583, -.204868, .114503, .786281, .099216, -.003882, -.048116, 1.051998},
		"deuteranopia": {.367322, .860646, -.227968, .280085, .672501, .047413, -.011820, .042940, .968881},
	}
	seen := func(m [9]float64, c rgb) (out rgb) {
		var lin rgb
		for i, v := range c {
			lin[i] = math.Pow(v/255, 2.2)
		}
		for i := range out {
			v := m[3*i]*lin[0] + m[3*i+1]*lin[1] + m[3*i+2]*lin[2]
			out[i] = 255 * math.Pow(min(max(v, 0), 1), 1/2.2)
		}
		return out
	}
	for name, m := range matrices {
		for ground, th := range map[string]theme{"light": light, "dark": dark} {
			for n := 3; n <= steps; n++ {
				brown, teal := seen(m, th.brown.at(float64(n)/steps)), seen(m, th.teal.at(float64(n)/steps))
				// Blue less yellow tells them apart.
				if d := (teal[2] - (teal[0]+teal[1])/2) - (brown[2] - (brown[0]+brown[1])/2); d < 12 {
					t.Errorf("%s, %s, step %d: %s and %s differ by %.0f in blue against yellow", name, ground, n, brown, teal, d)
				}
			}
		}
	}
}

// change touches every table of the bench.
var change = map[int]byte{0x21: 40, 0x23: 0xFC, 0x31: 201, 0x42: 170, 0x48: 101, 0x50: 1, 0x55: 1, 0x61: 33, 0x6A: 1}

func TestNothingThatWasWrittenByOthersIsMarkup(t *testing.T) {
	b := newBench(t, change)
	var pages []string
	for _, tr := range b.report.GetTables() {
		pages = append(pages, b.page(t, tr.GetId()), b.card(t, tr.GetId()))
	}
	r := &calibrationv1.Report{Findings: []*calibrationv1.Finding{{Rule: hostile, Severity: hostile, Table: hostile, Origin: hostile, Reason: hostile,
		Source: hostile, Detail: hostile, Tables: []string{hostile}, Ranges: []*calibrationv1.UnmappedRange{{Start: hostile, Content: hostile}}}}}
	pages = append(pages, string((&Comparison{Report: r, Layout: b.lay}).Findings(nowhere)), string((&Comparison{Report: r}).Findings(nowhere)), string(b.drawn().Findings(nowhere)))
	allowed := " a b button caption circle div dd dl dt figcaption figure h2 h3 html head body li ol p path span strong svg table tbody td text th thead tr ul "
	for _, page := range pages {
		doc, err := html.Parse(strings.NewReader(page))
		if err != nil {
			t.Fatal(err)
		}
		for n := range doc.Descendants() {
			if n.Type != html.ElementNode {
				continue
			}
			if !strings.Contains(allowed, " "+n.Data+" ") {
				t.Errorf("element <%s> in %s", n.Data, page)
			}
			for _, a := range n.Attr {
				if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
					t.Errorf("attribute %s on <%s>", a.Key, n.Data)
				}
			}
		}
	}
}

func TestEveryChangedCellIsThereWithItsNumbers(t *testing.T) {
	b := newBench(t, change)
	if len(b.report.GetTables()) != 8 {
		t.Fatalf("%d tables changed; want 8", len(b.report.GetTables()))
	}
	for _, tr := range b.report.GetTables() {
		cells := cellsOf(t, b.page(t, tr.GetId()))
		def := b.lay.ByID[tr.GetId()]
		for _, c := range changedtest.Objects(tr) {
			i := int(c.GetRow())*def.Cells.NX + int(c.GetColumn())
			want := map[string]string{"base": c.GetBase().GetStringValue(), "candidate": c.GetCandidate().GetStringValue()}
			if c.Delta != nil {
				want["base"], want["candidate"] = places(def.Cells).text(c.GetBase().GetNumberValue()), places(def.Cells).text(c.GetCandidate().GetNumberValue())
				want["difference"] = places(def.Cells).signed(c.GetDelta())
			}
			for pane, text := range want {
				if got := cells[pane][i]; got.text != text {
					t.Errorf("%s, %s, cell %d: shows %q, the report says %q", tr.GetId(), pane, i, got.text, text)
				}
			}
			if class := cells["difference"][i].class; !strings.Contains(class, " up") && !strings.Contains(class, " down") && !strings.Contains(class, " other") {
				t.Errorf("%s, cell %d changed and is not marked: class %q", tr.GetId(), i, class)
			}
		}
		if want := def.Cells.NX * def.Cells.NY; len(cells["candidate"]) != want {
			t.Errorf("%s: %d cells; want %d", tr.GetId(), len(cells["candidate"]), want)
		}
	}
}

type shown struct{ text, class string }

// cellsOf are the cells of each pane, in order.
func cellsOf(t *testing.T, page string) map[string][]shown {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]shown{}
	for n := range doc.Descendants() {
		if n.Data != "td" || attr(n, "tabindex") == "" {
			continue
		}
		var text strings.Builder
		for d := range n.Descendants() {
			if d.Type == html.TextNode {
				text.WriteString(d.Data)
			}
		}
		table := n.Parent
		for table.Data != "table" {
			table = table.Parent
		}
		pane := attr(table, "data-pane")
		out[pane] = append(out[pane], shown{text.String(), attr(n, "class")})
	}
	return out
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

// The limit at 2000 1/min lies midway between 20 and 30: 25 deg. Cell 1 holds 40*0.75 = 30 deg.
func TestWhatIsBeyondALimitIsHatched(t *testing.T) {
	b := newBench(t, change)
	cells := cellsOf(t, b.page(t, "advance"))
	want := []string{"7.50", "−5.00", "10.50", "−3.00", "7.00", "9.00"}
	for i, room := range cells["room"] {
		if room.text != want[i] {
			t.Errorf("cell %d: room %q; want %q", i, room.text, want[i])
		}
		for _, pane := range []string{"candidate", "difference", "room"} {
			if over := strings.Contains(cells[pane][i].class, " over"); over != strings.HasPrefix(want[i], "−") {
				t.Errorf("cell %d of %s: hatched is %v with room %s", i, pane, over, want[i])
			}
		}
	}
	unlimited := b.drawn()
	unlimited.Limits = nil
	if page, err := unlimited.Table("advance", Whole{}); err != nil || strings.Contains(string(page), `data-pane="room"`) {
		t.Errorf("without limits there is a room grid, or %v", err)
	}
}

func TestShapes(t *testing.T) {
	moved := map[int]byte{0x10: 90}
	for at, v := range change {
		moved[at] = v
	}
	b := newBench(t, moved)
	for id, want := range map[string][]string{
		"advance": {`<h2>Surface</h2>`, `Cells as stored`, `<th scope="row">90</th>`, `<th scope="row">100</th>`, `down: cylinder filling, %`},
		"cut":     {`class="line base"`, `class="line cand"`, `class="band-allowed"`, `class="limit"`},
		"by-gear": {`h14`, `class="dot cand"`},
		"single":  {`+1`},
		"modes":   {`&lt;b&gt;armed&lt;/b&gt;`, `other label`},
		"switch":  {`other label`, `off`},
		"idle":    {`data-pane="difference"`, `+1`},
	} {
		page := b.page(t, id)
		for _, w := range want {
			if !strings.Contains(page, w) {
				t.Errorf("%s lacks %q:\n%s", id, w, page)
			}
		}
		if strings.Contains(page, "NaN") || strings.Contains(page, "%!") {
			t.Errorf("%s draws what is no number:\n%s", id, page)
		}
		if n := strings.Count(page, `tabindex="0" aria-selected="true"`); n != strings.Count(page, `tabindex="0"`)-strings.Count(page, `tabindex="0" role="region"`) || n != strings.Count(page, `role="grid"`) {
			t.Errorf("%s: %d cells can be reached by Tab; want one in each grid", id, n)
		}
		b.card(t, id)
	}
	for name, call := range map[string]func() (template.HTML, error){
		"unknown": func() (template.HTML, error) {
			return b.drawn().Table("none", Whole{})
		},
		"short": func() (template.HTML, error) {
			return (&Comparison{Report: b.report, Layout: b.lay, Base: b.base[:9], Candidate: b.cand}).Table("cut", Whole{})
		},
	} {
		if _, err := call(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Numbers worked out by hand.
func TestNumbers(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{decimals(2).text(-.75), "−0.75"}, {decimals(1).text(math.Copysign(0, -1)), "0.0"}, {decimals(1).text(.004), "0.004"},
		{decimals(2).signed(1.5), "+1.50"}, {decimals(2).signed(0), "0.00"}, {decimals(2).signed(-1.5), "−1.50"},
		{decimals(1).room(.29), "0.2"}, {decimals(1).room(-.21), "−0.3"}, {decimals(1).room(.3), "0.3"}, {decimals(0).room(.4), "0"},
		{decimals(1).text(math.Inf(-1)), "−∞"}, {decimals(1).text(math.NaN()), "no number"}, {decimals(-1).text(1.0 / 3), "0.333333"},
	} {
		if c.got != c.want {
			t.Errorf("%q; want %q", c.got, c.want)
		}
	}
	for _, c := range []struct{ got, want string }{
		{decimals(1).near(20.5), "20.5"}, {decimals(1).near(20.25), "20.25"}, {decimals(1).near(62.0 / 3), "20.67"}, {decimals(0).near(-1.5), "−1.5"}, {decimals(0).near(1e-7), "1e−07"},
	} {
		if c.got != c.want {
			t.Errorf("%q; want %q", c.got, c.want)
		}
	}
	for _, c := range []struct{ got, want ink }{
		{deltaInk(0, 5), "d0"}, {deltaInk(1e-9, 5), "d1"}, {deltaInk(-1e-9, 5), "d-1"}, {deltaInk(5, 5), "d12"}, {deltaInk(-9, 5), "d-12"},
		{deltaInk(math.NaN(), 5), "d0"}, {deltaInk(math.Inf(-1), 5), "d-12"}, {deltaInk(2.5, 5), "d6"},
		{valueInk(1, 1, 1), "v0"}, {valueInk(0, 0, 10), "v0"}, {valueInk(5, 0, 10), "v6"}, {valueInk(10, 0, 10), "v12"}, {valueInk(math.MaxFloat64, -math.MaxFloat64, math.MaxFloat64), "v12"},
		{roomInk(-3, 10), "r12"}, {roomInk(0, 10), "r12"}, {roomInk(.01, 10), "r11"}, {roomInk(10, 10), "r0"}, {roomInk(99, 10), "r0"}, {roomInk(math.Inf(1), 10), "r0"}, {roomInk(math.Inf(-1), 10), "r12"},
	} {
		if c.got != c.want {
			t.Errorf("ink %s; want %s", c.got, c.want)
		}
	}
}

func TestSlipDoesNotFlattenTheRest(t *testing.T) {
	vs := make([]float64, 100)
	for i := range vs {
		vs[i] = float64(i)
	}
	if low, high := inked(vs); low != 0 || high != 99 {
		t.Errorf("without an outlier the colours run %v to %v; want 0 to 99", low, high)
	}
	vs[50] = 9999
	if _, high := inked(vs); high > 99 {
		t.Errorf("one slip spreads the colours up to %v", high)
	}
}

// The golden file was read against the bench's numbers when it was made.
func TestGoldenMap(t *testing.T) {
	b := newBench(t, change)
	got := strings.ReplaceAll(b.page(t, "advance"), "><", ">\n<")
	file := filepath.Join("testdata", "advance.html")
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the map's page is another one; run with -update and read the difference:\n%s", got)
	}
}

func FuzzPage(f *testing.F) {
	f.Add([]byte{100, 20}, 0x10)
	f.Add([]byte{0x7f, 0xc0, 0, 0, 0xff, 0x80, 0, 0, 0x7f, 0x7f, 0xff, 0xff}, 0x68) // no number, minus infinity, the largest
	f.Add([]byte{9, 9, 9, 9, 9, 9}, 0x50)
	f.Fuzz(func(t *testing.T, data []byte, at int) {
		b := newBench(t, nil)
		if at < 0 || at >= len(b.cand) {
			return
		}
		copy(b.cand[at:], data)
		var err error
		if b.report, err = compare.Compare(compare.Input{Base: image.Whole(0, b.base), Candidate: image.Whole(0, b.cand), Layout: b.lay, Limits: b.lim}); err != nil {
			t.Fatal(err)
		}
		for _, tr := range b.report.GetTables() {
			for _, s := range []string{b.page(t, tr.GetId()), b.card(t, tr.GetId())} {
				if strings.Contains(s, `"NaN`) || strings.Contains(s, " NaN") || strings.Contains(s, "Inf") {
					t.Errorf("%s draws what is no number: %s", tr.GetId(), s)
				}
			}
		}
	})
}
