// Package view draws reports for the desk: findings, pictures of changed tables, and one table
// whole. It makes HTML and SVG that carry no style and no script of their own, for a strict
// Content-Security-Policy; CSS and JS are served as files.
package view

import (
	"fmt"
	"html/template"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/severity"
)

// Findings lists what was found against what is allowed, in the report's order: what counts first,
// the worst first. The layout may be nil; then axes have no names.
func Findings(r *calibrationv1.Report, lay *definition.Layout) template.HTML {
	if len(r.GetFindings()) == 0 {
		return "<p>No finding.</p>"
	}
	var b strings.Builder
	b.WriteString(`<ol class="findings">`)
	for _, f := range r.GetFindings() {
		writeFinding(&b, f, tableOf(lay, f.GetTable()))
	}
	b.WriteString("</ol>")
	return template.HTML(b.String())
}

func tableOf(lay *definition.Layout, id string) *definition.Table {
	if lay == nil {
		return nil
	}
	return lay.ByID[id]
}

func writeFinding(b *strings.Builder, f *calibrationv1.Finding, t *definition.Table) {
	word := severity.Of(f.GetSeverity()) // no class is made of what is not a signal word
	fmt.Fprintf(b, `<li class="finding f-%s"><p class="what"><span class="verdict v-%s">%s</span> <b>%s</b>`, word, word, esc(f.GetSeverity()), esc(f.GetRule()))
	if f.GetTable() != "" {
		fmt.Fprintf(b, ` in <b>%s</b>`, esc(f.GetTable()))
		if t != nil && t.Title != "" {
			fmt.Fprintf(b, `, %s`, esc(lowerFirst(t.Title)))
		}
	}
	if f.GetOrigin() != "" {
		fmt.Fprintf(b, ` <span class="origin">%s</span>`, esc(f.GetOrigin()))
	}
	b.WriteString("</p>")
	writeWorst(b, f, t)
	line := func(class, text string) {
		if text != "" {
			fmt.Fprintf(b, `<p%s>%s</p>`, class, esc(text))
		}
	}
	line("", f.GetDetail())
	for _, u := range f.GetRanges() {
		line("", fmt.Sprintf("%s to %s: %d bytes in %s", u.GetStart(), u.GetEnd(), u.GetBytes(), u.GetContent()))
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

// writeWorst says what was found, what is allowed, by how much it is beyond, and where.
func writeWorst(b *strings.Builder, f *calibrationv1.Finding, t *definition.Table) {
	w := f.GetWorst()
	if w == nil {
		return
	}
	unit := ""
	if t != nil {
		unit = unitOf(t.Unit)
	}
	b.WriteString(`<dl class="worst">`)
	item := func(name, value string) {
		if value != "" {
			fmt.Fprintf(b, `<div><dt>%s</dt><dd>%s</dd></div>`, name, esc(value))
		}
	}
	if w.Value != nil {
		item("Found", fine(w.GetValue())+unit)
	}
	if w.Limit != nil {
		item("Allowed", fine(w.GetLimit())+unit)
		item("Beyond by", fine(w.GetExcess())+unit)
	}
	item("At", point(t, w.X, w.Y))
	if f.GetCount() > 1 {
		item("Points", fmt.Sprintf("worst of %d", f.GetCount()))
	}
	b.WriteString("</dl>")
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
