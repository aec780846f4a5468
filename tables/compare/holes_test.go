package compare

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
)

// parted is a definition whose parts lie apart, so that a hole is a hole in one thing: 128 bytes from 0x1000.
const parted = `
name: parted-1
title: Things that lie apart
byte_order: big
image: {start: 0x1000, size: 0x80}
identity:
  - {id: software, address: 0x1000, length: 4, encoding: ascii, expect: "SW-1"}
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0x1010, type: u8, count: 4}}
tables:
  - {id: first, quantity: duty, unit: "%", stored: {address: 0x1020, type: u8}, x: {axis: rpm}}
  - {id: second, quantity: duty, unit: "%", stored: {address: 0x1030, type: u8}}
  - {id: third, quantity: duty, unit: "%", stored: {address: 0x1038, type: u8, stride: 2}, x: {id: px, quantity: pedal, unit: "%", points: [0, 50, 100]}, feeds: [engine_speed]}
checksums:
  - {id: sum, algorithm: sum-8, over: [{start: 0x1050, end: 0x1058}], stored: {address: 0x1060, type: u8}}
`

func partedImage() []byte {
	b := make([]byte, 0x80)
	copy(b, "SW-1")
	copy(b[0x10:], []byte{10, 20, 30, 40})
	copy(b[0x20:], []byte{1, 2, 3, 4})
	b[0x30] = 5
	for i := range 8 {
		b[0x50+i] = 1
	}
	b[0x60] = 8
	return b
}

const partedLimits = `
name: parted-limits
title: Limits of things that lie apart
rules:
  - {id: most, severity: danger, select: {quantity: duty}, reason: r, source: made up for this test, range: {unit: "%", max: 50}}
`

func TestOneImageLacksWhatTheOtherHolds(t *testing.T) {
	lay := layoutOf(t, parted)
	for name, c := range map[string]struct {
		start, end uint64
		of         string // empty where nothing is compared
	}{
		"an identity field":     {0x02, 0x04, "0x1002 to 0x1004 of identity software"},
		"a stored axis":         {0x12, 0x16, "0x1012 to 0x1014 of axis rpm"},
		"a table's cells":       {0x1F, 0x21, "0x1020 to 0x1021 of table first"},
		"between strided cells": {0x39, 0x3A, ""},
		"two cells":             {0x38, 0x3B, "0x1038 to 0x1039, 0x103a to 0x103b of table third"},
		"what a sum covers":     {0x57, 0x59, "0x1057 to 0x1058 of checksum sum"},
		"a stored sum":          {0x60, 0x61, "0x1060 to 0x1061 of checksum sum"},
		"nothing":               {0x70, 0x80, ""},
		"several":               {0x30, 0x58, "0x1030 to 0x1031 of table second; 0x1038 to 0x1039, 0x103a to 0x103b, 0x103c to 0x103d of table third; 0x1050 to 0x1058 of checksum sum"},
	} {
		whole, part := whole(lay, partedImage()), holed(lay, partedImage(), c.start, c.end)
		for side, in := range map[string]Input{
			"base":      {Base: part, Candidate: whole, Layout: lay},
			"candidate": {Base: whole, Candidate: part, Layout: lay},
		} {
			other := map[string]string{"base": "candidate", "candidate": "base"}[side]
			want := side + ": it lacks " + c.of + ", which the " + other + " holds; allowed: of what is compared, the same bytes as the " + other + " has"
			r, err := Compare(in)
			switch {
			case c.of == "" && err != nil:
				t.Errorf("%s, %s: %v", name, side, err)
			case c.of != "" && (err == nil || r != nil || err.Error() != want):
				t.Errorf("%s, %s:\ngot  %v\nwant %s", name, side, err, want)
			}
		}
	}
}

// Where nothing is compared one image may lack what the other holds: what is unknown differs from nothing.
func TestOneImageLacksWhatNobodyNamed(t *testing.T) {
	lay := layoutOf(t, parted)
	part := holed(lay, edited(partedImage(), func(b []byte) { b[0x70] = 0xFF }), 0x70, 0x71)
	for _, in := range []Input{{Base: part, Candidate: whole(lay, partedImage())}, {Base: whole(lay, partedImage()), Candidate: part}} {
		in.Layout = lay
		if r := compared(t, in); r.Bytes.Differing != 0 || len(r.Unmapped)+len(r.Findings) != 0 || len(r.Holes) != 1 || r.Base.Sha256 == r.Candidate.Sha256 {
			t.Errorf("a hole where nothing is: %v", r)
		}
	}
}

// Two images lack the last cell of first, one its second cell more.
func TestOneImageLacksMore(t *testing.T) {
	lay := layoutOf(t, parted)
	more := holed(lay, partedImage(), 0x21, 0x24)
	if _, err := Compare(Input{Base: holed(lay, partedImage(), 0x22, 0x24), Candidate: more, Layout: lay}); err == nil ||
		!strings.HasPrefix(err.Error(), "candidate: it lacks 0x1021 to 0x1022 of table first, which the base holds") {
		t.Errorf("one byte more: %v", err)
	}
}

// bothLack compares two images that lack the same bytes; what an image lacks is 0xFF in one and anything in the other.
func bothLack(t *testing.T, start, end uint64, edit func(b []byte)) *calibrationv1.Report {
	t.Helper()
	lay := layoutOf(t, parted)
	fill := func(b []byte, v byte) {
		for i := start; i < end; i++ {
			b[i] = v
		}
	}
	base, cand := edited(partedImage(), func(b []byte) { fill(b, 0xFF) }), edited(partedImage(), func(b []byte) { fill(b, 0x77); edit(b) })
	return compared(t, Input{Base: holed(lay, base, start, end), Candidate: holed(lay, cand, start, end), Layout: lay,
		Limits: limitsOf(t, partedLimits), MeantGiven: true})
}

func unjudgedTexts(r *calibrationv1.Report) (out []string) {
	for _, u := range r.GetUnjudged() {
		out = append(out, strings.TrimSpace(u.Rule+" "+u.Table)+": "+u.Reason)
	}
	return out
}

func TestWhatBothLackIsNotCompared(t *testing.T) {
	nothing := func([]byte) {}
	r := bothLack(t, 0x22, 0x24, nothing)
	if r.Bytes.Differing != 0 || len(r.Tables)+len(r.Findings) != 0 || r.Verdict != "clear" {
		t.Errorf("nothing known differs: %v", r)
	}
	if want := []*calibrationv1.Hole{{Side: "base", Start: "0x1022", End: "0x1024"}, {Side: "candidate", Start: "0x1022", End: "0x1024"}}; !slices.EqualFunc(r.Holes, want, func(a, b *calibrationv1.Hole) bool { return proto.Equal(a, b) }) {
		t.Errorf("holes: %v", r.Holes)
	}
	if want := []string{"first: 0x1022 to 0x1024 of it are unknown"}; !slices.Equal(unjudgedTexts(r), want) {
		t.Errorf("unjudged: %q", unjudgedTexts(r))
	}
	if r.Base.Sha256 == r.Candidate.Sha256 || r.Base.Sha256 != string(image.HashOf(edited(partedImage(), func(b []byte) { b[0x22], b[0x23] = 0xFF, 0xFF }))) {
		t.Errorf("the hash is not of the bytes, holes 0xFF: %v", r.Base)
	}

	// A cell of it that is known differs: nothing of it is compared or judged, and that is said.
	r = bothLack(t, 0x22, 0x24, func(b []byte) { b[0x20] = 99 })
	if !proto.Equal(r.Bytes, &calibrationv1.ByteCount{Differing: 1, Mapped: 1}) || len(r.Tables) != 0 {
		t.Errorf("a known cell differs: %v, %v", r.Bytes, r.Tables)
	}
	if f := finding(t, r, "no-limit:first"); !strings.Contains(f.Detail, "0x1022 to 0x1024 of it are unknown") || r.Verdict != "caution" {
		t.Errorf("no-limit: %v", f)
	}
	if f := finding(t, r, "not-meant:first"); !strings.Contains(f.Detail, "unknown, and others differ") {
		t.Errorf("not-meant: %v", f)
	}

	// A hole in an axis is one in its table. A feeder of which something is unknown may move anything.
	if r = bothLack(t, 0x13, 0x14, nothing); !slices.Equal(unjudgedTexts(r), []string{"first: 0x1013 to 0x1014 of it are unknown"}) {
		t.Errorf("an axis: %q", unjudgedTexts(r))
	}
	r = bothLack(t, 0x3A, 0x3B, func(b []byte) { b[0x38]++ })
	if f := finding(t, r, "meaning-moved:third"); !slices.Equal(f.Tables, []string{"first"}) || !strings.Contains(f.Detail, "there is no ratio: 0x103a to 0x103b of it are unknown") {
		t.Errorf("a feeder: %v", f)
	}
	// Between its cells a hole is none of the table's.
	if r = bothLack(t, 0x39, 0x3A, func(b []byte) { b[0x38]++ }); len(r.Tables) != 1 || len(r.Unjudged) != 0 {
		t.Errorf("between cells: %v", r)
	}
}

func TestIdentityAndSumsThatAreUnknown(t *testing.T) {
	r := bothLack(t, 0, 1, func([]byte) {})
	if len(r.Identity) != 0 || len(r.Findings) != 0 || !slices.Equal(unjudgedTexts(r), []string{"identity: software: 0x1000 to 0x1001 are unknown"}) {
		t.Errorf("identity: %v, %q", r.Identity, unjudgedTexts(r))
	}
	for _, at := range []uint64{0x57, 0x60} { // what it covers, and where it is stored
		r = bothLack(t, at, at+1, func([]byte) {})
		if len(r.Checksums) != 0 || len(r.Findings) != 0 || len(r.Unjudged) != 1 || r.Unjudged[0].Rule != "checksum" || !strings.HasPrefix(r.Unjudged[0].Reason, "sum: "+"0x10") {
			t.Errorf("checksum: %v, %q", r.Checksums, unjudgedTexts(r))
		}
	}
}

func TestCheckOfAnImageWithHoles(t *testing.T) {
	lay := layoutOf(t, parted)
	im := holed(lay, edited(partedImage(), func(b []byte) { b[0x22], b[0x30], b[0x60] = 0xFF, 60, 1 }), 0x22, 0x24)
	r, err := Check(im, lay, limitsOf(t, partedLimits), nil)
	if err != nil {
		t.Fatal(err)
	}
	// Neither 0xFF nor anything else is judged of first: second alone is over 50, and the sum is wrong.
	if want := []string{"most:second", "checksum"}; !slices.Equal(keys(r), want) {
		t.Errorf("findings %q, want %q", keys(r), want)
	}
	if want := "first: 0x1022 to 0x1024 of it are unknown"; !slices.Contains(unjudgedTexts(r), want) {
		t.Errorf("unjudged %q lacks %q", unjudgedTexts(r), want)
	}
	if len(r.Holes) != 1 || r.Holes[0].Side != "candidate" {
		t.Errorf("holes: %v", r.Holes)
	}
}

// Between two definitions a table is known whole on both sides, or on neither.
func TestHolesAndTwoDefinitions(t *testing.T) {
	lay := layoutOf(t, parted)
	next := layoutOf(t, strings.Replace(strings.Replace(parted, "parted-1", "parted-2", 1), "checksums:", `  - {id: fresh, quantity: duty, unit: "%", stored: {address: 0x1070, type: u8}}
checksums:`, 1))
	run := func(base, cand *image.Image) (*calibrationv1.Report, error) {
		return Compare(Input{Base: base, Candidate: cand, Layout: lay, CandidateLayout: next, Limits: limitsOf(t, partedLimits)})
	}
	full := whole(lay, partedImage())
	for name, c := range map[string]struct {
		base, cand *image.Image
		want       string
	}{
		"an axis":       {full, holed(next, partedImage(), 0x10, 0x11), "candidate: it lacks 0x1010 to 0x1011 of table first, which the base holds"},
		"the base's":    {holed(lay, partedImage(), 0x30, 0x31), full, "base: it lacks 0x1030 to 0x1031 of table second, which the candidate holds"},
		"an identity":   {full, holed(next, partedImage(), 0, 1), "candidate: it lacks 0x1000 to 0x1001 of identity software"},
		"a sum's":       {full, holed(next, partedImage(), 0x60, 0x61), "candidate: it lacks 0x1060 to 0x1061 of checksum sum"},
		"only in one":   {full, holed(next, partedImage(), 0x70, 0x71), ""},
		"both, apart":   {holed(lay, partedImage(), 0x20, 0x21), holed(next, partedImage(), 0x22, 0x23), ""},
		"where is none": {full, holed(next, partedImage(), 0x78, 0x80), ""},
	} {
		r, err := run(c.base, c.cand)
		if (err == nil) != (c.want == "") || err != nil && !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
		switch name {
		case "only in one":
			if f := finding(t, r, "no-limit:fresh"); !strings.Contains(f.Detail, "0x1070 to 0x1071 of it are unknown") || len(r.Tables) != 0 {
				t.Errorf("%s: %v, %v", name, f, r.Tables)
			}
		case "both, apart":
			if len(r.Tables) != 1 || r.Tables[0].Id != "fresh" || !slices.Contains(unjudgedTexts(r), "first: 0x1022 to 0x1023 of it are unknown") {
				t.Errorf("%s: %v, %q", name, r.Tables, unjudgedTexts(r))
			}
		}
	}
}

// A read-back of a release with holes is held against what the release says.
func TestSameInCarOfARelease(t *testing.T) {
	lay := layoutOf(t, parted)
	hole := edited(partedImage(), func(b []byte) { b[0x30] = 0xFF })
	if same, why := SameInCar(lay, holed(lay, hole, 0x30, 0x31), whole(lay, partedImage())); !same {
		t.Errorf("what was not written differs from nothing: %s", why)
	}
	restamped := layoutOf(t, strings.Replace(parted, "address: 0x1060, type: u8}}", "address: 0x1060, type: u8}, restamped_on_write: true}", 1))
	lacking := holed(restamped, edited(partedImage(), func(b []byte) { b[0x50] = 0xFF }), 0x50, 0x51)
	if same, why := SameInCar(restamped, lacking, lacking); !same {
		t.Errorf("a sum over a hole that both have: %q", why)
	}
	learned := layoutOf(t, strings.Replace(parted, "address: 0x1060, type: u8}}", "address: 0x1060, type: u8}, restamped_on_write: true}\nvolatile: [{start: 0x1050, end: 0x1052, title: learned}]", 1))
	if same, why := SameInCar(learned, whole(learned, partedImage()), lacking); same || why != "checksum sum cannot be checked: the image found lacks 0x1050 to 0x1051" {
		t.Errorf("a sum over a hole in what was found: %v, %q", same, why)
	}
}
