package view

import (
	"cmp"
	"fmt"
	"strings"

	"witnessmark/client/sheet"
)

// writeUnjudged says what could not look at a table, and why.
func (c *Comparison) writeUnjudged(b *strings.Builder, id string) {
	for _, u := range c.Report.GetUnjudged() {
		if u.GetTable() == id {
			fmt.Fprintf(b, `<p class="small">Not judged%s: %s.</p>`, map[bool]string{true: " by <b>" + esc(u.GetRule()) + "</b>"}[u.GetRule() != ""], esc(u.GetReason()))
		}
	}
}

func writeSummary(b *strings.Builder, p *pair) {
	fmt.Fprintf(b, `<p class="facts-line">%s`, esc(upperFirst(p.t.Kind)))
	if p.t.Kind == "text" {
		fmt.Fprintf(b, ` of %s.`, count(p.t.Cells.NX*p.t.Cells.NY, "byte"))
	} else {
		fmt.Fprintf(b, ` of %s`, esc(cmp.Or(sheet.Words(p.t.Quantity), "no quantity")))
		if u := strings.TrimSpace(tableUnit(p.t)); u != "" {
			fmt.Fprintf(b, ` in %s`, esc(u))
		}
		for i, a := range p.t.Axes {
			fmt.Fprintf(b, `; %s: %s`, []string{"across", "down", "slice by slice"}[min(i, 2)], esc(axisName(a, sheet.Side(i))))
			if a.By != nil {
				fmt.Fprintf(b, ` (looked up through %s)`, esc(a.By.ID))
			}
		}
		b.WriteString(`.`)
		if p.astray() == "" {
			fmt.Fprintf(b, ` %d of %d cells changed.`, p.report.GetChanged(), len(p.cand.Bits))
		}
	}
	if p.report.GetAxesChanged() {
		b.WriteString(` Breakpoints changed.`)
		if p.report.GetRegridded() {
			b.WriteString(` The surface did not, to half a raw step.`)
		}
	}
	b.WriteString(p.used())
	if p.report != nil {
		if by := p.report.GetJudgedBy(); len(by) > 0 {
			fmt.Fprintf(b, ` Judged by %s.`, esc(strings.Join(by, ", ")))
		} else {
			b.WriteString(` No limit looks at it.`)
		}
	}
	b.WriteString(`</p>`)
}

// used says of axes whose count stands in the image how many breakpoints are used, where that is not all of them.
func (p *pair) used() (out string) {
	if p.base.Astray != nil || p.cand.Astray != nil {
		return ""
	}
	for i, a := range p.t.Axes {
		was, is := p.base.Table.Axes[i].Count, p.cand.Table.Axes[i].Count
		if was == a.Count && is == a.Count {
			continue
		}
		out += fmt.Sprintf(` Of %s %d of at most %d breakpoints are used`, esc(named(a, sheet.Side(i))), is, a.Count)
		if was != is {
			out += fmt.Sprintf(`, in the base %d`, was)
		}
		out += "."
	}
	return out
}
