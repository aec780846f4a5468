package view

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strings"

	"witnessmark/client/sheet"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
)

// Signal is a signal that depends on a change, in small: what was found of it, how far it moved and
// where, what it comes from, and both sides through the worst point along the input that moves it most.
// Href leads from its findings and from the tables that changed.
func (c *Comparison) Signal(r *calibrationv1.SignalReport, href func(*calibrationv1.Finding) string, table func(id string) string) template.HTML {
	var b strings.Builder
	s := c.signalOf(r.GetId())
	var found []*calibrationv1.Finding
	for _, f := range c.Report.GetFindings() {
		if f.GetSignal() == r.GetId() {
			found = append(found, f)
		}
	}
	fmt.Fprintf(&b, `<h3 id="%s">%s`, esc(SignalAt(r.GetId())), esc(r.GetId()))
	if word := worstIn(found); word != "" {
		fmt.Fprintf(&b, ` <span class="verdict v-%s">%s</span>`, word, word)
	}
	b.WriteString(`</h3>`)
	if s != nil && s.Title != "" {
		fmt.Fprintf(&b, `<p class="small">%s</p>`, esc(s.Title))
	}
	b.WriteString(string(c.Brief(found, href)))
	if d := r.GetDelta(); d != nil {
		n, unit := c.signalPlaces(s), sheet.Unit(r.GetUnit(), "")
		for _, end := range []struct {
			name string
			by   float64
			at   map[string]float64
		}{{"at least", d.GetMin(), d.GetAtMin()}, {"at most", d.GetMax(), d.GetAtMax()}} {
			where := ""
			if words := c.operating(s, end.at); words != "" {
				where = " at " + words
			}
			fmt.Fprintf(&b, `<p class="numbers">moved by %s %s%s%s</p>`, end.name, esc(n.signed(n.round(end.by))), esc(unit), esc(where))
		}
	}
	if len(r.GetJudgedBy()) == 0 {
		b.WriteString(`<p><strong>no limit looks at it</strong></p>`)
	}
	b.WriteString(`<p class="small">Computed from`)
	for i, id := range r.GetDependsOn() {
		text := esc(id)
		if slices.ContainsFunc(c.Report.GetTables(), func(t *calibrationv1.TableReport) bool { return t.GetId() == id }) {
			text = fmt.Sprintf(`<a href="%s">%s</a>, which changed`, esc(table(id)), text)
		}
		fmt.Fprintf(&b, `%s %s`, map[bool]string{true: ";"}[i > 0], text)
	}
	b.WriteString(`.`)
	if !r.GetProven() {
		b.WriteString(` Not yet seen on an engine: it is what the definition says that the controller does.`)
	}
	b.WriteString(`</p>`)
	c.writeSignal(&b, r, found)
	return template.HTML(b.String())
}

// SignalAt is the id of a signal's card on its page.
func SignalAt(id string) string { return "signal-" + id }

func (c *Comparison) signalOf(id string) *definition.Signal {
	if c.Layout == nil {
		return nil
	}
	return c.Layout.SignalByID[id]
}

// signalPlaces is what a signal's step needs.
func (c *Comparison) signalPlaces(s *definition.Signal) decimals {
	if s != nil {
		if step := signal.Step(c.Layout, s); step > 0 {
			return digitsOf(step, 0)
		}
	}
	return -1
}

// operating is an operating point in words; empty of a signal that the definition does not have.
func (c *Comparison) operating(s *definition.Signal, at map[string]float64) string {
	if s == nil {
		return ""
	}
	return c.options().Operating(s, at)
}

func (c *Comparison) options() *sheet.Options {
	return &sheet.Options{Layout: c.Layout, Base: c.Base, Candidate: c.Candidate}
}

// between is how many stretches lie between two breakpoints: a signal curves there.
const between = 8

// writeSignal draws both sides through the worst point, or where it moved most.
func (c *Comparison) writeSignal(b *strings.Builder, r *calibrationv1.SignalReport, found []*calibrationv1.Finding) {
	curve, err := sheet.SignalCurve(c.Report, r, c.options(), between)
	if err != nil {
		fmt.Fprintf(b, `<p class="small">No picture: %s.</p>`, esc(err.Error()))
		return
	}
	if len(curve.X) < 2 {
		return
	}
	cut := &section{axis: &definition.Axis{Quantity: curve.Input.Quantity, Unit: curve.Input.Unit}, name: "x", at: strings.ReplaceAll(curve.Held, " -", " −"),
		baseX: curve.X, candX: curve.X, base: curve.Base, cand: curve.Candidate, named: curve.Breaks}
	if i := slices.IndexFunc(found, func(f *calibrationv1.Finding) bool { return len(f.GetWorst().GetInputs()) > 0 }); i >= 0 && curve.Limit != nil {
		cut.worst = &worstPoint{x: curve.At, value: found[i].GetWorst().GetValue(), limit: *curve.Limit}
		cut.worst.from, cut.worst.to = c.reach(found[i].GetRule(), curve)
	}
	cut.write(b, cmp.Or(sheet.Words(curve.Signal.Quantity), curve.Signal.ID))
}

// reach is the stretch of a curve on which a limit is the same as at its worst point; empty where only that point's is known.
func (c *Comparison) reach(rule string, curve *sheet.Curve) (from, to float64) {
	if c.Limits == nil {
		return 0, 0
	}
	for _, r := range c.Limits.Source.GetRules() {
		if r.GetId() != rule || r.GetRange() == nil {
			continue
		}
		from, to = curve.X[0], curve.X[len(curve.X)-1]
		if w := r.GetWhere()[curve.Input.Quantity]; w != nil {
			if w.GetUnit() != curve.Input.Unit {
				return 0, 0
			}
			if w.From != nil {
				from = max(from, w.GetFrom())
			}
			if w.To != nil {
				to = min(to, w.GetTo())
			}
		}
	}
	return from, to
}
