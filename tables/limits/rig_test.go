package limits

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// rig is a definition with signals and images of it, for a test. All that is stored is f64, but where a table says
// otherwise itself.
type rig struct {
	tables, signals, inputs strings.Builder
	size                    int
	at                      map[string]int
	cells                   map[string][]float64 // of the base
}

// table adds one that begins with what more says of it; axes are fixed, "quantity unit: 1, 2, 3".
func (r *rig) table(id, more string, axes []string, cells ...float64) {
	if r.at == nil {
		r.at, r.cells = map[string]int{}, map[string][]float64{}
	}
	fmt.Fprintf(&r.tables, "  - {id: %s, %s, stored: {address: %d, type: f64}", id, more, r.size)
	for i, a := range axes {
		head, points, _ := strings.Cut(a, ": ")
		quantity, unit, _ := strings.Cut(head, " ")
		fmt.Fprintf(&r.tables, ", %c: {quantity: %s, unit: '%s', points: [%s]}", "xy"[i], quantity, unit, points)
	}
	r.tables.WriteString("}\n")
	r.at[id], r.cells[id] = r.size, cells
	r.size += 8 * len(cells)
}

func (r *rig) signal(id, more, value string) {
	fmt.Fprintf(&r.signals, "  - {id: %s, %s, value: %q}\n", id, more, value)
}

func (r *rig) input(quantity, unit string, from, to float64, more string) {
	fmt.Fprintf(&r.inputs, "  - {quantity: %s, unit: '%s', from: %g, to: %g%s}\n", quantity, unit, from, to, more)
}

func (r *rig) layout(t testing.TB) *definition.Layout {
	t.Helper()
	text := fmt.Sprintf("name: rig\nbyte_order: little\nimage: {size: %d}\ntables:\n%ssignals:\n%sinputs:\n%s", r.size, r.tables.String(), r.signals.String(), r.inputs.String())
	lay, err := definition.Load("rig.yaml", []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return lay
}

// image is the base's but for the tables given.
func (r *rig) image(other map[string][]float64) []byte {
	out := make([]byte, r.size)
	for id, cells := range r.cells {
		if other[id] != nil {
			cells = other[id]
		}
		for i, v := range cells {
			binary.LittleEndian.PutUint64(out[r.at[id]+8*i:], math.Float64bits(v))
		}
	}
	return out
}

// judging is the input for a candidate in which the tables given are others.
func (r *rig) judging(t testing.TB, cand map[string][]float64) JudgeInput {
	t.Helper()
	lay := r.layout(t)
	in := JudgeInput{Layout: lay, Base: reader(lay, r.image(nil)), Candidate: reader(lay, r.image(cand))}
	for _, table := range lay.Tables {
		if cand[table.ID] != nil {
			in.Changed = append(in.Changed, table.ID)
		}
	}
	return in
}

// reader decodes each table once.
func reader(lay *definition.Layout, image []byte) func(id string) *surface.Decoded {
	known := map[string]*surface.Decoded{}
	return func(id string) *surface.Decoded {
		if known[id] == nil {
			known[id] = surface.Decode(lay.ByID[id], image)
		}
		return known[id]
	}
}

// checked judges rules that fit the rig.
func checked(t testing.TB, in JudgeInput, rules ...*calibrationv1.Rule) *Judged {
	t.Helper()
	l := limitsOf(rules...)
	if err := l.Check(in.Layout); err != nil {
		t.Fatal(err)
	}
	return judged(t, in, rules...)
}

// sayPoint is a finding on a signal: origin, count, value, limit, excess, where.
func sayPoint(f *calibrationv1.Finding) string {
	w := f.GetWorst()
	text := fmt.Sprintf("%s%s %s %dx %.6g/%.6g by %.6g", f.Signal, f.Table, f.Origin, f.Count, w.GetValue(), w.GetLimit(), w.GetExcess())
	for _, q := range []string{"engine_speed", "filling", "air", "voltage"} {
		if v, ok := w.GetInputs()[q]; ok {
			text += fmt.Sprintf(" %s=%.6g", q, v)
		}
	}
	return text
}

func sayPoints(out *Judged) string {
	var all []string
	for _, f := range out.Findings {
		if f.Rule == "undecided" || f.Rule == "rule-error" {
			all = append(all, f.Rule+" "+f.Detail)
			continue
		}
		all = append(all, sayPoint(f))
	}
	for _, u := range out.Unjudged {
		all = append(all, "unjudged "+u.Signal+u.Table+": "+u.Reason)
	}
	for _, u := range out.Passed {
		all = append(all, "passed "+u.Signal+u.Table+": "+u.Reason)
	}
	return strings.Join(all, "; ")
}
