package limits

import (
	"fmt"
	"math"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// sheet is a table written out for a test: f64 cells in its own unit unless the fields below say more.
type sheet struct {
	id, quantity, unit string
	xq, yq             string // quantity and unit of the axes, "rpm 1/min"; empty: engine_speed, then load
	x, y               []float64
	v                  []float64
	f32, index         bool // index: of the x axis
	labels             map[int64]string
	rational           *definition.Conversion
	points             *definition.Points
	beyond             []deep // the axes beyond y of a block, the fastest first; v is slice by slice
	off                []bool // cells that hold a code that is no value
	xLabels            []string
	free               string // free text in place of the unit
}

// deep is an axis beyond y.
type deep struct {
	what   string // quantity and unit
	points []float64
	index  bool
	labels []string
}

// table is the definition of a sheet.
func (s sheet) table() *definition.Table {
	nx, ny := max(len(s.x), 1), max(len(s.y), 1)
	cells := func(nx, ny int) *definition.Cells {
		c := &definition.Cells{Bytes: 8, Float: true, Mask: math.MaxUint64, Width: 64, NX: nx, NY: ny, Conv: definition.Conversion{Factor: 1}}
		return c
	}
	t := &definition.Table{ID: s.id, Quantity: s.quantity, Unit: s.unit, Kind: "scalar", Cells: cells(nx, ny)}
	axis := func(name, what, standard string, n int) *definition.Axis {
		if what == "" {
			what = standard
		}
		q, u, _ := strings.Cut(what, " ")
		return &definition.Axis{ID: name, Quantity: q, Unit: u, Count: n, Cells: cells(n, 1)}
	}
	if s.x != nil {
		t.X, t.Kind = axis("x", s.xq, "engine_speed 1/min", nx), "curve"
		t.X.Index = s.index
	}
	if s.y != nil {
		t.Y = axis("y", s.yq, "load %", ny)
		if t.Kind = "map"; s.x == nil {
			t.Kind = "curve"
		}
	}
	for _, a := range []*definition.Axis{t.X, t.Y} {
		if a != nil {
			t.Axes = append(t.Axes, a)
		}
	}
	for i, b := range s.beyond {
		q, u, _ := strings.Cut(b.what, " ")
		t.Kind = "block"
		t.Axes = append(t.Axes, &definition.Axis{ID: fmt.Sprintf("z%d", i), Quantity: q, Unit: u, Count: len(b.points), Points: b.points, Index: b.index, Labels: b.labels})
	}
	if s.xLabels != nil {
		t.X.Labels, t.X.Index, t.X.Quantity, t.X.Unit = s.xLabels, true, "", ""
	}
	if s.free != "" {
		t.Unit, t.UnitText = "", s.free
	}
	if s.points != nil {
		t.Cells.Float, t.Cells.Conv = false, definition.Conversion{Factor: 1, Points: s.points}
	}
	if s.f32 {
		t.Cells.Bytes, t.Cells.Width = 4, 32
	}
	if s.labels != nil {
		t.Cells.Float, t.Cells.Conv = false, definition.Conversion{Labels: definition.LabelsOf(s.labels)}
	}
	if s.rational != nil {
		t.Cells.Float, t.Cells.Conv = false, *s.rational
	}
	return t
}

// decoded is what surface.Decode would give.
func (s sheet) decoded() *surface.Decoded {
	t := s.table()
	d := &surface.Decoded{Table: t, X: s.x, Y: s.y, NX: t.Cells.NX, NY: t.Cells.NY, Off: s.off}
	for _, v := range s.v {
		switch {
		case !t.Cells.Float:
			d.Bits = append(d.Bits, uint64(v))
		case s.f32:
			d.Bits = append(d.Bits, uint64(math.Float32bits(float32(v))))
		default:
			d.Bits = append(d.Bits, math.Float64bits(v))
		}
		if s.labels == nil {
			d.Values = append(d.Values, t.Cells.Conv.Apply(t.Cells.Number(d.Bits[len(d.Bits)-1])))
		}
	}
	for i, off := range s.off {
		if off {
			d.Values[i] = math.NaN()
		}
	}
	n, slices := d.NX*d.NY, 1
	for _, b := range s.beyond {
		slices *= len(b.points)
	}
	if len(d.Bits) != n*slices {
		panic(fmt.Sprintf("test table %s: %d cells for %d by %d by %d", s.id, len(d.Bits), d.NX, d.NY, slices))
	}
	if s.beyond == nil {
		return d
	}
	for k := range slices {
		one, at := *t, &definition.Slice{Of: t}
		rest := k
		for i, b := range s.beyond {
			n := len(b.points)
			p := definition.Place{Axis: t.Axes[2+i], Point: b.points[rest%n]}
			if b.labels != nil {
				p.Label = b.labels[rest%n]
			}
			at.Index, at.At = append(at.Index, rest%n), append(at.At, p)
			rest /= n
		}
		one.Kind, one.Axes, one.Slice = "map", t.Axes[:2:2], at
		part := *d
		part.Slices = nil
		part.Table, part.Bits = &one, d.Bits[k*n:(k+1)*n]
		if d.Values != nil {
			part.Values = d.Values[k*n : (k+1)*n]
		}
		if part.Off = nil; d.Off != nil {
			part.Off = d.Off[k*n : (k+1)*n]
		}
		d.Slices = append(d.Slices, &part)
	}
	return d
}

// rule reads a rule as JSON; its id is r where it gives none.
func rule(text string) *calibrationv1.Rule {
	r := &calibrationv1.Rule{}
	if err := protojson.Unmarshal([]byte(text), r); err != nil {
		panic(err)
	}
	if r.Id == "" {
		r.Id = "r"
	}
	if r.Severity == "" {
		r.Severity = "warning"
	}
	return r
}

// judging is the input for two images with the tables given; all of the candidate's are changed.
func judging(base, cand []sheet) JudgeInput {
	lay := &definition.Layout{ByID: map[string]*definition.Table{}}
	read := func(sheets []sheet) func(string) *surface.Decoded {
		m := map[string]*surface.Decoded{}
		for _, s := range sheets {
			m[s.id] = s.decoded()
		}
		return func(id string) *surface.Decoded { return m[id] }
	}
	in := JudgeInput{Layout: lay, Candidate: read(cand), Check: base == nil}
	if base != nil {
		in.Base = read(base)
	}
	for _, s := range cand {
		t := s.table()
		lay.Tables, lay.ByID[s.id] = append(lay.Tables, t), t
		in.Changed = append(in.Changed, s.id)
	}
	return in
}

// judged runs one rule.
func judged(t interface{ Fatal(...any) }, in JudgeInput, rules ...*calibrationv1.Rule) *Judged {
	out, err := Judge(&Limits{Source: &calibrationv1.Limits{Rules: rules}}, in)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// say is a finding on one line: origin, count, value, limit, excess, where.
func say(f *calibrationv1.Finding) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s %dx", f.Table, f.Origin, f.Count)
	if w := f.Worst; w != nil {
		if w.Value != nil {
			fmt.Fprintf(&b, " %.9g/%.9g", w.GetValue(), w.GetLimit())
		}
		fmt.Fprintf(&b, " by %.9g", w.Excess)
		if w.X != nil {
			fmt.Fprintf(&b, " x=%g", *w.X)
		}
		if w.Y != nil {
			fmt.Fprintf(&b, " y=%g", *w.Y)
		}
		if w.Row != nil {
			fmt.Fprintf(&b, " [%d,%d]", *w.Row, *w.Column)
		}
		if w.Slice != nil {
			fmt.Fprintf(&b, " in %v", w.Slice.Index)
		}
	}
	return b.String()
}

func sayAll(fs []*calibrationv1.Finding) string {
	var out []string
	for _, f := range fs {
		out = append(out, say(f))
	}
	return strings.Join(out, "; ")
}

func sayMargins(ms []*calibrationv1.Margin) string {
	var out []string
	for _, m := range ms {
		text := fmt.Sprintf("%s %.9g (%.9g/%.9g)", m.Table, m.Margin, m.Value, m.Limit)
		if m.X != nil {
			text += fmt.Sprintf(" x=%g", *m.X)
		}
		if m.Y != nil {
			text += fmt.Sprintf(" y=%g", *m.Y)
		}
		out = append(out, text)
	}
	return strings.Join(out, "; ")
}
