package sheet

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// signal finds a signal of the candidate's definition; nil if it has none of that name.
func (o *Options) signal(id string) *definition.Signal {
	if l := o.candidateLayout(); l != nil {
		return l.SignalByID[id]
	}
	return nil
}

func signalUnit(s *definition.Signal) string {
	if s == nil || s.Unit == "1" {
		return ""
	}
	return " " + s.Unit
}

// operating is an operating point in words, in the order of the signal's inputs.
func operating(s *definition.Signal, at map[string]float64) string {
	var words []string
	said := map[string]bool{}
	say := func(quantity, unit string) {
		v, ok := at[quantity]
		if !ok || said[quantity] {
			return
		}
		said[quantity] = true
		if unit == "1" {
			unit = ""
		}
		words = append(words, strings.TrimSpace(strings.ReplaceAll(plainText(quantity), "_", " ")+" "+fine(v)+" "+unit))
	}
	if s != nil {
		for _, in := range s.Inputs {
			say(in.Quantity, in.Unit)
		}
	}
	for _, quantity := range slices.Sorted(maps.Keys(at)) {
		say(quantity, "")
	}
	return strings.Join(words, ", ")
}

// writeSignals prints how far what the controller computes was moved, and by which tables.
func writeSignals(b *strings.Builder, r *calibrationv1.Report, o *Options) {
	if len(r.Signals) == 0 || o.Table != "" {
		return
	}
	fmt.Fprintln(b, "\n"+bold.Render("Signals that depend on a change"))
	for _, s := range r.Signals {
		def := o.signal(s.Id)
		fmt.Fprintf(b, "\n  %s", bold.Render(s.Id))
		if def != nil && def.Title != "" {
			fmt.Fprintf(b, "  %s", plainText(def.Title))
		}
		fmt.Fprintln(b)
		if d := s.Delta; d != nil {
			u := signalUnit(def)
			fmt.Fprintf(b, "  at least %s%s%s\n", signed(-1, d.Min), u, where(def, d.AtMin))
			fmt.Fprintf(b, "  at most  %s%s%s\n", signed(-1, d.Max), u, where(def, d.AtMax))
		}
		fmt.Fprintf(b, "  computed from %s\n", strings.Join(s.DependsOn, ", "))
		fmt.Fprintf(b, "  judged by %s\n", cmp.Or(strings.Join(s.JudgedBy, ", "), "no rule of the limits"))
		if !s.Proven {
			fmt.Fprintln(b, "  no run was held against it: it is what the definition says that the controller does")
		}
	}
}

func where(s *definition.Signal, at map[string]float64) string {
	if words := operating(s, at); words != "" {
		return " at " + words
	}
	return ""
}

// writeFromAsFound says how far a table is from the one that the car first came with.
func writeFromAsFound(b *strings.Builder, t *calibrationv1.TableReport, def *definition.Table) {
	f := t.FromAsFound
	if f == nil {
		return
	}
	fmt.Fprintf(b, "  since the car first came: %d of %s", f.Changed, plural(int(t.Cells), "cell"))
	if f.Min != nil && f.Max != nil {
		fmt.Fprintf(b, ", %s to %s%s", signed(numbers(def), *f.Min), signed(numbers(def), *f.Max), unit(def))
	}
	fmt.Fprintln(b)
}
