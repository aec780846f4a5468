package compare

import (
	"math"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"
	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/limits"
)

// slowly is a table at a point of each of its axes, corner by corner: what is interpolated raw is converted afterwards, ends are
// held, and at a step the value at it and above counts. Of a slice that is stored its index is given. ok is false where an axis neither rises nor falls or something is no finite number.
func slowly(p *plainTable, b []byte, point []float64, slice []uint32) (v float64, off, ok bool) {
	type share struct {
		cell   int
		weight float64
	}
	all, stride := []share{{0, 1}}, 1
	for k, a := range p.axes {
		points := slices.Clone(a.points)
		for _, w := range a.words {
			points = append(points, w.value(b))
		}
		if k >= 2 && slice != nil {
			for i := range all {
				all[i].cell += int(slice[k-2]) * stride
			}
			stride *= len(points)
			continue
		}
		at := make([]int, len(points))
		for i := range at {
			at[i] = i
		}
		falls := len(points) > 1 && points[0] > points[len(points)-1]
		if falls {
			slices.Reverse(points)
			slices.Reverse(at)
		}
		if !slices.IsSorted(points) || math.IsNaN(points[0]) || math.IsInf(points[0], 0) || math.IsInf(points[len(points)-1], 0) {
			return 0, false, false
		}
		lo := 0
		for i, p := range points {
			if p <= point[k] {
				lo = i
			}
		}
		var wider []share
		for _, s := range all {
			if lo == len(points)-1 || point[k] <= points[lo] {
				wider = append(wider, share{s.cell + at[lo]*stride, s.weight})
				continue
			}
			t := (point[k] - points[lo]) / (points[lo+1] - points[lo])
			wider = append(wider, share{s.cell + at[lo]*stride, s.weight * (1 - t)}, share{s.cell + at[lo+1]*stride, s.weight * t})
		}
		all, stride = wider, stride*len(points)
	}
	c := p.source.Conversion
	raw := c.GetRational() != nil || c.GetPoints() != nil
	for _, s := range all {
		if s.weight == 0 {
			continue
		}
		w := p.cells.words[s.cell]
		if off = off || w.off(b); raw {
			v += s.weight * w.number(b)
		} else {
			v += s.weight * w.value(b)
		}
	}
	switch {
	case c.GetRational() != nil:
		v = (c.Rational.Num[0] + c.Rational.Num[1]*v) / (c.Rational.Den[0] + c.Rational.Den[1]*v)
	case c.GetPoints() != nil:
		v = byPoints(c.Points, v)
	}
	return v, off, !math.IsNaN(v) && !math.IsInf(v, 0)
}

// Joined surfaces are what the tables are there, slice by slice and between slices that moved.
func TestStructuresJoin(t *testing.T) {
	joinedSurfaces := 0
	rapid.Check(t, func(t *rapid.T) {
		lay := drawStructures(t)
		a, b := drawPair(t, lay)
		for _, table := range structures(t, lay, a, b).Tables {
			source := lay.ByID[table.Id].Source
			was, is := (&plain{lay.Source, a}).read(source), (&plain{lay.Source, b}).read(source)
			surfaces := table.Surfaces
			if table.Surface != nil {
				surfaces = append(surfaces, table.Surface)
			}
			for _, s := range surfaces {
				joinedSurfaces++
				checkSurface(t, s, was, is, a, b)
			}
		}
	})
	if joinedSurfaces == 0 {
		t.Error("no surface was joined")
	}
}

func checkSurface(t *rapid.T, s *calibrationv1.Surface, was, is *plainTable, a, b []byte) {
	beyond := make([]float64, max(len(is.axes)-2, 0))
	for k, v := range s.Slice.GetAt() {
		if _, text := v.Kind.(*structpb.Value_StringValue); text {
			beyond[k] = float64(slices.Index([]string{"first", "second", "third"}, v.GetStringValue()))
		} else {
			beyond[k] = v.GetNumberValue()
		}
	}
	ys := s.Y
	if len(is.axes) < 2 {
		ys = []float64{0}
	}
	for row, y := range ys {
		for col, x := range s.X {
			point := append([]float64{x, y}[:min(len(is.axes), 2)], beyond...)
			for _, side := range []struct {
				p    *plainTable
				b    []byte
				said *structpb.Value
			}{{was, a, s.Base[row].Values[col]}, {is, b, s.Candidate[row].Values[col]}} {
				v, off, ok := slowly(side.p, side.b, point, s.Slice.GetIndex())
				_, null := side.said.Kind.(*structpb.Value_NullValue)
				if off != null {
					t.Fatalf("%s at %v: no value %v, reported %v", is.source.Id, point, off, side.said)
				}
				_, text := side.said.Kind.(*structpb.Value_StringValue) // not finite, as where the square of a raw value is not
				if got := side.said.GetNumberValue(); ok && !text && !off && steady(side.p) && !near(got, v, 1e-6*max(1, math.Abs(v))) {
					t.Fatalf("%s at %v: %v, the slow way says %v", is.source.Id, point, got, v)
				}
			}
		}
	}
}

// steady says that rounding of a raw value cannot make another value of it, as it does where points go in steps or end.
func steady(p *plainTable) bool {
	points := p.source.Conversion.GetPoints()
	return points == nil || points.Between != "step" && points.Outside == nil
}

// structuresAnything draws everything and asks that nothing panics and that the answer is the same twice.
func structuresAnything(t *rapid.T) {
	lay := drawStructures(t)
	a, b := drawPair(t, lay)
	in := Input{Layout: lay, Base: whole(lay, a), Candidate: whole(lay, b)}
	if rapid.IntRange(0, 2).Draw(t, "with holes") == 0 {
		in.Base = drawHoles(t, "base", lay, a)
		in.Candidate.Held = in.Base.Held
	}
	if rapid.IntRange(0, 2).Draw(t, "two definitions") == 0 {
		in.CandidateLayout = drawStructures(t)
		in.Candidate = whole(in.CandidateLayout, drawStructured(t, "other", in.CandidateLayout))
	}
	if rapid.Bool().Draw(t, "as found") {
		in.AsFound = whole(lay, drawEdits(t, a))
	}
	cand := in.CandidateLayout
	if cand == nil {
		cand = lay
	}
	if lim, err := limits.Load("any.yaml", []byte(anyLimits)); err != nil {
		t.Fatal(err)
	} else if lim.Check(cand) == nil {
		in.Limits = lim
	}
	r, err := Compare(in)
	if err != nil {
		return
	}
	again, err := Compare(in)
	if err != nil || !proto.Equal(r, again) {
		t.Fatalf("the same input gives another report: %v", err)
	}
	checkOrder(t, in, r)
	if _, err := Check(in.Candidate, cand, in.Limits, nil); err != nil {
		t.Fatal(err)
	}
	if in.CandidateLayout == nil {
		if same, why := SameInCar(lay, in.Base, in.Base); !same && r.Checksums[0].GetBaseOk() {
			t.Fatal(why)
		}
		SameInCar(lay, in.Base, in.Candidate)
	}
}

func TestStructuresAnything(t *testing.T) { rapid.Check(t, structuresAnything) }

func FuzzStructures(f *testing.F) {
	for seed := range byte(4) {
		data := make([]byte, 16<<10)
		x := uint32(seed) + 1
		for i := range data {
			x = x*1664525 + 1013904223
			data[i] = byte(x >> 24)
		}
		f.Add(data)
	}
	f.Fuzz(rapid.MakeFuzz(structuresAnything))
}
