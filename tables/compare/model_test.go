package compare

import (
	"fmt"
	"math"
	"slices"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/surface"
	"witnessmark/tables/units"
)

// drawHoles is an image that lacks a range or two; what it lacks holds anything.
func drawHoles(t *rapid.T, label string, lay *definition.Layout, b []byte) *image.Image {
	im := whole(lay, b)
	for i := range rapid.IntRange(0, 2).Draw(t, label+" holes") {
		start := uint64(rapid.IntRange(0, randomSize-1).Draw(t, fmt.Sprintf("%s hole %d", label, i)))
		end := start + uint64(rapid.IntRange(1, 8).Draw(t, fmt.Sprintf("%s hole %d bytes", label, i)))
		im.Held = image.Minus(im.Held, lay.Space.Addresses([]image.Range{{Start: start, End: min(end, randomSize)}}))
	}
	return im
}

// holds is an oracle: whether an image holds each of its bytes.
func holds(im *image.Image) []bool {
	out := make([]bool, len(im.Bytes))
	for _, r := range im.Held {
		for at := r.Start; at < r.End; at++ {
			out[at-im.Space.Address(0)] = true
		}
	}
	return out
}

// described is an oracle: what of the definition each byte of a whole cell, a field or a sum's range belongs to.
func described(lay *definition.Layout) []map[string]bool {
	own := make([]map[string]bool, lay.Size)
	of := func(name string, r image.Range) {
		for at := r.Start; at < r.End; at++ {
			if own[at] == nil {
				own[at] = map[string]bool{}
			}
			own[at][name] = true
		}
	}
	cells := func(name string, c *definition.Cells) {
		for row := range c.NY {
			for col := range c.NX {
				of(name, image.Range{Start: c.At(row, col), End: c.At(row, col) + uint64(c.Bytes)})
			}
		}
	}
	for _, a := range lay.Axes {
		if a.Cells != nil {
			cells("axis "+a.ID, a.Cells)
		}
	}
	for _, t := range lay.Tables {
		cells(t.ID, t.Cells)
		for _, a := range []*definition.Axis{t.X, t.Y} {
			if a != nil && a.Cells != nil {
				cells(t.ID, a.Cells)
			}
		}
	}
	for _, f := range lay.Identity {
		of("field", f.Range)
	}
	for _, c := range lay.Checksums {
		cells("sum", c.Stored)
		for _, r := range c.Over {
			of("sum", r)
		}
	}
	return own
}

// checkHoles holds what is lacking against the oracles: whether the images can be compared at all, which
// bytes count, and which tables nothing is said of.
func checkHoles(t *rapid.T, in Input, r *calibrationv1.Report, err error) {
	base, cand, own := holds(in.Base), holds(in.Candidate), described(in.Layout)
	mask, refused, unknown := slices.Clone(in.Candidate.Bytes), false, map[string]bool{}
	for at := range mask {
		if !base[at] || !cand[at] {
			mask[at] = in.Base.Bytes[at] // differs from nothing
		}
		refused = refused || base[at] != cand[at] && own[at] != nil
		if !cand[at] {
			for name := range own[at] {
				unknown[name] = true
			}
		}
	}
	if refused != (err != nil) {
		t.Fatalf("refused: %v, the oracle says %v", err, refused)
	}
	if refused {
		return
	}
	checkCounts(t, in.Layout, in.Base.Bytes, mask, r)
	for _, table := range r.Tables {
		if unknown[table.Id] {
			t.Fatalf("%s is compared, and bytes of it are unknown", table.Id)
		}
	}
	for _, table := range in.Layout.Tables {
		said := slices.ContainsFunc(r.Unjudged, func(u *calibrationv1.Unjudged) bool { return u.Rule == "" && u.Table == table.ID })
		if said != unknown[table.ID] && in.AsFound == nil {
			t.Fatalf("%s unknown: %v, unjudged %v", table.ID, unknown[table.ID], r.Unjudged)
		}
	}
	if len(r.Checksums) > 0 == unknown["sum"] || len(r.Identity) > 0 == unknown["field"] && len(in.Layout.Identity) > 0 {
		t.Fatalf("what is unknown of sums and fields: %v, %v, %v", unknown, r.Checksums, r.Identity)
	}
}

// checkAsFound reckons the distance from the image as found anew, cell by cell, where breakpoints stand.
func checkAsFound(t *rapid.T, in Input, r *calibrationv1.Report) {
	if r.AsFound == nil {
		for _, table := range r.Tables {
			if table.FromAsFound != nil {
				t.Fatalf("%s is held against an image that was not taken", table.Id)
			}
		}
		return
	}
	for _, table := range r.Tables {
		lt, since := in.Layout.ByID[table.Id], table.FromAsFound
		moved := false
		for _, a := range []*definition.Axis{lt.X, lt.Y} {
			if a != nil && a.Cells != nil {
				for i := range a.Count {
					moved = moved || a.Cells.Bits(in.AsFound.Bytes, 0, i) != a.Cells.Bits(in.Candidate.Bytes, 0, i)
				}
			}
		}
		var n uint32
		least, most, size := math.Inf(1), math.Inf(-1), 1.0
		for row := range lt.Cells.NY {
			for col := range lt.Cells.NX {
				if lt.Cells.Bits(in.AsFound.Bytes, row, col) == lt.Cells.Bits(in.Candidate.Bytes, row, col) {
					continue
				}
				n++
				is, was := lt.Cells.Physical(in.Candidate.Bytes, row, col), lt.Cells.Physical(in.AsFound.Bytes, row, col)
				least, most, size = math.Min(least, is-was), math.Max(most, is-was), max(size, math.Abs(is), math.Abs(was))
			}
		}
		if since.GetChanged() != n || (since.Min == nil) != (lt.Cells.Conv.Labels != nil) {
			t.Fatalf("%s: from as found %v, the oracle counts %d", table.Id, since, n)
		}
		alike := func(a, b float64) bool { return near(a, b, 1e-9*size) } // 64 bits are more than a float holds
		if n > 0 && !moved && since.Min != nil && surface.Finite(least, most) && max(-least, most) < 1e300 && (!alike(*since.Min, least) || !alike(*since.Max, most)) {
			t.Fatalf("%s: from as found %v, the oracle says %v to %v", table.Id, since, least, most)
		}
	}
}

// extent is the least and the greatest finite value of cells.
func extent(c *definition.Cells, b []byte) (least, most float64) {
	least, most = math.Inf(1), math.Inf(-1)
	for row := range c.NY {
		for col := range c.NX {
			if v := c.Physical(b, row, col); surface.Finite(v) {
				least, most = math.Min(least, v), math.Max(most, v)
			}
		}
	}
	return least, most
}

// checkGround reckons anew which changed tables reach further than they did, and whether an axis ends before that.
func checkGround(t *rapid.T, in Input, r *calibrationv1.Report) {
	for _, changed := range r.Tables {
		lt := in.Layout.ByID[changed.Id]
		if lt.Cells.Conv.Labels != nil {
			continue
		}
		least, most := extent(lt.Cells, in.Base.Bytes)
		newLeast, newMost := extent(lt.Cells, in.Candidate.Bytes)
		if least > most || newLeast > newMost {
			continue
		}
		slack := 1e-6 * max(math.Abs(most), math.Abs(newMost), math.Abs(least), math.Abs(newLeast), 1)
		rose, fell := newMost > most, newLeast < least
		if near(most, newMost, slack) && most != newMost || near(least, newLeast, slack) && least != newLeast {
			continue // as good as equal: rounding decides
		}
		var others []string
		short, unsure := false, false
		for _, u := range in.Layout.Tables {
			for _, a := range []*definition.Axis{u.X, u.Y} {
				if a == nil || a.Quantity != lt.Quantity || u == lt {
					continue
				}
				to, err := units.Between(lt.Unit, a.Unit)
				if err != nil {
					continue
				}
				others = append(others, u.ID)
				points := a.Breakpoints(in.Candidate.Bytes)
				if unsure = unsure || len(r.Holes) > 0 || !surface.Finite(points...); !unsure {
					short = short || rose && slices.Max(points) < to.Level(newMost) || fell && slices.Min(points) > to.Level(newLeast)
					for _, p := range []float64{to.Level(newMost) - slices.Max(points), to.Level(newLeast) - slices.Min(points)} {
						unsure = unsure || p != 0 && math.Abs(p) < slack
					}
				}
			}
		}
		i := slices.IndexFunc(r.Findings, func(f *calibrationv1.Finding) bool { return Key(f) == "new-ground:"+lt.ID })
		if want := (rose || fell) && len(others) > 0; want != (i >= 0) {
			t.Fatalf("%s: from %v to %v became %v to %v, over %v; new ground found: %v", lt.ID, least, most, newLeast, newMost, others, i >= 0)
		}
		if i >= 0 && (!slices.Equal(r.Findings[i].Tables, others) || !unsure && short != (r.Findings[i].Severity == "caution")) {
			t.Fatalf("%s over %v, ends before: %v: %v", lt.ID, others, short, r.Findings[i])
		}
	}
}

// checkProtection reckons anew which tables that protect have a cell on their weaker side, where breakpoints stand.
func checkProtection(t *rapid.T, in Input, r *calibrationv1.Report) {
	for _, changed := range r.Tables {
		lt := in.Layout.ByID[changed.Id]
		weaker, unsure := false, false
		for row := range lt.Cells.NY {
			for col := range lt.Cells.NX {
				was, is := lt.Cells.Physical(in.Base.Bytes, row, col), lt.Cells.Physical(in.Candidate.Bytes, row, col)
				weaker = weaker || lt.Protects == "lower" && is > was || lt.Protects == "higher" && is < was
				unsure = unsure || is == was && lt.Cells.Bits(in.Base.Bytes, row, col) != lt.Cells.Bits(in.Candidate.Bytes, row, col) // 64 bits
			}
		}
		if lt.Cells.Conv.Labels != nil || lt.Role == "switch" {
			weaker = lt.Protects != ""
		} else if changed.AxesChanged || unsure {
			continue
		}
		if found := slices.ContainsFunc(r.Findings, func(f *calibrationv1.Finding) bool { return Key(f) == "protection-weakened:"+lt.ID }); found != weaker {
			t.Fatalf("%s, which protects while %q: %v, the oracle says %v", lt.ID, lt.Protects, found, weaker)
		}
	}
}
