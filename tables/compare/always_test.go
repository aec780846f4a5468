package compare

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

func putFloat(b []byte, at int, v float32) { binary.BigEndian.PutUint32(b[at:], math.Float32bits(v)) }

func TestNotFinite(t *testing.T) {
	r := smallReport(t, func(b []byte) { putFloat(b, 0x44, float32(math.NaN())) })
	f := finding(t, r, "not-finite:lam")
	if f.Severity != "danger" || f.Count != 1 || !math.IsNaN(f.Worst.GetValue()) || f.Worst.GetRow() != 0 || f.Worst.X != nil {
		t.Errorf("not-finite: %v", f)
	}
	// It must print: a Value cannot hold a NaN as a number.
	if c := r.Tables[0].Changes[0]; c.Candidate.GetStringValue() != "NaN" || !math.IsNaN(c.GetDelta()) {
		t.Errorf("change: %v", c)
	}
	r = smallReport(t, func(b []byte) { putFloat(b, 0x44, float32(math.Inf(-1))) })
	if c := r.Tables[0].Changes[0]; c.Candidate.GetStringValue() != "-Infinity" || r.Verdict != "danger" {
		t.Errorf("change: %v", c)
	}
}

func TestAxisOrder(t *testing.T) {
	// The shared axis 1000 2000 3000 5000 becomes 1000 2000 2000 5000: it rises, but not strictly.
	r := smallReport(t, func(b []byte) { binary.BigEndian.PutUint16(b[0x24:], 2000) })
	for _, key := range []string{"axis-order:ign", "axis-order:air"} {
		if f := finding(t, r, key); f.Severity != "caution" || f.Count != 1 || !strings.Contains(f.Detail, "breakpoint 2 is 2000 after 2000") {
			t.Errorf("%s: %v", key, f)
		}
	}
	// Turned round it falls strictly, which is an order.
	r = smallReport(t, func(b []byte) {
		for i, v := range []uint16{5000, 3000, 2000, 1000} {
			binary.BigEndian.PutUint16(b[0x20+2*i:], v)
		}
	})
	if slices.Contains(keys(r), "axis-order:ign") {
		t.Errorf("a falling axis: %v", keys(r))
	}
}

func TestMirror(t *testing.T) {
	r := smallReport(t, func(b []byte) { binary.BigEndian.PutUint16(b[0x60:], 7000) })
	f := finding(t, r, "mirror:cut.check")
	// 6500 is 0x1964, its complement 0xE69B; 7000 is 0x1B58, its complement 0xE4A7.
	if f.Severity != "danger" || f.Count != 1 || !slices.Equal(f.Tables, []string{"cut"}) ||
		!strings.Contains(f.Detail, "0xe69b where 0xe4a7") {
		t.Errorf("mirror: %v", f)
	}
	r = smallReport(t, func(b []byte) {
		binary.BigEndian.PutUint16(b[0x60:], 7000)
		binary.BigEndian.PutUint16(b[0x62:], 0xE4A7)
	})
	if !slices.Equal(keys(r), []string{"new-ground:cut"}) || len(r.Tables) != 2 {
		t.Errorf("both changed as they should: %v", keys(r))
	}
}

func TestMeaningMoved(t *testing.T) {
	// air feeds cylinder_filling, which is ign's y axis. 100 200 300 500 becomes 100 250 300 400.
	r := smallReport(t, func(b []byte) {
		binary.BigEndian.PutUint16(b[0x52:], 250)
		binary.BigEndian.PutUint16(b[0x56:], 400)
	})
	f := finding(t, r, "meaning-moved:air")
	if f.Severity != "warning" || !slices.Equal(f.Tables, []string{"ign"}) || f.Origin != "" ||
		!strings.Contains(f.Detail, "from 0.8 (x 5000) to 1.25 (x 2000)") {
		t.Errorf("meaning-moved: %v", f)
	}
	if !slices.Equal(Warnings(r), []string{"meaning-moved:air"}) {
		t.Errorf("warnings: %q", Warnings(r))
	}
	// On through what those feed: ign feeds torque, which a further table has as its axis.
	chain := strings.Replace(small, "    quantity: ignition_advance\n", "    quantity: ignition_advance\n    feeds: [torque]\n", 1)
	chain = strings.Replace(chain, "checksums:\n", `  - {id: last, quantity: duty, unit: "%", stored: {address: 0x1090, type: u8}, x: {id: tq, quantity: torque, unit: N.m, points: [10, 20]}}
  - {id: apart, quantity: duty, unit: "%", stored: {address: 0x1098, type: u8}, x: {id: tm, quantity: temperature, unit: K, points: [10, 20]}}
checksums:
`, 1)
	base := smallImage()
	cand := edited(base, func(b []byte) { b[0x53]++; restamp(b) })
	r = pair(t, layoutOf(t, chain), base, cand)
	if f := finding(t, r, "meaning-moved:air"); !slices.Equal(f.Tables, []string{"ign", "last"}) {
		t.Errorf("chain: %v", f)
	}
}

func TestCopies(t *testing.T) {
	r := smallReport(t, func(b []byte) { b[0x70] = 60 })
	if f := finding(t, r, "copies:a1"); f.Severity != "caution" || !slices.Equal(f.Tables, []string{"a2"}) {
		t.Errorf("one changed: %v", f)
	}
	r = smallReport(t, func(b []byte) { b[0x70], b[0x71] = 60, 61 })
	if f := finding(t, r, "copies:a1"); !strings.Contains(f.Detail, "a1 and a2 were equal and are not now") {
		t.Errorf("came apart: %v", f)
	}
	if r = smallReport(t, func(b []byte) { b[0x70], b[0x71] = 60, 60 }); len(r.Findings) != 0 {
		t.Errorf("together: %v", r.Findings)
	}
}

const smallLimits = `
name: small-limits
title: Limits of the small controller
rules:
  - {id: ceiling, severity: warning, select: {tables: [ign]}, reason: r, source: common practice, range: {unit: deg, max: 12}}
  - {id: still, severity: danger, select: {tables: [mode, lam]}, reason: r, source: common practice, frozen: {}}
  - {id: steps, severity: danger, select: {tables: [lam]}, reason: r, source: common practice, range: {unit: "1", min: 0.7, max: 1.1}}
`

func TestLimits(t *testing.T) {
	lay, lim, base := layoutOf(t, small), limitsOf(t, smallLimits), smallImage()
	// ign holds 6 … 14.25 deg: 12.75, 13.5 and 14.25 are over the ceiling already.
	run := func(f func(b []byte)) *calibrationv1.Report {
		cand := edited(base, func(b []byte) { f(b); restamp(b) })
		return compared(t, Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay, Limits: lim})
	}
	r := run(func(b []byte) { b[0x30] = 52 }) // 15 deg where it was 6
	var origins []string
	for _, f := range r.Findings {
		origins = append(origins, Key(f)+" "+f.Origin)
	}
	if want := []string{"ceiling:ign introduced", "carried ", "ceiling:ign inherited"}; !slices.Equal(origins, want) {
		t.Errorf("findings %q, want %q", origins, want)
	}
	if r.Verdict != "warning" || !slices.Equal(Warnings(r), []string{"ceiling:ign"}) || r.Limits.GetName() != "small-limits" {
		t.Errorf("verdict %s, warnings %q", r.Verdict, Warnings(r))
	}
	if !slices.Equal(r.Tables[0].JudgedBy, []string{"ceiling"}) || len(r.Margins) == 0 {
		t.Errorf("judged by %q, margins %v", r.Tables[0].JudgedBy, r.Margins)
	}
	if f := finding(t, r, "carried"); f.Severity != "notice" || f.Count != 1 {
		t.Errorf("carried: %v", f)
	}

	// Only what was there already: nothing counts but the notice.
	if r = run(func(b []byte) { b[0x30]++ }); r.Verdict != "notice" || len(Warnings(r)) != 0 {
		t.Errorf("inherited only: %s, %v", r.Verdict, keys(r))
	}

	r = run(func(b []byte) { b[0x72] = 0x40 })
	if f := finding(t, r, "no-limit:dwell"); f.Severity != "caution" || !strings.Contains(f.Detail, "no rule of small-limits selects it") {
		t.Errorf("no-limit: %v", f)
	}
	if r.Verdict != "caution" {
		t.Errorf("verdict %s", r.Verdict)
	}
}

func TestCheckJudgesEveryTable(t *testing.T) {
	lay, lim := layoutOf(t, small), limitsOf(t, smallLimits)
	check := func(f func(b []byte)) *calibrationv1.Report {
		r, err := Check(whole(lay, edited(smallImage(), func(b []byte) { f(b); restamp(b) })), lay, lim, nil)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	r := check(func([]byte) {})
	if f := finding(t, r, "ceiling:ign"); f.Origin != "" || f.Count != 3 || f.Worst.GetValue() != 14.25 || r.Verdict != "warning" {
		t.Errorf("check: %v", f)
	}
	if !slices.Equal(keys(r), []string{"ceiling:ign"}) || r.Base != nil || r.Checksums[0].BaseOk != nil || r.Identity[0].Base != nil {
		t.Errorf("check: %v", r)
	}
	r = check(func(b []byte) {
		copy(b, "SW-9")
		putFloat(b, 0x44, float32(math.Inf(1)))
		b[0x29] = 20 // load 20 20 100
		b[0x63] = 0  // the mirror
	})
	for _, want := range []string{"identity", "not-finite:lam", "axis-order:ign", "mirror:cut.check", "ceiling:ign", "steps:lam"} {
		finding(t, r, want)
	}
	if r.Verdict != "danger" {
		t.Errorf("verdict %s", r.Verdict)
	}
}

func TestSameInCar(t *testing.T) {
	lay, written := layoutOf(t, small), smallImage()
	for name, c := range map[string]struct {
		edit func(b []byte)
		why  string // empty if the same
	}{
		"equal":              {func([]byte) {}, ""},
		"volatile":           {func(b []byte) { b[0xC5] = 7 }, ""},
		"a cell":             {func(b []byte) { b[0x35] = 49; restamp(b) }, "2 bytes differ, the first at 0x1035 (table ign)"},
		"unmapped":           {func(b []byte) { b[0xE5] = 1 }, "1 byte differs, the first at 0x10e5"},
		"restamped wrongly":  {func(b []byte) { b[0xFE]++ }, "checksum again holds"},
		"a sum of our own":   {func(b []byte) { b[0xFD]++ }, "differs, the first at 0x10fd (checksum main)"},
		"an axis":            {func(b []byte) { b[0x21]++ }, "the first at 0x1021 (axis rpm4)"},
		"identity":           {func(b []byte) { b[0x9]++ }, "the first at 0x1009 (identity frame)"},
		"outside its mask":   {func(b []byte) { b[0x72] ^= 1; restamp(b) }, "differ, the first at 0x1072"},
		"volatile and a bit": {func(b []byte) { b[0xC0], b[0xE0] = 1, 1 }, "1 byte differs, the first at 0x10e0"},
	} {
		same, why := SameInCar(lay, whole(lay, written), whole(lay, edited(written, c.edit)))
		if same != (c.why == "") || !strings.Contains(why, c.why) {
			t.Errorf("%s: %v, %q; want %q", name, same, why, c.why)
		}
	}
	// A sum that was wrong when written and is right in the car was restamped: the same.
	if same, why := SameInCar(lay, whole(lay, edited(written, func(b []byte) { b[0xFE] = 0 })), whole(lay, written)); !same {
		t.Errorf("restamped: %s", why)
	}
	if same, _ := SameInCar(lay, whole(lay, written), whole(lay, written[:10])); same {
		t.Error("a short image is not the same")
	}
}

func TestSameInCarAndGaps(t *testing.T) {
	lay := layoutOf(t, small)
	written := edited(smallImage(), func(b []byte) {
		for i := 0xE0; i < 0xF0; i++ {
			b[i] = 0xFF
		}
	})
	same, why := SameInCar(lay, holed(lay, written, 0xE0, 0xF0), holed(lay, written, 0xC8, 0xE8))
	if !same {
		t.Errorf("a gap in what was a gap or is volatile: %s", why)
	}
	same, why = SameInCar(lay, whole(lay, written), holed(lay, written, 0xE0, 0xF0))
	if same || !strings.Contains(why, "lacks what lies at 0x10e0") {
		t.Errorf("a gap where bytes were written: %v, %q", same, why)
	}
}

func TestSeveral(t *testing.T) {
	for n, want := range map[int]string{0: "0 ranges", 1: "1 range", 12: "12 ranges"} {
		if got := several(n, "range"); got != want {
			t.Errorf("%d: %q, want %q", n, got, want)
		}
	}
}
