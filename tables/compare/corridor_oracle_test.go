package compare

import (
	"fmt"
	"math"
	"math/bits"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/corridor"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
)

// slowCorridor is a corridor judged by the definition's message and the bytes alone, as they lie where it starts.
type slowCorridor struct {
	lay    *definition.Layout
	a, b   []byte
	bounds []corridor.Bound
	claims []byte          // bits that a table or a sum has
	told   map[uint64]bool // offsets of breakpoints, counts and pointers
	out    corridor.Result
}

func (s *slowCorridor) outside(what, table string, offset uint64, at ...uint32) {
	if len(s.out.Outside) == corridor.Most {
		s.out.More++
		return
	}
	s.out.Outside = append(s.out.Outside, corridor.Place{What: what, Table: table, At: at, Address: uint32(s.lay.Space.Address(offset))})
}

func (s *slowCorridor) axis(table string, offset uint64, at ...uint32) {
	if !s.told[offset] {
		s.told[offset] = true
		s.outside(corridor.Axis, table, offset, at...)
	}
}

// claim takes a word's bits, and says whether it differs.
func (s *slowCorridor) claim(w plainWord) bool {
	mask := w.mask & (math.MaxUint64 >> (64 - 8*w.bytes))
	for i := range w.bytes {
		place := w.bytes - 1 - i
		if w.little {
			place = i
		}
		s.claims[w.at+uint64(place)] |= byte(mask >> (8 * i))
	}
	return w.bits(s.a) != w.bits(s.b)
}

func (s *slowCorridor) judge() *corridor.Result {
	s.claims, s.told = make([]byte, len(s.a)), map[uint64]bool{}
	for _, source := range s.lay.Source.Tables {
		s.table(source, (&plain{s.lay.Source, s.a}).read(source))
	}
	for i := structSize - 4; i < structSize; i++ { // the sum
		s.claims[i] = 0xFF
	}
	for i := structTail; i < structTail+8; i++ { // learned
		s.claims[i] = 0
	}
	for _, f := range s.lay.Source.Identity {
		clear(s.claims[f.Address-structStart:][:f.Length])
	}
	before := false
	for i := range s.a {
		left := (s.a[i]^s.b[i])&^s.claims[i] != 0
		if left && !before {
			s.outside(corridor.Bytes, "", uint64(i))
		}
		before = left
	}
	return &s.out
}

func (s *slowCorridor) table(source *calibrationv1.Table, t *plainTable) {
	lowest, moved := uint64(math.MaxUint64), false
	for _, w := range t.words {
		if s.claim(w) {
			lowest, moved = min(lowest, w.at), true
		}
	}
	if moved {
		s.axis(source.Id, lowest)
	}
	if t.astray {
		return
	}
	for i, a := range t.axes {
		first := true
		for k, w := range a.words {
			if s.claim(w) && first {
				first = false
				s.axis(source.Id, w.at, uint32(i), uint32(k))
			}
		}
	}
	n, first := [2]int{1, 1}, true
	for i := range min(len(t.axes), 2) {
		n[i] = t.axes[i].used[0]
	}
	if source.Kind == "text" {
		n[0] = len(t.cells.words)
	}
	named := slices.IndexFunc(s.bounds, func(b corridor.Bound) bool { return b.Table == source.Id })
	for i, w := range t.cells.words {
		if !s.claim(w) || named >= 0 && s.within(w, s.bounds[max(named, 0)]) {
			continue
		}
		if what := map[bool]string{true: corridor.Cell, false: corridor.Table}[named >= 0]; first {
			s.outside(what, source.Id, w.at, uint32(i/n[0]/n[1]), uint32(i/n[0]%n[1]), uint32(i%n[0]))
		}
		first = false
	}
}

// numbered says that a word means a number; a rational conversion takes its square.
func numbered(w plainWord, b []byte) bool {
	v, raw := w.value(b), w.number(b)
	square := float64(raw * raw)
	return !math.IsNaN(v-v) && !math.IsNaN(raw) && (w.reading.GetRational() == nil || !math.IsInf(square, 0))
}

// within is by how much rounding limits allow a change: 2⁻²³ of single floats, else 10⁻⁹, of the value, its limit or a raw step.
func (s *slowCorridor) within(w plainWord, b corridor.Bound) bool {
	if w.off(s.a) || w.off(s.b) {
		return false
	}
	from, to := w.value(s.a), w.value(s.b)
	if !numbered(w, s.a) || !numbered(w, s.b) {
		return false
	}
	share, step := 1e-9, 1.0
	if w.s.Type == "f32" {
		share = math.Ldexp(1, -23)
	}
	switch c := w.reading; {
	case c.GetPoints() != nil:
		step = 0
		for i := 1; i < len(c.Points.Raw); i++ {
			rise := math.Abs(c.Points.Physical[i] - c.Points.Physical[i-1])
			if c.Points.Between != "step" {
				rise /= c.Points.Raw[i] - c.Points.Raw[i-1]
			}
			step = max(step, rise)
		}
	case c.GetRational() == nil && c != nil && c.Factor != nil:
		step = math.Abs(*c.Factor)
	}
	slack := func(limit float64) float64 { return share * max(math.Abs(to), math.Abs(limit), step) }
	return to-(from+b.Up) <= slack(from+b.Up) && (from-b.Down)-to <= slack(from-b.Down)
}

// drawCorridor names some tables of numbers.
func drawCorridor(t *rapid.T, lay *definition.Layout) (bounds []corridor.Bound) {
	by := rapid.SampledFrom([]float64{0, 0.1, 0.3, 0.75, 1, 5, 100, 1e6, 1e12})
	for _, table := range lay.Tables {
		if table.Kind != "text" && table.Cells.Conv.Labels == nil && rapid.IntRange(0, 2).Draw(t, table.ID+" named") > 0 {
			bounds = append(bounds, corridor.Bound{Table: table.ID, Up: by.Draw(t, table.ID+" up"), Down: by.Draw(t, table.ID+" down")})
		}
	}
	return bounds
}

// steer edits cells of named tables by few raw steps, and perhaps the sum, and at times anything else.
func steer(t *rapid.T, lay *definition.Layout, a []byte, bounds []corridor.Bound) []byte {
	b := slices.Clone(a)
	for range rapid.IntRange(0, 4).Draw(t, "steps") {
		if len(bounds) == 0 {
			break
		}
		id := rapid.SampledFrom(bounds).Draw(t, "table").Table
		table := (&plain{lay.Source, a}).read(lay.ByID[id].Source)
		if table.astray || len(table.cells.words) == 0 {
			continue
		}
		w := rapid.SampledFrom(table.cells.words).Draw(t, "cell")
		place := w.at
		if !w.little {
			place += uint64(w.bytes - 1)
		}
		shift := min(bits.TrailingZeros64(w.mask), 7)
		b[place] += byte(rapid.IntRange(-3, 3).Draw(t, "by") << shift)
	}
	if rapid.Bool().Draw(t, "sum") {
		b[structSize-1]++
	}
	if rapid.IntRange(0, 3).Draw(t, "and more") == 0 {
		return drawEdits(t, b)
	}
	return b
}

// TestCorridorStructures: an image lies inside a corridor exactly where the slow judge says so, and outside at its places.
func TestCorridorStructures(t *testing.T) {
	inside, outside, what := 0, 0, map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		lay := drawStructures(t)
		bounds := drawCorridor(t, lay)
		a, b := drawPair(t, lay)
		if rapid.IntRange(0, 3).Draw(t, "steered") > 0 {
			b = steer(t, lay, a, bounds)
		}
		got, err := corridor.Check(lay, whole(lay, a), whole(lay, b), bounds)
		if err != nil {
			t.Fatal(err)
		}
		want := (&slowCorridor{lay: lay, a: a, b: b, bounds: bounds}).judge()
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("outside %v and %d more; the slow judge says %v and %d more", got.Outside, got.More, want.Outside, want.More)
		}
		switch {
		case len(got.Outside) > 0:
			outside++
		case !slices.Equal(a, b):
			inside++
		}
		for _, p := range got.Outside {
			what[p.What]++
			if line := corridor.Say(lay, whole(lay, a), whole(lay, b), bounds, p); line == "" || strings.ContainsAny(line, "\n") {
				t.Fatalf("%v: says %q", p, line)
			}
		}
	})
	if inside+outside >= 50 && (inside < 3 || outside < 3 || len(what) != 4) {
		t.Errorf("%d inside, %d outside, %v: too few of one to say anything", inside, outside, what)
	}
	t.Logf("%d changed and inside, %d outside: %v", inside, outside, what)
}

// TestCorridorIsAChangeRule: how far a cell may go is what a rule on changes with the same bounds allows.
func TestCorridorIsAChangeRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawStored(t, "cells")
		s.Address, s.Stride = structStart, nil
		g := &drawing{T: t}
		table := &calibrationv1.Table{Id: "t", Unit: "1", Quantity: "q", Stored: s, Conversion: g.conversion("cells", false),
			X: &calibrationv1.TableAxis{Id: "x", Quantity: "speed", Unit: "1", Points: []float64{1, 2, 3, 4}}}
		d := &calibrationv1.Definition{Name: "one", Title: "one", ByteOrder: "big", Tables: []*calibrationv1.Table{table}, Image: &calibrationv1.ImageLayout{
			Regions: []*calibrationv1.Region{{Start: structStart, Size: 32}}, Segments: []*calibrationv1.Segment{{Start: structStart, End: structStart + 32, Content: "calibration"}}}}
		lay, err := definition.Compile("one", []byte(d.String()), d)
		if err != nil {
			t.Fatal(err)
		}
		by := rapid.SampledFrom([]float64{0, 0.1, 0.3, 0.75, 1, 5, 100, 1e6})
		bound := corridor.Bound{Table: "t", Up: by.Draw(t, "up"), Down: by.Draw(t, "down")}
		a := rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "start")
		b := steer(t, lay, append(a, make([]byte, structSize)...), []corridor.Bound{bound})[:32]
		table0 := (&plain{d, a}).read(table)
		numbers := true
		for _, w := range table0.cells.words {
			numbers = numbers && numbered(w, a) && numbered(w, b)
		}
		if !numbers {
			t.Skip("what is no number may not change in a corridor")
		}
		rule, err := limits.Load("rule.yaml", fmt.Appendf(nil, "name: rule\ntitle: rule\nrules:\n  - {id: far, severity: caution, select: {tables: [t]}, "+
			"change: {unit: \"1\", max_up: %v, max_down: %v}, reason: r, source: s}\n", bound.Up, bound.Down))
		if err != nil {
			t.Fatal(err)
		}
		r, err := Compare(Input{Base: whole(lay, a), Candidate: whole(lay, b), Layout: lay, Limits: rule})
		if err != nil {
			t.Fatal(err)
		}
		got, err := corridor.Check(lay, whole(lay, a), whole(lay, b), []corridor.Bound{bound})
		if err != nil {
			t.Fatal(err)
		}
		broken := slices.ContainsFunc(r.Findings, func(f *calibrationv1.Finding) bool { return f.Rule == "far" })
		outside := slices.ContainsFunc(got.Outside, func(p corridor.Place) bool { return p.What == corridor.Cell })
		if broken != outside {
			t.Fatalf("the rule is broken: %v; outside: %v", broken, got.Outside)
		}
	})
}

// BenchmarkCorridor states what holding an image against a corridor of every table costs, as a multiple of comparing the two.
func BenchmarkCorridor(b *testing.B) {
	plain, one := manyTables(b, 10_000)
	varying, two := manyVarying(b, 10_000)
	for _, c := range []struct {
		name   string
		lay    *definition.Layout
		base   []byte
		change func(b []byte)
	}{
		{"equal", plain, one, func([]byte) {}},
		{"one cell", plain, one, func(c []byte) { c[0x40+200*5000+7] ^= 1 }},
		{"one cell in each of 10000 tables", plain, one, func(c []byte) {
			for i := range 10_000 {
				c[0x40+i*200+i%192] ^= 1
			}
		}},
		{"one cell, each table counts its points", varying, two, func(c []byte) { c[64*5000+12] ^= 1 }},
	} {
		b.Run(c.name, func(b *testing.B) {
			cand := edited(c.base, c.change)
			var bounds []corridor.Bound
			for _, t := range c.lay.Tables {
				bounds = append(bounds, corridor.Bound{Table: t.ID, Up: 200, Down: 200})
			}
			compared := fastest(func() {
				if _, err := Compare(Input{Base: whole(c.lay, c.base), Candidate: whole(c.lay, cand), Layout: c.lay}); err != nil {
					b.Fatal(err)
				}
			})
			run := func() {
				if r, err := corridor.Check(c.lay, whole(c.lay, c.base), whole(c.lay, cand), bounds); err != nil || len(r.Outside) > 0 {
					b.Fatal(r, err)
				}
			}
			for b.Loop() {
				run()
			}
			b.ReportMetric(float64(fastest(run))/float64(compared), "x-compare")
		})
	}
}
