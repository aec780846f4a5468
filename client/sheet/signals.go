package sheet

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

// signal finds a signal of the candidate's definition; nil if it has none of that name.
func (o *Options) signal(id string) *definition.Signal {
	if l := o.candidateLayout(); l != nil {
		return l.SignalByID[id]
	}
	return nil
}

// signalDigits is what a signal's step needs.
func (o *Options) signalDigits(s *definition.Signal) decimals {
	if step := signal.Step(o.candidateLayout(), s); step > 0 {
		return digits(step)
	}
	return -1
}

// called is what a signal is, within a sentence.
func called(s *definition.Signal) string {
	title := []rune(plainText(cmp.Or(s.Title, s.ID)))
	if len(title) > 1 && 'A' <= title[0] && title[0] <= 'Z' && 'a' <= title[1] && title[1] <= 'z' {
		title[0] += 'a' - 'A'
	}
	return string(title)
}

func tablesOf(s *definition.Signal) string {
	ids := make([]string, len(s.Tables))
	for i, t := range s.Tables {
		ids[i] = t.ID
	}
	return strings.Join(ids, ", ")
}

// Operating is an operating point in words, in the order of the signal's inputs, and with the quantities that signals feed
// there by the base's tables: people know a point by them.
func (o *Options) Operating(s *definition.Signal, at map[string]float64) string {
	words := inputsInWords(s, at)
	set := o.set("base")
	if words == "" || set == nil {
		return words
	}
	for _, by := range o.Layout.Signals {
		if !by.Feeds || by.Quantity == s.Quantity || len(o.Layout.Feeders(by.Quantity)) != 1 {
			continue
		}
		held := map[string]float64{}
		for _, in := range by.Inputs {
			if v, ok := at[in.Quantity]; ok {
				held[in.Quantity] = v
			}
		}
		shown, err := set.In(signal.NewSpace(o.Layout)).Show([]string{by.ID}, held)
		if err == nil && surface.Finite(shown[0].GetValue()) { // what needs more than is known is left out
			words += ", " + amount(by.Quantity, Unit(by.Unit, ""), shown[0].GetValue())
		}
	}
	return words
}

func inputsInWords(s *definition.Signal, at map[string]float64) string {
	var words []string
	said := map[string]bool{}
	for _, in := range s.Inputs {
		if v, ok := at[in.Quantity]; ok {
			said[in.Quantity] = true
			words = append(words, amount(in.Quantity, Unit(in.Unit, ""), v))
		}
	}
	for _, quantity := range slices.Sorted(maps.Keys(at)) {
		if !said[quantity] {
			words = append(words, amount(quantity, "", at[quantity]))
		}
	}
	return strings.Join(words, ", ")
}

// amount is a quantity in words, how much of it there is, and its unit, which is behind a blank.
func amount(quantity, unit string, v float64) string {
	return strings.TrimSpace(Words(quantity) + " " + place(v) + unit)
}

// writeSignals prints how far what the controller computes was moved, by which tables, and a section through it.
func writeSignals(b *paper, r *calibrationv1.Report, o *Options) {
	if len(r.Signals) == 0 || o.Table != "" {
		return
	}
	fmt.Fprintln(b, "\n"+bold.Render("Signals that depend on a change"))
	for _, s := range r.Signals {
		def := o.signal(s.Id)
		if def == nil {
			continue
		}
		fmt.Fprintf(b, "\n  %s%s\n", bold.Render(s.Id), before("  ", plainText(def.Title)))
		if d := s.Delta; d != nil {
			n, u := o.signalDigits(def), Unit(def.Unit, "")
			fmt.Fprintf(b, "  at least %s%s%s\n", plus(n.near(d.Min), d.Min), u, before(" at ", o.Operating(def, d.AtMin)))
			fmt.Fprintf(b, "  at most  %s%s%s\n", plus(n.near(d.Max), d.Max), u, before(" at ", o.Operating(def, d.AtMax)))
		}
		fmt.Fprintf(b, "  computed from %s\n", strings.Join(s.DependsOn, ", "))
		fmt.Fprintf(b, "  judged by %s\n", judged(s.JudgedBy))
		if !s.Proven {
			fmt.Fprintln(b, "  no run was held against it: it is what the definition says that the controller does")
		}
		writeCurve(b, r, s, o)
	}
}
