package compare

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// guarded is small with tables that protect. Common practice, no source: the intake-air correction and a
// limiter protect while they are low, enrichment while it is high.
func guarded(t *testing.T, id, side string) string {
	t.Helper()
	out := strings.Replace(small, "{id: "+id+",", "{id: "+id+", protects: "+side+",", 1)
	out = strings.Replace(out, "  - id: "+id+"\n", "  - id: "+id+"\n    protects: "+side+"\n", 1)
	if out == small {
		t.Fatalf("no table %s", id)
	}
	return out
}

// weakening compares an edit of the small image, where a table protects; nil if that is not found weaker.
func weakening(t *testing.T, id, side string, edit func(b []byte)) (*calibrationv1.Finding, *calibrationv1.Report) {
	t.Helper()
	base := smallImage()
	r := pair(t, layoutOf(t, guarded(t, id, side)), base, edited(base, func(b []byte) { edit(b); restamp(b) }))
	for _, f := range r.Findings {
		if f.Rule == "protection-weakened" {
			if Key(f) != "protection-weakened:"+id || f.Severity != "warning" || f.Origin != "" || f.Count == 0 {
				t.Errorf("%s: %v", id, f)
			}
			return f, r
		}
	}
	return nil, r
}

func TestProtectionOfCells(t *testing.T) {
	// ign's cells 5 (9.75 deg at 2000, 60) and 6 (10.5 at 3000, 60): one rises by 3 deg, one by 0.75, cell 7 falls.
	edit := func(b []byte) { b[0x35], b[0x36], b[0x37] = 49, 47, 40 }
	f, _ := weakening(t, "ign", "lower", edit)
	if w := f.GetWorst(); f.GetCount() != 2 || w.GetValue() != 12.75 || w.GetLimit() != 9.75 || w.GetExcess() != 3 ||
		w.GetX() != 2000 || w.GetY() != 60 || w.GetRow() != 1 || w.GetColumn() != 1 {
		t.Errorf("lower: %v", f)
	}
	if want := "it protects while it is lower, and rose by up to 3 deg (x 2000, y 60): 12.75 where it was 9.75"; f.GetDetail() != want {
		t.Errorf("detail %q, want %q", f.GetDetail(), want)
	}
	// Cell 7 was 11.25 deg and is 6.
	if f, _ = weakening(t, "ign", "higher", edit); f.GetCount() != 1 || f.GetWorst().GetExcess() != 5.25 || !strings.Contains(f.GetDetail(), "fell by up to 5.25 deg (x 5000, y 60)") {
		t.Errorf("higher: %v", f)
	}
	// To its own side, or not at all, is nothing; one raw step the other way is.
	for _, raw := range []byte{45, 44, 10} {
		if f, _ := weakening(t, "ign", "lower", func(b []byte) { b[0x35] = raw }); f != nil {
			t.Errorf("raw %d: %v", raw, f)
		}
	}
	if f, _ := weakening(t, "ign", "lower", func(b []byte) { b[0x35] = 46 }); f.GetWorst().GetExcess() != 0.75 {
		t.Errorf("one raw step: %v", f)
	}
	if f, _ := weakening(t, "lam", "higher", func(b []byte) { putFloat(b, 0x44, 0.8749999) }); f == nil {
		t.Error("a float: any difference is one")
	}
	// A table that protects nothing, and one that changed beside one that does.
	if f, _ := weakening(t, "cut", "lower", func(b []byte) { b[0x35] = 49 }); f != nil {
		t.Errorf("another table: %v", f)
	}
}

// Where breakpoints change the surface counts, to half a raw step of 0.75 deg. With 2500 in place of 2000
// ign falls by 0.375 at most, which is half a step; with 2600 by 0.45 at 2600 (worked in TestNotRegridded).
func TestProtectionOfASurface(t *testing.T) {
	move := func(to uint16) func(b []byte) { return func(b []byte) { binary.BigEndian.PutUint16(b[0x22:], to) } }
	if f, _ := weakening(t, "ign", "higher", move(2500)); f != nil {
		t.Errorf("half a raw step: %v", f)
	}
	f, _ := weakening(t, "ign", "higher", move(2600))
	if w := f.GetWorst(); f.GetCount() != 3 || w.GetX() != 2600 || w.Y == nil || w.Row != nil || w.GetExcess() < 0.44 || w.GetExcess() > 0.46 {
		t.Errorf("a surface: %v", f)
	}
	if f, _ := weakening(t, "ign", "lower", move(2600)); f != nil {
		t.Errorf("to its own side: %v", f)
	}
	// An index axis whose points moved cannot be interpolated: by index, and said.
	f, r := weakening(t, "pick", "lower", func(b []byte) { b[0x79], b[0x75] = 7, 25 })
	if f.GetWorst().GetExcess() != 5 || len(r.Unjudged) != 1 || r.Unjudged[0].Rule != "protection-weakened" || r.Unjudged[0].Table != "pick" {
		t.Errorf("an index axis: %v, %v", f, r.Unjudged)
	}
}

func TestProtectionOfSwitches(t *testing.T) {
	for _, side := range []string{"lower", "higher"} {
		f, _ := weakening(t, "mode", side, func(b []byte) { b[0x41] = 1 })
		if w := f.GetWorst(); w == nil || w.Value != nil || w.GetRow() != 0 || f.Detail != "it switches a protection: on at its one cell, where it was off" {
			t.Errorf("labels, %s: %v", side, f)
		}
	}
	base := smallImage()
	lay := layoutOf(t, strings.Replace(guarded(t, "dwell", "higher"), "{id: dwell,", "{id: dwell, role: switch,", 1))
	r := pair(t, lay, base, edited(base, func(b []byte) { b[0x72] = 0x40; restamp(b) }))
	if f := finding(t, r, "protection-weakened:dwell"); f.Detail != "it switches a protection: 4 at its one cell, where it was 3" || f.Count != 1 {
		t.Errorf("a switch of numbers: %v", f)
	}
}

// The car came with 41 (6.75 deg), the base has 45 and the candidate 49: 3 deg here, 6 deg in all.
func TestProtectionSinceTheCarFirstCame(t *testing.T) {
	lay, base := layoutOf(t, guarded(t, "ign", "lower")), smallImage()
	run := func(came byte) string {
		r := compared(t, Input{Base: whole(lay, base), Layout: lay, Candidate: whole(lay, edited(base, func(b []byte) { b[0x35] = 49; restamp(b) })),
			AsFound: whole(lay, edited(base, func(b []byte) { b[0x35] = came; restamp(b) }))})
		return finding(t, r, "protection-weakened:ign").Detail
	}
	if got := run(41); !strings.HasSuffix(got, "12.75 where it was 9.75; since the car first came by up to 6 deg (x 2000, y 60)") {
		t.Errorf("farther: %q", got)
	}
	if got := run(47); strings.Contains(got, "since") {
		t.Errorf("nearer: %q", got)
	}
}

func TestProtectionOfWhatIsUnknown(t *testing.T) {
	lay := layoutOf(t, strings.Replace(parted, "{id: first,", "{id: first, protects: lower,", 1))
	base := holed(lay, partedImage(), 0x22, 0x24)
	cand := holed(lay, edited(partedImage(), func(b []byte) { b[0x20]++ }), 0x22, 0x24)
	r := compared(t, Input{Base: base, Candidate: cand, Layout: lay})
	if want := "protection-weakened first: 0x1022 to 0x1024 of it are unknown, and others differ"; !slices.Contains(unjudgedTexts(r), want) {
		t.Errorf("unjudged %q lacks %q", unjudgedTexts(r), want)
	}
}

// A quotient curves between breakpoints. 10^7/raw with raw from 1000 to 39980 over 1000 to 2999 becomes one from 1000 to
// 20000 over 1000 to 3000: equal at 1000 and 250 more at 3000, and most between: 10^7/(1000+9.5t) - 10^7/(1000+19.4997t)
// is greatest, by its derivative, at t = 73.48, where it is 1778.7. One raw step there is near 3.
func TestProtectionOfAQuotient(t *testing.T) {
	yaml := `
name: quotient
title: A period
byte_order: big
image: {start: 0, size: 0x20}
tables:
  - {id: r, protects: SIDE, quantity: speed, unit: 1/min, stored: {address: 0x10, type: u16}, conversion: {rational: {num: [10000000, 0, 0], den: [0, 1, 0]}}, x: {id: rx, quantity: load, unit: "%", stored: {address: 0, type: u16, count: 2}}}
`
	fill := func(values ...uint16) []byte {
		b := make([]byte, 0x20)
		for i, at := range []int{0, 2, 0x10, 0x12} {
			binary.BigEndian.PutUint16(b[at:], values[i])
		}
		return b
	}
	base, cand := fill(1000, 2999, 1000, 39980), fill(1000, 3000, 1000, 20000)
	r := pair(t, layoutOf(t, strings.Replace(yaml, "SIDE", "lower", 1)), base, cand)
	f := finding(t, r, "protection-weakened:r")
	if w := f.Worst; math.Abs(w.GetX()-1073.48) > 20 || math.Abs(w.GetExcess()-1778.7) > 2 || w.GetBound() < w.GetExcess() || w.GetBound() > 1783 || w.Y != nil || f.Count == 0 {
		t.Errorf("between the breakpoints: %v", f)
	}
	r = pair(t, layoutOf(t, strings.Replace(yaml, "SIDE", "higher", 1)), base, cand)
	if len(r.Findings) != 0 {
		t.Errorf("to its own side: %v", r.Findings)
	}
	// The same line on another breakpoint: 20 raw for each step of load. To a raw step it is the same.
	r = pair(t, layoutOf(t, strings.Replace(yaml, "SIDE", "lower", 1)), fill(1000, 3000, 1000, 41000), fill(1000, 2000, 1000, 21000))
	if len(r.Findings) == 0 {
		t.Error("held from 2000 on, it is another one there")
	}
	r = pair(t, layoutOf(t, strings.Replace(yaml, "SIDE", "lower", 1)), fill(1000, 3000, 1000, 41000), fill(1000, 3010, 1000, 41200))
	if len(r.Findings) != 0 {
		t.Errorf("the same but beyond 3000, where it falls: %v", r.Findings)
	}
}

// A float has no raw step: of one quotient of floats any difference beyond rounding is one.
func TestAQuotientOfFloatsIsNotRegridded(t *testing.T) {
	lay := layoutOf(t, `
name: floats
title: A quotient of floats
byte_order: big
image: {start: 0, size: 0x20}
tables:
  - {id: r, quantity: speed, unit: 1/min, stored: {address: 0x10, type: f32}, conversion: {rational: {num: [1, 0, 0], den: [0, 1, 0]}}, x: {id: rx, quantity: load, unit: "%", stored: {address: 0, type: u8, count: 2}}}
`)
	base := make([]byte, 0x20)
	base[0], base[1] = 10, 20
	putFloat(base, 0x10, 0.25)
	putFloat(base, 0x14, 0.5)
	cand := edited(base, func(b []byte) { b[1] = 21 })
	if r := pair(t, lay, base, cand); r.Tables[0].Regridded {
		t.Errorf("0.5 at 20 became 0.4773: %v", r.Tables[0])
	}
}
