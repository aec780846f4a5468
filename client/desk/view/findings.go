package view

import (
	"cmp"
	"fmt"
	"html/template"
	"strings"

	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/severity"
)

// LongList is from how many things on a browser lays them out only as they are reached.
const LongList = 24

// Findings lists what was found against what is allowed, in the report's order: what counts first,
// the worst first. Each leads to where href says; empty leads nowhere. The layout may be nil; then
// axes have no names.
func (c *Comparison) Findings(href func(*calibrationv1.Finding) string) template.HTML {
	if len(c.Report.GetFindings()) == 0 {
		return "<p>No finding.</p>"
	}
	var b strings.Builder
	class := "findings"
	if len(c.Report.GetFindings()) > LongList {
		class += " long"
	}
	fmt.Fprintf(&b, `<ol class="%s">`, class)
	for _, f := range c.Report.GetFindings() {
		c.writeFinding(&b, f, tableOf(c.Layout, f.GetTable()), href(f))
	}
	b.WriteString("</ol>")
	return template.HTML(b.String())
}

// Brief is findings in a line each, which leads to where href says; empty where there are none.
func (c *Comparison) Brief(findings []*calibrationv1.Finding, href func(*calibrationv1.Finding) string) template.HTML {
	if len(findings) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString(`<ul class="brief">`)
	for _, f := range findings {
		name := f.GetRule()
		if at := cmp.Or(f.GetTable(), f.GetSignal()); at != "" {
			name += " in " + at
		}
		fmt.Fprintf(&b, `<li><span class="verdict v-%s">%s</span> `, severity.Of(f.GetSeverity()), esc(f.GetSeverity()))
		if at := href(f); at != "" {
			fmt.Fprintf(&b, `<a href="%s">%s</a>`, esc(at), esc(name))
		} else {
			b.WriteString(esc(name))
		}
		fmt.Fprintf(&b, ` %s`, esc(c.says(f)))
		if f.GetOrigin() != "" {
			fmt.Fprintf(&b, ` <span class="origin">%s</span>`, esc(f.GetOrigin()))
		}
		b.WriteString(`</li>`)
	}
	b.WriteString(`</ul>`)
	return template.HTML(b.String())
}

func (c *Comparison) writeFinding(b *strings.Builder, f *calibrationv1.Finding, t *definition.Table, href string) {
	word := severity.Of(f.GetSeverity()) // no class is made of what is not a signal word
	name := fmt.Sprintf(`<b>%s</b>`, esc(f.GetRule()))
	if at := cmp.Or(f.GetTable(), f.GetSignal()); at != "" {
		name += fmt.Sprintf(` in <b>%s</b>`, esc(at))
	}
	if href != "" {
		name = fmt.Sprintf(`<a href="%s">%s</a>`, esc(href), name)
	}
	fmt.Fprintf(b, `<li class="finding f-%s"><p class="what"><span class="verdict v-%s">%s</span> %s`, word, word, esc(f.GetSeverity()), name)
	title := ""
	if sig := c.signalOf(f.GetSignal()); sig != nil {
		title = sig.Title
	} else if t != nil {
		title = t.Title
	}
	if title != "" {
		fmt.Fprintf(b, `, %s`, esc(lowerFirst(title)))
	}
	if f.GetOrigin() != "" {
		fmt.Fprintf(b, ` <span class="origin">%s</span>`, esc(f.GetOrigin()))
	}
	b.WriteString("</p>")
	b.WriteString(`<dl class="worst">`)
	for _, p := range c.worst(f, t) {
		fmt.Fprintf(b, `<div><dt>%s</dt><dd>%s</dd></div>`, p[0], esc(p[1]))
	}
	b.WriteString("</dl>")
	line := func(class, text string) {
		if text != "" {
			fmt.Fprintf(b, `<p%s>%s</p>`, class, esc(text))
		}
	}
	line("", f.GetDetail())
	for _, u := range f.GetRanges() {
		line("", fmt.Sprintf("%s to %s: %s in %s", u.GetStart(), u.GetEnd(), count(int(u.GetBytes()), "byte"), u.GetContent()))
	}
	if len(f.GetTables()) > 0 {
		line("", "About "+strings.Join(f.GetTables(), ", ")+".")
	}
	line("", f.GetReason())
	if f.GetSource() != "" {
		line(` class="small"`, "Source: "+f.GetSource())
	}
	b.WriteString("</li>")
}

// worst is what was found, what is allowed, by how much it is beyond, and where: each a name and a text.
func (c *Comparison) worst(f *calibrationv1.Finding, t *definition.Table) (out [][2]string) {
	w := f.GetWorst()
	if w == nil {
		return nil
	}
	unit, n := "", decimals(-1)
	if t != nil {
		unit, n = tableUnit(t), places(t.Cells)
		if a := map[string]*definition.Axis{"x": t.X, "y": t.Y}[w.GetAlong()]; a != nil {
			unit, n = sheet.Unit(a.Unit, a.UnitText), places(a.Cells)
		}
	}
	sig := c.signalOf(f.GetSignal())
	if sig != nil {
		unit, n = sheet.Unit(sig.Unit, ""), c.signalPlaces(sig)
	}
	item := func(name, value string) {
		if value != "" {
			out = append(out, [2]string{name, value})
		}
	}
	if w.Value != nil {
		item("Found", n.near(w.GetValue())+unit)
	}
	if w.Limit != nil {
		item("Allowed", n.near(w.GetLimit())+unit)
		item("Beyond by", n.near(w.GetExcess())+unit)
	}
	at := coordinate.Where(t, w, w.X, w.Y)
	if sig != nil && len(w.GetInputs()) > 0 {
		at = c.operating(sig, w.GetInputs())
	}
	item("At", at)
	if f.GetCount() > 1 {
		item("Worst of", fmt.Sprintf("%d points", f.GetCount()))
	}
	return out
}

// Sentence is a finding in one line, as people write it to each other: its key first.
func (c *Comparison) Sentence(key string, f *calibrationv1.Finding) string {
	return key + ": " + c.says(f)
}

// says is what was found, in one line.
func (c *Comparison) says(f *calibrationv1.Finding) string {
	var parts []string
	for _, p := range c.worst(f, tableOf(c.Layout, f.GetTable())) {
		parts = append(parts, strings.ToLower(p[0])+" "+p[1])
	}
	return cmp.Or(strings.Join(parts, ", "), cmp.Or(f.GetDetail(), f.GetReason()))
}

func lowerFirst(s string) string {
	if len(s) > 1 && s[0] >= 'A' && s[0] <= 'Z' && s[1] >= 'a' && s[1] <= 'z' {
		return string(s[0]+32) + s[1:]
	}
	return s
}

func upperFirst(s string) string {
	if s != "" && s[0] >= 'a' && s[0] <= 'z' {
		return string(s[0]-32) + s[1:]
	}
	return s
}
