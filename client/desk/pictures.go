package desk

import (
	"fmt"
	"html/template"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// TODO(view): replaced by package view when it lands.
const viewCSS, viewJS = "", ""

func findingsHTML(r *calibrationv1.Report, _ *definition.Layout) template.HTML {
	var out template.HTML = "<ol>"
	for _, f := range r.Findings {
		out += template.HTML("<li>" + template.HTMLEscapeString(fmt.Sprintf("%s %s:%s %s %s", f.Severity, f.Rule, f.Table, f.Reason, f.Detail)) + "</li>")
	}
	return out + "</ol>"
}

func tableCardHTML(_ *calibrationv1.Report, tr *calibrationv1.TableReport, _ *definition.Layout, _, _ []byte, href string) template.HTML {
	return template.HTML(fmt.Sprintf(`<p><a href="%s">%s</a>: %d of %d cells</p>`, template.HTMLEscapeString(href), template.HTMLEscapeString(tr.Id), tr.Changed, tr.Cells))
}

func tablePageHTML(_ *calibrationv1.Report, id string, _ *definition.Layout, _, _ []byte, history func(row, col int) string) (template.HTML, error) {
	return template.HTML("<p>" + template.HTMLEscapeString(id+" "+history(0, 0)) + "</p>"), nil
}
