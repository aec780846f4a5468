package compare

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

func numbers(rows []float64, want ...float64) bool { return slices.Equal(rows, want) }

func row(r *calibrationv1.TableReport, base bool, i int) []float64 {
	list := r.GetSurface().GetCandidate()
	if base {
		list = r.GetSurface().GetBase()
	}
	var out []float64
	for _, v := range list[i].GetValues() {
		out = append(out, v.GetNumberValue())
	}
	return out
}

// air is exactly speed/10 at 1000 2000 3000 5000. With 2500 for 2000 and 250 for 200 it still is.
func TestRegridded(t *testing.T) {
	r := smallReport(t, func(b []byte) {
		binary.BigEndian.PutUint16(b[0x22:], 2500)
		binary.BigEndian.PutUint16(b[0x52:], 250)
	})
	ign, air := r.Tables[0], r.Tables[1]
	if air.Id != "air" || !air.AxesChanged || !air.Regridded || air.Delta.GetMin() != 0 || air.Delta.GetMax() != 0 {
		t.Errorf("air: %v", air)
	}
	if !numbers(air.Surface.X, 1000, 2000, 2500, 3000, 5000) || len(air.Surface.Y) != 0 {
		t.Errorf("joined breakpoints: %v", air.Surface)
	}
	if want := []float64{100, 200, 250, 300, 500}; !slices.Equal(row(air, true, 0), want) || !slices.Equal(row(air, false, 0), want) {
		t.Errorf("surface: %v", air.Surface)
	}
	if c := air.Changes[0]; air.Changed != 1 || c.GetX() != 2500 || c.GetBaseX() != 2000 || c.Delta != nil || c.Y != nil {
		t.Errorf("change: %v", c)
	}
	// ign's cells stand, its axis moved. First row 6 6.75 7.5 8.25: at 2000 it was 6.75 and is 6.5, at
	// 2500 it was 7.125 and is 6.75. That is half a raw step (0.375) at most.
	if ign.Changed != 0 || len(ign.Changes) != 0 || !ign.Regridded || len(ign.Surface.Y) != 3 {
		t.Errorf("ign: %v", ign)
	}
	if got := row(ign, true, 0); !numbers(got, 6, 6.75, 7.125, 7.5, 8.25) {
		t.Errorf("ign before: %v", got)
	}
	if got := row(ign, false, 0); !numbers(got, 6, 6.5, 6.75, 7.5, 8.25) {
		t.Errorf("ign after: %v", got)
	}
	// Three rows, each -0.25 and -0.375.
	if d := ign.Delta; d.Min != -0.375 || d.Max != -0.25 || d.Mean != -0.3125 {
		t.Errorf("ign delta: %v", d)
	}
}

func TestNotRegridded(t *testing.T) {
	r := smallReport(t, func(b []byte) { binary.BigEndian.PutUint16(b[0x22:], 2600) })
	// 2000 of 2600: at 2600 ign was 6.75+0.6*0.75 = 7.2 and is 6.75, more than half a raw step.
	if ign := r.Tables[0]; ign.Regridded || math.Abs(ign.Delta.Min+0.45) > 1e-12 {
		t.Errorf("ign: %v", ign)
	}
}

// A step in the candidate: air's breakpoints 1000 2000 2000 5000 with 100 200 300 500. Just below 2000 it is
// as before, at 2000 it is 300 instead of 200.
func TestStepsAreComparedOnBothSides(t *testing.T) {
	r := smallReport(t, func(b []byte) { binary.BigEndian.PutUint16(b[0x24:], 2000) })
	air := r.Tables[1]
	if !numbers(air.Surface.X, 1000, 2000, 3000, 5000) {
		t.Fatalf("joined: %v", air.Surface.X)
	}
	if got := row(air, false, 0); got[1] != 300 || air.Delta.Max != 100 || air.Regridded {
		t.Errorf("candidate: %v, delta %v", got, air.Delta)
	}
	// At the step only the far side differs, so the near one does not count: 100 at 2000, and at 3000
	// 300+200/3 against 300.
	if want := (100 + 200.0/3) / 2; math.Abs(air.Delta.Mean-want) > 1e-9 {
		t.Errorf("mean %v, want %v", air.Delta.Mean, want)
	}
}

// Only the near side of a step differs: just below 2000 the candidate comes to 150, at 2000 and above it
// is what it was.
func TestStepThatDiffersBelowAlone(t *testing.T) {
	r := smallReport(t, func(b []byte) {
		binary.BigEndian.PutUint16(b[0x24:], 2000)
		binary.BigEndian.PutUint16(b[0x52:], 150)
		binary.BigEndian.PutUint16(b[0x54:], 200)
	})
	air := r.Tables[1]
	if got := row(air, false, 0); !numbers(got, 100, 200, 300, 500) {
		t.Fatalf("at the breakpoints: %v", got)
	}
	if air.Regridded || air.Delta.Min != -50 || air.Delta.Max != -50 {
		t.Errorf("delta %v, regridded %v", air.Delta, air.Regridded)
	}
}

func TestFallingAxisIsTheSameSurface(t *testing.T) {
	r := smallReport(t, func(b []byte) {
		for i, v := range []uint16{5000, 3000, 2000, 1000} {
			binary.BigEndian.PutUint16(b[0x20+2*i:], v)
			binary.BigEndian.PutUint16(b[0x50+2*i:], v/10)
		}
		for rowAt := 0x30; rowAt < 0x3C; rowAt += 4 {
			slices.Reverse(b[rowAt : rowAt+4])
		}
	})
	for _, table := range r.Tables {
		if !table.Regridded || table.Delta.Max != 0 || table.Delta.Min != 0 {
			t.Errorf("%s stored backwards: %v", table.Id, table.Delta)
		}
	}
	if c := r.Tables[1].Changes[0]; c.GetColumn() != 0 || c.GetX() != 5000 || c.GetBaseX() != 1000 {
		t.Errorf("indices stay as stored: %v", c)
	}
}

func TestWhatCannotBeInterpolatedIsComparedByIndex(t *testing.T) {
	// An index axis whose points differ: gear 1 2 3 becomes 1 2 4.
	r := smallReport(t, func(b []byte) { b[0x7A], b[0x75], b[0x76] = 4, 21, 33 })
	pick := r.Tables[0]
	if pick.Id != "pick" || !pick.AxesChanged || pick.Surface != nil || pick.Regridded || pick.Changed != 2 {
		t.Fatalf("pick: %v", pick)
	}
	if a, b := pick.Changes[0], pick.Changes[1]; a.GetDelta() != 1 || a.BaseX != nil || b.Delta != nil || b.GetBaseX() != 3 {
		t.Errorf("changes: %v", pick.Changes)
	}
	if pick.Delta.Min != 1 || pick.Delta.Max != 3 {
		t.Errorf("delta: %v", pick.Delta)
	}
	// Breakpoints up and down.
	r = smallReport(t, func(b []byte) { binary.BigEndian.PutUint16(b[0x22:], 4000) })
	if air := r.Tables[1]; air.Surface != nil || air.Delta.Max != 0 || !air.AxesChanged {
		t.Errorf("air: %v", air)
	}
	if f := finding(t, r, "meaning-moved:air"); !strings.Contains(f.Detail, "no ratio, since its breakpoints changed") {
		t.Errorf("meaning-moved: %v", f)
	}
}

// grid8 is a map of 5x4 cells of u32, its breakpoints in quarters.
const grid8 = `
name: grid
title: One map
byte_order: little
image: {start: 0, size: 0x100}
tables:
  - id: m
    quantity: torque
    unit: N.m
    stored: {address: 0x20, type: u32}
    x: {id: x, quantity: engine_speed, unit: 1/min, stored: {address: 0, type: u16, count: 5}, conversion: {factor: 0.25}}
    y: {id: y, quantity: throttle, unit: "%", stored: {address: 0x10, type: u16, count: 4}, conversion: {factor: 0.25}}
`

// A bilinear table on other breakpoints, rounded to raw steps, is the same table to half a raw step:
// the error at each breakpoint is at most that, and interpolating errors does not enlarge them.
func TestRegriddingABilinearTable(t *testing.T) {
	lay := layoutOf(t, grid8)
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SliceOfN(rapid.IntRange(0, 9), 4, 4).Draw(t, "coefficients")
		fill := func(xs, ys []int) []byte {
			b := make([]byte, 0x100)
			for i, x := range xs {
				binary.LittleEndian.PutUint16(b[2*i:], uint16(x))
			}
			for j, y := range ys {
				binary.LittleEndian.PutUint16(b[0x10+2*j:], uint16(y))
				for i, x := range xs {
					px, py := float64(x)/4, float64(y)/4
					v := float64(k[0]) + float64(k[1])*px + float64(k[2])*py + float64(k[3])*px*py
					binary.LittleEndian.PutUint32(b[0x20+4*(5*j+i):], uint32(math.Round(v)))
				}
			}
			return b
		}
		// The base lies on whole numbers, where it is exact; both span the same range.
		base := fill([]int{0, 40, 80, 200, 400}, []int{0, 100, 120, 400})
		inner := func(n int, name string) []int {
			p := rapid.SliceOfNDistinct(rapid.IntRange(1, 399), n, n, rapid.ID[int]).Draw(t, name)
			slices.Sort(p)
			return append(append([]int{0}, p...), 400)
		}
		cand := fill(inner(3, "x"), inner(2, "y"))
		r, err := Compare(Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay})
		if err != nil {
			t.Fatal(err)
		}
		for _, table := range r.Tables {
			if !table.Regridded && table.AxesChanged || table.Delta.Max > 0.5+1e-6 || table.Delta.Min < -0.5-1e-6 {
				t.Fatalf("delta %v, regridded %v", table.Delta, table.Regridded)
			}
		}
	})
}

// second is another software version: other addresses, byte order, factors and breakpoints.
const second = `
name: small-2
title: The next version
byte_order: little
image: {start: 0, size: 0x80}
identity:
  - {id: software, address: 0, length: 4, encoding: ascii}
tables:
  - {id: fresh, quantity: duty, unit: "%", stored: {address: 0x4, type: u8}}
  - id: air
    quantity: air_flow
    unit: kg/h
    stored: {address: 0x20, type: u16}
    conversion: {factor: 0.5}
    x: {id: rpm5, quantity: engine_speed, unit: 1/min, stored: {address: 0x10, type: u16, count: 5}, conversion: {factor: 0.5}}
  - {id: cut, quantity: engine_speed, unit: 1/min, stored: {address: 0x30, type: u16}, conversion: {factor: 4}}
  - {id: trim, quantity: fuel_trim, unit: V, stored: {address: 0x34, type: u8}}
  - {id: mode, stored: {address: 0x35, type: u8}, conversion: {labels: {3: "off", 4: "on"}}}
`

func TestTwoDefinitions(t *testing.T) {
	lay, next := layoutOf(t, small), layoutOf(t, second)
	b := make([]byte, 0x80)
	copy(b, "SW-2")
	for i, v := range []uint16{1000, 1500, 2000, 3000, 5000} {
		binary.LittleEndian.PutUint16(b[0x10+2*i:], 2*v)
	}
	for i, v := range []uint16{200, 300, 401, 640, 1000} { // 100 150 200.5 320 500 kg/h
		binary.LittleEndian.PutUint16(b[0x20+2*i:], v)
	}
	binary.LittleEndian.PutUint16(b[0x30:], 1625) // 6500
	b[0x35] = 3
	r := compared(t, Input{Base: whole(lay, smallImage()), Candidate: whole(next, b), Layout: lay, CandidateLayout: next})
	if r.DefinitionCandidate.GetName() != "small-2" || r.Definition.GetName() != "small-1" || r.Bytes.Differing != 0 || len(r.Unmapped) != 0 {
		t.Errorf("report: %v", r)
	}
	var ids []string
	for _, table := range r.Tables {
		ids = append(ids, table.Id)
	}
	// In the base's order; cut is 6500 in both and mode off in both. trim has another unit and fresh is new:
	// all of their cells count as changed.
	if !slices.Equal(ids, []string{"trim", "air", "fresh"}) || r.Tables[0].Changed != 1 || r.Tables[2].Changed != 1 {
		t.Fatalf("tables: %v", r.Tables)
	}
	air := r.Tables[1]
	// 200.5 for 200 is half of the coarser raw step (1) and passes; 320 for 300 does not.
	if air.Changed != 1 || air.Cells != 5 || air.Changes[0].GetColumn() != 3 || air.Changes[0].GetDelta() != 20 ||
		air.Changes[0].GetBaseRaw() != "300" || air.Changes[0].GetCandidateRaw() != "640" {
		t.Errorf("air: %v", air.Changes)
	}
	if x := air.Alignment.GetX(); len(x) != 1 || x[0].Side != "candidate" || x[0].Index != 1 || x[0].Point != 1500 {
		t.Errorf("alignment: %v", air.Alignment)
	}
	if !numbers(air.Surface.GetX(), 1000, 1500, 2000, 3000, 5000) {
		t.Errorf("surface: %v", air.Surface)
	}
	why := map[string]string{}
	for _, u := range r.Unjudged {
		why[u.Table] = u.Reason
	}
	if !strings.Contains(why["fresh"], "only the candidate's") || !strings.Contains(why["ign"], "only the base's") ||
		!strings.Contains(why["trim"], "its unit is 1") {
		t.Errorf("unjudged: %v", why)
	}
	// What is new is judged all the same, as if there had been nothing before.
	lim := limitsOf(t, `
name: next
title: For the next version
rules:
  - {id: duty, severity: danger, select: {tables: [fresh]}, reason: r, source: made up for this test, range: {unit: "%", max: 90}}
`)
	b[4] = 99
	judged := compared(t, Input{Base: whole(lay, smallImage()), Candidate: whole(next, b), Layout: lay, CandidateLayout: next, Limits: lim})
	if f := finding(t, judged, "duty:fresh"); f.Origin != "introduced" || judged.Verdict != "danger" {
		t.Errorf("a table that is new: %v", f)
	}
	if f := finding(t, judged, "no-limit:trim"); !strings.Contains(f.Detail, "its unit is 1") {
		t.Errorf("no-limit: %v", f)
	}
	if f := finding(t, r, "identity"); !strings.Contains(f.Detail, "software differs") {
		t.Errorf("identity: %v", f)
	}
}

// curveOf is a definition with one curve r over a stored u8 axis of n points, and its conversion.
func curveOf(t *testing.T, n int, conversion string) *definition.Layout {
	return curveIn(t, "flow", n, conversion)
}

func curveIn(t *testing.T, quantity string, n int, conversion string) *definition.Layout {
	return layoutOf(t, fmt.Sprintf(`
name: c%d
title: One curve
byte_order: big
image: {start: 0, size: 0x20}
tables:
  - {id: r, quantity: %s, unit: g/s, stored: {address: 0x10, type: u8}, conversion: %s, x: {id: rx, quantity: period, unit: ms, stored: {address: 0, type: u8, count: %d}}}
`, n, quantity, conversion, n))
}

func TestTwoDefinitionsCoarserStep(t *testing.T) {
	// 1000/raw: at raw 4 it is 250, and its neighbours are 200 and 333.3, so half a step is 25.
	rational := curveOf(t, 2, "{rational: {num: [1000, 0, 0], den: [0, 1, 0]}}")
	affine := curveOf(t, 2, "{factor: 4}")
	for raw, want := range map[byte]uint32{62: 0, 68: 0, 57: 0, 69: 1, 56: 1} { // 248 272 228 | 276 224
		a, b := make([]byte, 0x20), make([]byte, 0x20)
		a[1], b[1] = 9, 9
		a[0x10], b[0x10] = 83, 3 // 12.05 and 12
		a[0x11], b[0x11] = 4, raw
		r := compared(t, Input{Base: whole(rational, a), Candidate: whole(affine, b), Layout: rational, CandidateLayout: affine})
		var changed uint32
		if len(r.Tables) > 0 {
			changed = r.Tables[0].Changed
		}
		if changed != want {
			t.Errorf("250 and %d: %d cells changed, want %d", 4*int(raw), changed, want)
		}
	}
}

// Nothing moved but the last breakpoint is gone: that is a change, and the order of the rest is looked at.
func TestTwoDefinitionsShorterAxis(t *testing.T) {
	long, short := curveOf(t, 4, "{factor: 1}"), curveOf(t, 3, "{factor: 1}")
	image := make([]byte, 0x20)
	copy(image, []byte{10, 20, 20, 30})
	r := compared(t, Input{Base: whole(long, image), Candidate: whole(short, image), Layout: long, CandidateLayout: short})
	if len(r.Tables) != 1 || !r.Tables[0].AxesChanged || r.Tables[0].Cells != 3 {
		t.Fatalf("tables: %v", r.Tables)
	}
	if x := r.Tables[0].Alignment.GetX(); len(x) != 1 || x[0].Side != "base" || x[0].Index != 3 || x[0].Point != 30 {
		t.Errorf("alignment: %v", x)
	}
	finding(t, r, "axis-order:r")
}

// Labels in one definition and numbers in the other, or another quantity: the rules see no base, so
// a value that was there before is judged as new.
func TestTwoDefinitionsThatMeanDifferentThings(t *testing.T) {
	lim := limitsOf(t, `
name: flow
title: For one curve
rules:
  - {id: most, severity: warning, select: {tables: [r]}, reason: r, source: made up for this test, range: {unit: g/s, max: 5}}
`)
	image := make([]byte, 0x20)
	image[0x11] = 6
	for _, before := range []*definition.Layout{curveOf(t, 2, `{labels: {6: "on"}}`), curveIn(t, "leak", 2, "{factor: 1}")} {
		r := compared(t, Input{Base: whole(before, image), Candidate: whole(before, image), Layout: before,
			CandidateLayout: curveOf(t, 2, "{factor: 1}"), Limits: lim})
		if f := finding(t, r, "most:r"); f.Origin != "introduced" || r.Tables[0].Changed != 2 || len(r.Tables[0].Changes) != 0 {
			t.Errorf("finding %v, table %v", f, r.Tables[0])
		}
	}
}

// The last bits of interpolating make no difference: the same straight line on other breakpoints.
func TestRoundingIsNoDifference(t *testing.T) {
	lay := curveOf(t, 4, "{factor: 0.1}")
	fill := func(points ...byte) []byte {
		b := make([]byte, 0x20)
		for i, p := range points {
			b[i], b[0x10+i] = p, p+3
		}
		return b
	}
	for p := byte(1); p < 30; p++ {
		r := pair(t, lay, fill(0, 10, 30, 60), fill(0, p, 30, 60))
		for _, table := range r.Tables {
			if d := table.Delta; !table.Regridded || d.Min != 0 || d.Max != 0 || d.Rms != 0 {
				t.Errorf("breakpoint at %d: %v, regridded %v", p, d, table.Regridded)
			}
		}
	}
}

func TestPrivateInOneDefinitionIsPrivate(t *testing.T) {
	lay := layoutOf(t, small)
	next := layoutOf(t, strings.Replace(second, "tables:\n", "  - {id: frame, address: 0x8, length: 4, encoding: ascii}\ntables:\n", 1))
	b := make([]byte, 0x80)
	copy(b[8:], "VINY")
	r := compared(t, Input{Base: whole(lay, smallImage()), Candidate: whole(next, b), Layout: lay, CandidateLayout: next})
	if text := r.String(); strings.Contains(text, "VIN") || r.Identity[1].Match {
		t.Errorf("identity: %v", r.Identity)
	}
}

// Sequences are aligned as a person would: whatever is common stays paired.
func TestAlign(t *testing.T) {
	axis := layoutOf(t, small).ByID["ign"].X
	for _, c := range []struct {
		base, cand []float64
		want       string
	}{
		{[]float64{1, 2, 3}, []float64{2, 3}, "[[1 0] [2 1]] base 0 1"},
		{[]float64{2, 3}, []float64{1, 2, 3, 9}, "[[0 1] [1 2]] candidate 0 1 candidate 3 9"},
		{[]float64{5, 6}, []float64{5, 6}, "[[0 0] [1 1]]"},
		{[]float64{5, 6}, []float64{7, 8}, "[[0 0] [1 1]]"}, // as many: by index
		{[]float64{5}, []float64{7, 8}, "[] base 0 5 candidate 0 7 candidate 1 8"},
		{[]float64{10, 20, 30}, []float64{10.2, 19.8}, "[[0 0] [1 1]] base 2 30"}, // to half a raw step of 1
		{[]float64{math.NaN(), 1}, []float64{1}, "[[1 0]] base 0 NaN"},
	} {
		a := along{base: axis, cand: axis, was: c.base, is: c.cand}
		a.pairUp(false)
		text := fmt.Sprint(a.both())
		for _, o := range a.only {
			text += fmt.Sprintf(" %s %d %v", o.Side, o.Index, o.Point)
		}
		if text != c.want {
			t.Errorf("%v and %v: %s, want %s", c.base, c.cand, text, c.want)
		}
	}
	// Far more breakpoints than there are code points below the replacement character.
	long := make([]float64, 20000)
	for i := range long {
		long[i] = float64(2 * i)
	}
	left, right := (&along{base: axis, cand: axis, was: long, is: long[1:]}).runes()
	for i := range right {
		if left[i+1] != right[i] || left[i] == left[i+1] || left[i] == 0xFFFD {
			t.Fatalf("breakpoint %d has rune %x", i, left[i])
		}
	}
}
