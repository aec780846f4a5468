package signal

import (
	"fmt"
	"math"

	"witnessmark/tables/definition"
)

// Sweep is signals along one input, the others held.
type Sweep struct {
	Quantity, Unit string
	Columns        []Column
	Rows           []Row
}

// Column is a signal or a table.
type Column struct{ ID, Unit string }

// Row is one place of the sweep. Values are NaN where there is no finite one; Looked says which were needed there.
type Row struct {
	At     float64
	Values []float64
	Looked []bool
}

// Sweep goes along an input from breakpoint to breakpoint; at a step there is a row for each side of it. Columns are the
// signals that are asked for, then the other signals and the tables that they depend on, as the definition has them.
func (v *View) Sweep(ids []string, quantity string, at map[string]float64) (*Sweep, error) {
	signals, functions, err := v.several(ids)
	if err != nil {
		return nil, err
	}
	along, err := v.along(quantity)
	if err != nil {
		return nil, err
	}
	if _, given := at[quantity]; given {
		return nil, fmt.Errorf("%s is swept, and a value to hold it at is given too", quantity)
	}
	cell, p, err := v.point(signals, at, quantity)
	if err != nil {
		return nil, err
	}
	out := &Sweep{Quantity: quantity, Unit: v.space.inputs[along].Unit, Columns: columns(v.set.lay, signals)}
	for _, c := range v.space.inputs[along].cells() {
		cell[along] = c
		for _, x := range []float64{c.Lo, c.Hi} {
			p[along] = x
			out.add(x, func() {
				for _, f := range functions {
					f.At(&cell, &p)
				}
			}, v.space)
		}
	}
	return out, nil
}

// along is the number of an input that something depends on.
func (v *View) along(quantity string) (int, error) {
	if i, ok := v.space.numbers[quantity]; ok {
		return i, nil
	}
	var used []*definition.Input
	for _, in := range v.space.inputs {
		used = append(used, v.set.lay.InputOf(in.Quantity))
	}
	return 0, fmt.Errorf("nothing that is asked for depends on %s; it depends on %s", quantity, ranges(used))
}

func columns(lay *definition.Layout, signals []*definition.Signal) []Column {
	var out []Column
	seen := map[string]bool{}
	add := func(id, unit string) {
		if !seen[id] {
			seen[id] = true
			out = append(out, Column{id, unit})
		}
	}
	needed := map[any]bool{}
	for _, s := range signals {
		add(s.ID, s.Unit)
		for _, other := range s.Signals {
			needed[other] = true
		}
		for _, t := range s.Tables {
			needed[t] = true
		}
	}
	for _, s := range lay.Signals {
		if needed[s] {
			add(s.ID, s.Unit)
		}
	}
	for _, t := range lay.Tables {
		if needed[t] {
			add(t.ID, t.Unit)
		}
	}
	return out
}

// add evaluates a row, and drops it where it repeats the one before.
func (w *Sweep) add(at float64, evaluate func(), space *Space) {
	row := Row{at, make([]float64, len(w.Columns)), make([]bool, len(w.Columns))}
	space.visit = func(f *Function) {
		for k, c := range w.Columns {
			if f.table != nil && f.table.table.ID == c.ID || f.signal != nil && f.signal.ID == c.ID {
				row.Values[k], row.Looked[k] = f.value, true
			}
		}
	}
	evaluate()
	space.visit = nil
	if n := len(w.Rows); n == 0 || !w.Rows[n-1].same(&row) {
		w.Rows = append(w.Rows, row)
	}
}

func (r *Row) same(o *Row) bool {
	for i, v := range r.Values {
		if r.Looked[i] != o.Looked[i] || v != o.Values[i] && !(math.IsNaN(v) && math.IsNaN(o.Values[i])) {
			return false
		}
	}
	return r.At == o.At
}
