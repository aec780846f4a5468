package view

import (
	"fmt"
	"html/template"
	"maps"
	"math"
	"slices"
	"strings"

	"witnessmark/client/plot"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
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
		n, unit := signalPlaces(s), unitOf(r.GetUnit())
		fmt.Fprintf(&b, `<p class="numbers">moved by %s%s%s to %s%s%s</p>`, esc(n.signed(n.round(d.GetMin()))), esc(unit), esc(atInputs(s, d.GetAtMin())), esc(n.signed(n.round(d.GetMax()))), esc(unit), esc(atInputs(s, d.GetAtMax())))
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
	if s != nil {
		c.writeSignal(&b, s, r, found)
	}
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
func signalPlaces(s *definition.Signal) decimals {
	for d := range 5 {
		if s != nil && s.Step > 0 && whole(s.Step, d) {
			return decimals(d)
		}
	}
	return -1
}

// atInputs is an operating point behind a number, in the order of the signal's inputs.
func atInputs(s *definition.Signal, at map[string]float64) string {
	if words := inputs(s, at); words != "" {
		return " at " + words
	}
	return ""
}

func inputs(s *definition.Signal, at map[string]float64) string {
	var parts, said []string
	say := func(quantity, unit string) {
		if v, ok := at[quantity]; ok && !slices.Contains(said, quantity) {
			said = append(said, quantity)
			parts = append(parts, along(&definition.Axis{Quantity: quantity, Unit: unit}, quantity, math.Round(v*100)/100))
		}
	}
	if s != nil {
		for _, in := range s.Inputs {
			say(in.Quantity, in.Unit)
		}
	}
	for _, quantity := range slices.Sorted(maps.Keys(at)) {
		say(quantity, "")
	}
	return strings.Join(parts, ", ")
}

// writeSignal draws both sides through the worst point, or where it moved most.
func (c *Comparison) writeSignal(b *strings.Builder, s *definition.Signal, r *calibrationv1.SignalReport, found []*calibrationv1.Finding) {
	at, d := r.GetDelta().GetAtMax(), r.GetDelta()
	if math.Abs(d.GetMin()) > math.Abs(d.GetMax()) {
		at = d.GetAtMin()
	}
	var w *calibrationv1.Worst
	if len(found) > 0 && len(found[0].GetWorst().GetInputs()) > 0 {
		w = found[0].GetWorst()
		at = w.GetInputs()
	}
	if uint64(len(c.Base)) != c.Layout.Size || uint64(len(c.Candidate)) != c.Layout.Size {
		return
	}
	var best *section
	reach := math.Inf(-1)
	for _, in := range s.Inputs {
		one, err := c.sweep(s, in, at)
		if err != nil {
			fmt.Fprintf(b, `<p class="small">No picture: %s.</p>`, esc(err.Error()))
			return
		}
		if low, high := plot.Extent(one.cand); high-low > reach {
			best, reach = one, high-low
		}
	}
	if best == nil || len(best.candX) < 2 {
		return
	}
	c.refine(best, s, at)
	if w != nil && w.Limit != nil {
		best.limitX, best.limitY = at[best.axis.Quantity], w.GetLimit()
	}
	best.write(b, orElse(words(s.Quantity), s.ID), -1)
}

// sweep is a signal of both images along an input, the others held: from breakpoint to breakpoint.
func (c *Comparison) sweep(s *definition.Signal, in *definition.Input, at map[string]float64) (*section, error) {
	held := maps.Clone(at)
	maps.DeleteFunc(held, func(q string, _ float64) bool {
		return q == in.Quantity || !slices.ContainsFunc(s.Inputs, func(i *definition.Input) bool { return i.Quantity == q })
	})
	cut := &section{axis: &definition.Axis{Quantity: in.Quantity, Unit: in.Unit}, name: "x", at: inputs(s, held), limitY: math.NaN()}
	for _, side := range []struct {
		image []byte
		x, y  *[]float64
	}{{c.Base, &cut.baseX, &cut.base}, {c.Candidate, &cut.candX, &cut.cand}} {
		rows, err := c.signals(side.image).Sweep([]string{s.ID}, in.Quantity, held)
		if err != nil {
			return nil, err
		}
		for _, row := range rows.Rows {
			*side.x, *side.y = append(*side.x, row.At), append(*side.y, row.Values[0])
		}
	}
	return cut, nil
}

func (c *Comparison) signals(img []byte) *signal.View {
	return signal.Open(c.Layout, func(id string) *surface.Decoded { return surface.Decode(c.Layout.ByID[id], img) }).In(signal.NewSpace(c.Layout))
}

// between is how many stretches lie between two breakpoints: a signal curves there.
const between = 8

// refine adds points between those of a sweep, on both sides. An input that takes none has none.
func (c *Comparison) refine(cut *section, s *definition.Signal, at map[string]float64) {
	cut.named = cut.candX
	for _, side := range []struct {
		image []byte
		x, y  *[]float64
	}{{c.Base, &cut.baseX, &cut.base}, {c.Candidate, &cut.candX, &cut.cand}} {
		view, xs, ys := c.signals(side.image), *side.x, *side.y
		var finerX, finerY []float64
		for i, x := range xs {
			for n := 1; i > 0 && n < between && xs[i-1] < x; n++ {
				point := maps.Clone(at)
				point[cut.axis.Quantity] = xs[i-1] + float64((x-xs[i-1])*float64(n))/between
				if shown, err := view.Show([]string{s.ID}, point); err == nil {
					finerX, finerY = append(finerX, point[cut.axis.Quantity]), append(finerY, shown[0].GetValue())
				}
			}
			finerX, finerY = append(finerX, x), append(finerY, ys[i])
		}
		*side.x, *side.y = finerX, finerY
	}
}
