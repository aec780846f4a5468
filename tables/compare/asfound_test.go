package compare

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
)

// since compares an edit of base with base, in a car that first came with something else.
func since(t *testing.T, found *image.Image, base []byte, edit func(b []byte)) *calibrationv1.Report {
	t.Helper()
	lay := layoutOf(t, small)
	return compared(t, Input{Base: whole(lay, base), Candidate: whole(lay, edited(base, func(b []byte) { edit(b); restamp(b) })), Layout: lay, AsFound: found})
}

func fromFound(t *testing.T, r *calibrationv1.Report, id string) *calibrationv1.SinceAsFound {
	t.Helper()
	for _, table := range r.Tables {
		if table.Id == id {
			return table.FromAsFound
		}
	}
	t.Fatalf("%s did not change", id)
	return nil
}

// Worked by hand: ign's raw steps are 0.75 deg. Cells 5 and 6 came as 43 and 46; the base has 45 and 46,
// the candidate 49 and 45: +4.5 deg and -0.75 deg from as found. A frame of its own is no other software.
func TestFromAsFound(t *testing.T) {
	lay, base := layoutOf(t, small), smallImage()
	found := whole(lay, edited(base, func(b []byte) { b[0x35] = 43; b[0x41] = 1; copy(b[8:], "OTHR"); restamp(b) }))
	r := since(t, found, base, func(b []byte) { b[0x35], b[0x36], b[0x41] = 49, 45, 2 })
	if r.AsFound.GetSha256() != string(found.SHA256()) || r.AsFound.GetSize() != 0x100 {
		t.Errorf("as found: %v", r.AsFound)
	}
	want := &calibrationv1.SinceAsFound{Changed: 2, Min: proto.Float64(-0.75), Max: proto.Float64(4.5)}
	if got := fromFound(t, r, "ign"); !proto.Equal(got, want) {
		t.Errorf("ign: %v, want %v", got, want)
	}
	if got := fromFound(t, r, "mode"); got.GetChanged() != 1 || got.Min != nil || got.Max != nil {
		t.Errorf("labels: %v", got)
	}
	// Back to what it came with.
	r = since(t, found, base, func(b []byte) { b[0x35], b[0x41] = 43, 1 })
	if got := fromFound(t, r, "ign"); !proto.Equal(got, &calibrationv1.SinceAsFound{Min: proto.Float64(0), Max: proto.Float64(0)}) {
		t.Errorf("back again: %v", got)
	}
}

func TestAsFoundThatSaysNothing(t *testing.T) {
	lay, base := layoutOf(t, small), smallImage()
	edit := func(b []byte) { b[0x35] = 49 }
	plain := since(t, nil, base, edit)
	for name, found := range map[string]*image.Image{
		"the base":         whole(lay, slices.Clone(base)),
		"another software": whole(lay, edited(base, func(b []byte) { copy(b, "SW-0"); b[0x35] = 43 })),
	} {
		if r := since(t, found, base, edit); !proto.Equal(r, plain) {
			t.Errorf("%s: %v", name, r)
		}
	}
	in := Input{Base: whole(lay, base), Candidate: whole(lay, base), Layout: lay, AsFound: image.Whole(0x1000, base[:9])}
	if _, err := Compare(in); err == nil || err.Error() != "as found: image is 9 bytes, the definition says 256" {
		t.Errorf("another size: %v", err)
	}
}

// The first visit: the base is what the car came with. The rule goes by it all the same, and the report does not say it again.
// 45 raw steps of 0.75 deg became 49: 3 deg, of which 2 are allowed.
func TestSinceAsFoundOnTheFirstVisit(t *testing.T) {
	lay, base := layoutOf(t, small), smallImage()
	in := Input{Base: whole(lay, base), Candidate: whole(lay, edited(base, func(b []byte) { b[0x35] = 49; restamp(b) })), Layout: lay,
		AsFound: whole(lay, slices.Clone(base)), Limits: limitsOf(t, `
name: first
title: First visit
rules:
  - {id: far, severity: warning, select: {tables: [ign]}, reason: r, source: made up, change: {since: as-found, unit: deg, max_up: 2}}
`)}
	r := compared(t, in)
	if f := finding(t, r, "far:ign"); f.Worst.GetExcess() != 1 || f.Origin != "introduced" || r.AsFound != nil || fromFound(t, r, "ign") != nil {
		t.Errorf("as found %v: %v", r.AsFound, f)
	}
	in.AsFound = nil
	if r := compared(t, in); len(r.Unjudged) != 1 || r.Unjudged[0].Reason != "the image as found was not given" {
		t.Errorf("without it: %v", r.Unjudged)
	}
}

// Where the breakpoints are others than those that the car came with, the surfaces are held together:
// air was 100 200 300 500 at 1000 2000 3000 5000, and is 100 240 300 500 at 1000 2400 3000 5000 with one
// cell changed to 340: at 3000 it is 340 where it was 300; at 2000 it is 200 and at 2400 240, as before.
func TestFromAsFoundOnOtherBreakpoints(t *testing.T) {
	lay, came := layoutOf(t, small), smallImage()
	base := edited(came, func(b []byte) {
		binary.BigEndian.PutUint16(b[0x22:], 2400)
		binary.BigEndian.PutUint16(b[0x52:], 240)
		restamp(b)
	})
	r := since(t, whole(lay, came), base, func(b []byte) { binary.BigEndian.PutUint16(b[0x54:], 340) })
	got := fromFound(t, r, "air")
	if got.GetChanged() != 2 || math.Abs(got.GetMin()-40) > 1e-9 || math.Abs(got.GetMax()-40) > 1e-9 {
		t.Errorf("air: %v", got)
	}
	if table := r.Tables[0]; table.AxesChanged || table.Delta.Max != 40 {
		t.Errorf("this submission's own change: %v", table)
	}
}

func TestFromAsFoundWithHoles(t *testing.T) {
	lay, base := layoutOf(t, small), smallImage()
	found := holed(lay, edited(base, func(b []byte) { b[0x35], b[0x44] = 43, 0xFF }), 0x44, 0x45)
	r := since(t, found, base, func(b []byte) { b[0x35] = 49; putFloat(b, 0x44, 0.9) })
	if fromFound(t, r, "lam") != nil || fromFound(t, r, "ign").GetMax() != 4.5 {
		t.Errorf("lam %v, ign %v", fromFound(t, r, "lam"), fromFound(t, r, "ign"))
	}
	if got := unjudgedTexts(r); len(got) != 1 || got[0] != "lam: how far it is from the image as found is not known, which lacks 0x1044 to 0x1045 of it" {
		t.Errorf("unjudged: %q", got)
	}
	if len(r.Holes) != 0 {
		t.Errorf("its holes are not the images': %v", r.Holes)
	}
}

// Two definitions, the second in bar: 150 kPa came, 180 kPa was the base's, 2 bar is the candidate's.
func TestFromAsFoundInOtherUnits(t *testing.T) {
	kPa, bar := pressure(t, "kPa", "1/min", "{factor: 0.1}"), pressure(t, "bar", "Hz", "{factor: 0.001}")
	fill := func(speed, value uint16) []byte {
		b := make([]byte, 0x20)
		for i, at := range []int{0, 2} {
			binary.BigEndian.PutUint16(b[at:], value)
			binary.BigEndian.PutUint16(b[0x10+2*i:], speed*uint16(i+1))
		}
		b[0x19] = 120
		return b
	}
	r := compared(t, Input{Base: whole(kPa, fill(3000, 1800)), Candidate: whole(bar, fill(50, 2000)), Layout: kPa, CandidateLayout: bar, AsFound: whole(kPa, fill(3000, 1500))})
	if got := fromFound(t, r, "boost"); got.GetChanged() != 2 || math.Abs(got.GetMin()-0.5) > 1e-12 || math.Abs(got.GetMax()-0.5) > 1e-12 {
		t.Errorf("boost: %v", got)
	}
	if !strings.HasPrefix(r.Tables[0].Unit, "bar") {
		t.Errorf("unit: %v", r.Tables[0].Unit)
	}
}

// 6.75 deg came, 9.75 is the base's and 12.75 the candidate's: 3 deg in each visit are 6 in all, and 4 are allowed.
func TestLimitsSinceTheCarFirstCame(t *testing.T) {
	lay, base := layoutOf(t, small), smallImage()
	lim := limitsOf(t, `
name: small-since
title: How far in all
rules:
  - {id: drift, severity: warning, select: {tables: [ign]}, reason: r, source: made up for this test, change: {unit: deg, max_up: 4, since: as-found}}
`)
	in := Input{Base: whole(lay, base), Candidate: whole(lay, edited(base, func(b []byte) { b[0x35] = 49; restamp(b) })), Layout: lay, Limits: lim,
		AsFound: whole(lay, edited(base, func(b []byte) { b[0x35] = 41; restamp(b) }))}
	r := compared(t, in)
	if f := finding(t, r, "drift:ign"); f.Origin != "introduced" || f.Worst.GetValue() != 12.75 || f.Worst.GetLimit() != 10.75 {
		t.Errorf("drift: %v", f)
	}
	in.AsFound = nil
	if r := compared(t, in); len(r.Unjudged) != 1 || r.Unjudged[0].Rule != "drift" || !slices.Equal(keys(r), []string{"no-limit:ign"}) {
		t.Errorf("without it: %v, %v", r.Unjudged, keys(r))
	}
}
