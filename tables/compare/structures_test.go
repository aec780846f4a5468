package compare

import (
	"math"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"
	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed/changedtest"
	"witnessmark/tables/definition"
)

// drawEdits is an image and a few random edits of it: bits turned, or bytes written.
func drawEdits(t *rapid.T, base []byte) []byte {
	b := slices.Clone(base)
	for range rapid.IntRange(1, 6).Draw(t, "edits") {
		at := rapid.IntRange(0, len(b)-1).Draw(t, "at")
		if rapid.Bool().Draw(t, "one bit") {
			b[at] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		} else {
			b[at] = rapid.Byte().Draw(t, "byte")
		}
	}
	return b
}

// drawPair is two images of which little differs, or much.
func drawPair(t *rapid.T, lay *definition.Layout) (a, b []byte) {
	a = drawStructured(t, "base", lay)
	if rapid.IntRange(0, 3).Draw(t, "another image") == 0 {
		return a, drawStructured(t, "candidate", lay)
	}
	return a, drawEdits(t, a)
}

func structures(t *rapid.T, lay *definition.Layout, a, b []byte) *calibrationv1.Report {
	r, err := Compare(Input{Base: whole(lay, a), Candidate: whole(lay, b), Layout: lay})
	if err != nil {
		t.Fatal(err)
	}
	return changedtest.Report(r)
}

// Every differing byte is accounted for once, by what each bit of it belongs to in either image.
func TestStructuresAccountForEveryByte(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lay := drawStructures(t)
		a, b := drawPair(t, lay)
		r := structures(t, lay, a, b)
		if want := countedBy(plainOwners(lay, a, b), a, b); !proto.Equal(r.Bytes, want) {
			t.Fatalf("bytes %v, the oracle says %v", r.Bytes, want)
		}
	})
}

// Any one bit, whatever structure holds it, is accounted for once, and nothing else is.
func TestStructuresFlipAnyBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lay := drawStructures(t)
		a := drawStructured(t, "base", lay)
		b, bit := slices.Clone(a), rapid.IntRange(0, 8*len(a)-1).Draw(t, "bit")
		b[bit/8] ^= 1 << (bit % 8)
		r := structures(t, lay, a, b)
		want := countedBy(plainOwners(lay, a, b), a, b)
		if want.Differing != 1 || !proto.Equal(r.Bytes, want) || len(r.Unmapped) != int(want.Unmapped) {
			t.Fatalf("bytes %v in %v, the oracle says %v", r.Bytes, r.Unmapped, want)
		}
		if want.Mapped+want.Identity == 0 && len(r.Tables) > 0 {
			t.Fatalf("a bit that is no table's changed %v", r.Tables)
		}
	})
}

// What changed is what the slow way finds to differ, cell by cell.
func TestStructuresChange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lay := drawStructures(t)
		a, b := drawPair(t, lay)
		r := structures(t, lay, a, b)
		for _, source := range lay.Source.Tables {
			was, is := (&plain{lay.Source, a}).read(source), (&plain{lay.Source, b}).read(source)
			checkChange(t, r, was, is, a, b)
		}
	})
}

func checkChange(t *rapid.T, r *calibrationv1.Report, was, is *plainTable, a, b []byte) {
	id := was.source.Id
	i := slices.IndexFunc(r.Tables, func(t *calibrationv1.TableReport) bool { return t.Id == id })
	unjudged := slices.ContainsFunc(r.Unjudged, func(u *calibrationv1.Unjudged) bool { return u.Table == id && u.Rule == "" })
	if is.astray {
		if i >= 0 || !unjudged && r.Bytes.Differing > 0 {
			t.Fatalf("%s leads outside, and is reported: %v, unjudged: %v", id, i >= 0, unjudged)
		}
		return
	}
	if was.astray {
		return
	}
	if was.source.Kind == "text" {
		if (was.text != is.text) != (i >= 0) {
			t.Fatalf("%s: %q became %q, and is reported: %v", id, was.text, is.text, i >= 0)
		}
		return
	}
	moved, another := false, false
	for k := range was.axes {
		p, q := was.axes[k], is.axes[k]
		another = another || p.used[0] != q.used[0]
		for n := range min(len(p.words), len(q.words)) {
			moved = moved || p.words[n].bits(a) != q.words[n].bits(b)
		}
	}
	var cells []int
	for n := range is.cells.words {
		if !another && was.cells.words[n].bits(a) != is.cells.words[n].bits(b) {
			cells = append(cells, n)
		}
	}
	if changed := moved || another || len(cells) > 0; changed != (i >= 0) {
		t.Fatalf("%s: breakpoints moved %v, another count %v, cells %v; reported: %v", id, moved, another, cells, i >= 0)
	}
	if i < 0 || another {
		return
	}
	table := r.Tables[i]
	if table.AxesChanged != moved || int(table.Changed) != len(cells) || len(table.Changes) != len(cells) || int(table.Cells) != len(is.cells.words) {
		t.Fatalf("%s: %v, the slow way finds axes moved %v and cells %v of %d", id, table, moved, cells, len(is.cells.words))
	}
	for n, c := range table.Changes {
		checkCell(t, c, was, is, cells[n], a, b)
	}
}

// checkCell holds one changed cell to the slow way's.
func checkCell(t *rapid.T, c *calibrationv1.CellChange, was, is *plainTable, n int, a, b []byte) {
	p, q := was.cells.words[n], is.cells.words[n]
	index := make([]int, max(len(is.axes), 2))
	rest := n
	for k := range is.axes {
		index[k], rest = rest%is.axes[k].used[0], rest/is.axes[k].used[0]
	}
	if int(c.Column) != index[0] || int(c.Row) != index[1] {
		t.Fatalf("cell %d is at %v: %v", n, index, c)
	}
	for k := 2; k < len(is.axes); k++ {
		if int(c.Slice.GetIndex()[k-2]) != index[k] {
			t.Fatalf("cell %d is at %v: %v", n, index, c)
		}
	}
	if p.s.Type[0] != 'f' && (c.GetBaseRaw() != p.raw(a).String() || c.GetCandidateRaw() != q.raw(b).String()) {
		t.Fatalf("raw %v and %v: %v", p.raw(a), q.raw(b), c)
	}
	if p.reading.GetLabels() != nil {
		return
	}
	for _, side := range []struct {
		off   bool
		value float64
		said  *structpb.Value
	}{{p.off(a), p.value(a), c.Base}, {q.off(b), q.value(b), c.Candidate}} {
		if _, null := side.said.Kind.(*structpb.Value_NullValue); side.off != null || !side.off && side.said.GetStringValue() == "" && !near(side.said.GetNumberValue(), side.value, 1e-9*max(1, math.Abs(side.value))) {
			t.Fatalf("%v (no value: %v): %v", side.value, side.off, c)
		}
	}
}

// Swapping the images negates every delta.
func TestStructuresSwap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lay := drawStructures(t)
		a, b := drawPair(t, lay)
		one, two := structures(t, lay, a, b), structures(t, lay, b, a)
		if !proto.Equal(one.Bytes, two.Bytes) {
			t.Fatalf("%v and %v", one.Bytes, two.Bytes)
		}
		for _, p := range one.Tables {
			i := slices.IndexFunc(two.Tables, func(q *calibrationv1.TableReport) bool { return q.Id == p.Id })
			if i < 0 || len(p.Changes) == 0 && p.Changed > 0 || len(two.Tables[i].Changes) == 0 && two.Tables[i].Changed > 0 {
				continue // it leads outside in one of them
			}
			q := two.Tables[i]
			another := p.Alignment != nil || slices.ContainsFunc(one.Unjudged, func(u *calibrationv1.Unjudged) bool { return u.Table == p.Id })
			if !another && p.Changed != q.Changed || p.AxesChanged != q.AxesChanged || p.Regridded != q.Regridded || (p.Delta == nil) != (q.Delta == nil) || len(p.Surfaces) != len(q.Surfaces) {
				t.Fatalf("%v and %v", p, q)
			}
			if p.Delta != nil && (!another || p.Surface != nil || p.Surfaces != nil) && (!same(p.Delta.Min, -q.Delta.Max) || !same(p.Delta.Rms, q.Delta.Rms)) {
				t.Fatalf("%s: %v and %v", p.Id, p.Delta, q.Delta)
			}
			for k, c := range p.Changes {
				if another { // breakpoints that neither rise nor fall pair as sequences in more than one way
					break
				}
				if d := q.Changes[k]; (c.Delta == nil) != (d.Delta == nil) || !same(c.GetDelta(), -d.GetDelta()) || !proto.Equal(c.Base, d.Candidate) {
					t.Fatalf("%s: %v and %v", p.Id, c, d)
				}
			}
		}
	})
}

// An image does not differ from itself, whatever leads outside in it.
func TestStructuresAgainstThemselves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lay := drawStructures(t)
		a := drawStructured(t, "base", lay)
		r := structures(t, lay, a, slices.Clone(a))
		if len(r.Tables)+len(r.Unmapped)+len(r.Unjudged) != 0 || r.Bytes.Differing != 0 {
			t.Fatalf("%v", r)
		}
		for _, f := range r.Findings {
			if f.Rule != "checksum" {
				t.Fatalf("%v", f)
			}
		}
	})
}
