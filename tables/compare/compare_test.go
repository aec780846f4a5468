package compare

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
	"witnessmark/tables/said"
)

func TestEqualImages(t *testing.T) {
	r := smallReport(t, func([]byte) {})
	if r.Verdict != "clear" || len(r.Findings) != 0 || len(r.Tables) != 0 || r.Bytes.Differing != 0 {
		t.Errorf("equal images: %v", r)
	}
	if r.Base.Sha256 != r.Candidate.Sha256 || r.Base.Size != 0x100 {
		t.Errorf("image refs: %v, %v", r.Base, r.Candidate)
	}
	if len(r.Identity) != 2 || !r.Identity[0].Match || r.Identity[0].GetBase() != "SW-1" || r.Identity[0].GetExpect() != "SW-1" {
		t.Errorf("identity: %v", r.Identity)
	}
	if private := r.Identity[1]; !private.Match || private.Base != nil || private.Candidate != nil || private.Expect != nil {
		t.Errorf("a private field is printed: %v", private)
	}
	if c := r.Checksums[0]; !c.GetBaseOk() || !c.CandidateOk || c.Stored != c.Computed || len(c.Stored) != len("0x0000") {
		t.Errorf("checksum: %v", c)
	}
}

// Worked by hand: raw 45 to 49 is +3 deg, 46 to 44 is -1.5 deg.
func TestCells(t *testing.T) {
	r := smallReport(t, func(b []byte) { b[0x35], b[0x36] = 49, 44 })
	if len(r.Tables) != 1 || r.Verdict != "clear" {
		t.Fatalf("report: %v", r)
	}
	want := &calibrationv1.TableReport{
		Id: "ign", Kind: "map", Unit: "deg", Cells: 12, Changed: 2,
		Delta: &calibrationv1.Delta{Min: -1.5, Max: 3, Mean: 0.75, Rms: math.Sqrt((9 + 2.25) / 2)},
		Changes: []*calibrationv1.CellChange{
			{Row: 1, Column: 1, X: proto.Float64(2000), Y: proto.Float64(60), Base: said.Number(9.75), Candidate: said.Number(12.75),
				Delta: proto.Float64(3), BaseRaw: proto.String("45"), CandidateRaw: proto.String("49")},
			{Row: 1, Column: 2, X: proto.Float64(3000), Y: proto.Float64(60), Base: said.Number(10.5), Candidate: said.Number(9),
				Delta: proto.Float64(-1.5), BaseRaw: proto.String("46"), CandidateRaw: proto.String("44")},
		},
	}
	if !proto.Equal(r.Tables[0], want) {
		t.Errorf("got  %v\nwant %v", r.Tables[0], want)
	}
	// Two cells and the low bytes of both sums.
	if b := r.Bytes; b.Differing != 4 || b.Mapped != 2 || b.Checksum != 2 {
		t.Errorf("bytes: %v", b)
	}
}

func TestScalarsLabelsAndFloats(t *testing.T) {
	r := smallReport(t, func(b []byte) {
		b[0x41] = 7
		binary.BigEndian.PutUint32(b[0x44:], math.Float32bits(0.75))
	})
	mode, lam := r.Tables[0], r.Tables[1]
	if c := mode.Changes[0]; mode.Id != "mode" || c.Base.GetStringValue() != "off" || c.Candidate.GetStringValue() != "raw 7" ||
		c.Delta != nil || mode.Delta != nil || c.X != nil || c.GetBaseRaw() != "0" {
		t.Errorf("label table: %v", mode)
	}
	if c := lam.Changes[0]; lam.Kind != "scalar" || c.GetDelta() != -0.125 || c.BaseRaw != nil || c.CandidateRaw != nil {
		t.Errorf("float table: %v", lam)
	}
}

// A byte's bits may have different owners: trim's mask is 0x3C, the rest of its byte is nobody's.
func TestBitsOutsideAMaskAreUnmapped(t *testing.T) {
	r := smallReport(t, func(b []byte) { b[0x40] ^= 0x04 })
	if len(r.Tables) != 1 || r.Bytes.Mapped != 1 || r.Bytes.Unmapped != 0 || len(r.Findings) != 0 {
		t.Errorf("inside the mask: %v", r)
	}
	r = smallReport(t, func(b []byte) { b[0x40] ^= 0x84 })
	if len(r.Tables) != 1 || r.Bytes.Mapped != 0 || r.Bytes.Unmapped != 1 {
		t.Errorf("half outside the mask: %v", r)
	}
	r = smallReport(t, func(b []byte) { b[0x40] ^= 0x80 })
	if len(r.Tables) != 0 || r.Bytes.Unmapped != 1 {
		t.Errorf("outside the mask: %v", r)
	}
}

func TestEveryByteIsAccountedForOnce(t *testing.T) {
	base := smallImage()
	cand := edited(base, func(b []byte) {
		b[0x00], b[0x30], b[0xC5], b[0xFD], b[0x90] = 'X', 0x11, 9, b[0xFD]+1, 1
	})
	r := pair(t, layoutOf(t, small), base, cand)
	want := &calibrationv1.ByteCount{Differing: 5, Identity: 1, Mapped: 1, Volatile: 1, Checksum: 1, Unmapped: 1}
	if !proto.Equal(r.Bytes, want) {
		t.Errorf("got %v, want %v", r.Bytes, want)
	}
}

func TestUnmappedRangesJoinAndStopAtSegments(t *testing.T) {
	r := smallReport(t, func(b []byte) {
		b[0x1F], b[0x80], b[0x8F], b[0x9F], b[0xE0], b[0xEF] = 1, 1, 1, 1, 1, 1
		b[0xBF] = 1 // 15 bytes before 0xCE, but that lies in no segment and is volatile
	})
	var got []string
	for _, u := range r.Unmapped {
		got = append(got, u.Start+"-"+u.End+" "+u.Content)
	}
	// 0x80 and 0x8F are 15 apart and join; 0x8F and 0x9F are 16 apart and do not.
	want := []string{"0x101f-0x1020 code", "0x1080-0x1090 calibration", "0x109f-0x10a0 calibration",
		"0x10bf-0x10c0 calibration", "0x10e0-0x10f0 data"}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	var severities []string
	for _, f := range r.Findings {
		severities = append(severities, Key(f)+" "+f.Severity)
	}
	if want := []string{"unmapped-bytes danger", "unmapped-bytes warning", "unmapped-bytes caution"}; !slices.Equal(severities, want) {
		t.Errorf("findings: %q", severities)
	}
	if f := r.Findings[1]; len(f.Ranges) != 3 || f.Count != 4 {
		t.Errorf("calibration: %v", f)
	}
	if r.Verdict != "danger" || !slices.Equal(Warnings(r), []string{"unmapped-bytes"}) {
		t.Errorf("verdict %s, warnings %q", r.Verdict, Warnings(r))
	}
}

func TestUnmappedBytesDoNotJoinAcrossSegments(t *testing.T) {
	lay := layoutOf(t, strings.Replace(small, "end: 0x10C0, content: calibration}", "end: 0x1090, content: calibration}", 1))
	base := smallImage()
	cand := edited(base, func(b []byte) { b[0x8F], b[0x90] = 1, 1; restamp(b) })
	r := pair(t, lay, base, cand)
	if len(r.Unmapped) != 2 || r.Unmapped[0].Content != "calibration" || r.Unmapped[1].Content != "data" {
		t.Errorf("unmapped: %v", r.Unmapped)
	}
}

func TestIdentityFindings(t *testing.T) {
	r := smallReport(t, func(b []byte) { copy(b, "SW-2"); b[8] = 'W' })
	f := finding(t, r, "identity")
	if f.Severity != "danger" || f.Count != 2 || !strings.Contains(f.Detail, "software") || !strings.Contains(f.Detail, "frame") {
		t.Errorf("identity: %v", f)
	}
	if text := r.String(); strings.Contains(text, "VINX") || strings.Contains(text, "WINX") {
		t.Error("a private field is printed")
	}
	// A byte behind the text counts too: NUL and space read the same and are not the same bytes.
	r = smallReport(t, func(b []byte) { b[4] = ' ' })
	if !slices.Equal(keys(r), []string{"identity"}) || r.Identity[0].GetCandidate() != "SW-1" {
		t.Errorf("trailing space: %v", r)
	}
}

func TestChecksumFindings(t *testing.T) {
	base := smallImage()
	cand := edited(base, func(b []byte) { b[0x35] = 49 }) // the sums are left as they were
	r := pair(t, layoutOf(t, small), base, cand)
	if got := []string{r.Findings[0].Severity, r.Findings[1].Severity}; !slices.Equal(keys(r), []string{"checksum", "checksum"}) ||
		!slices.Equal(got, []string{"warning", "notice"}) {
		t.Fatalf("findings: %v", r.Findings)
	}
	if !r.Checksums[0].GetBaseOk() || r.Checksums[0].CandidateOk || !strings.Contains(r.Findings[0].Detail, r.Checksums[0].Stored) {
		t.Errorf("checksums: %v", r.Checksums)
	}
}

func TestErrors(t *testing.T) {
	lay := layoutOf(t, small)
	good, short := whole(lay, smallImage()), whole(lay, smallImage()[:100])
	for name, c := range map[string]struct {
		in   Input
		want string
	}{
		"base":      {Input{Base: short, Candidate: good, Layout: lay}, "base: image is 100 bytes, the definition says 256"},
		"candidate": {Input{Base: good, Candidate: short, Layout: lay}, "candidate: image is 100 bytes, the definition says 256"},
		"moved":     {Input{Base: image.Whole(0, good.Bytes), Candidate: good, Layout: lay}, "base: image is of 0x0 to 0x100, the definition's of 0x1000 to 0x1100"},
		"missing":   {Input{Base: good, Layout: lay}, "candidate: the image is missing"},
		"meant":     {Input{Base: good, Candidate: good, Layout: lay, MeantGiven: true, Meant: []string{"igm"}}, `no table "igm"; the nearest of its 11 are ign,`},
	} {
		if r, err := Compare(c.in); err == nil || r != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want an error with %q", name, err, c.want)
		}
	}
	if _, err := Check(short, lay, nil, nil); err == nil || !strings.Contains(err.Error(), "image is 100 bytes, the definition says 256") {
		t.Errorf("check: %v", err)
	}
}

func TestHolesAndMeant(t *testing.T) {
	base, lay := smallImage(), layoutOf(t, small)
	cand := edited(base, func(b []byte) { b[0x35], b[0x70], b[0x71] = 49, 60, 60; restamp(b) })
	r := compared(t, Input{Base: holed(lay, base, 0xE0, 0xF0), Candidate: whole(lay, cand), Layout: lay,
		MeantGiven: true, Meant: []string{"a2", "a1", "a1", "lam"}, Job: &calibrationv1.JobFacts{Fuel: "98 RON"}})
	if len(r.Holes) != 1 || r.Holes[0].Side != "base" || r.Holes[0].Start != "0x10e0" || r.Holes[0].End != "0x10f0" {
		t.Errorf("holes: %v", r.Holes)
	}
	if !slices.Equal(r.Meant.Tables, []string{"lam", "a1", "a2"}) {
		t.Errorf("meant: %v", r.Meant)
	}
	if !slices.Equal(keys(r), []string{"not-meant:ign"}) || r.Verdict != "caution" {
		t.Errorf("findings: %v", r.Findings)
	}
	if r.Job.GetFuel() != "98 RON" {
		t.Errorf("job: %v", r.Job)
	}
}

func TestOverlaps(t *testing.T) {
	if r := smallReport(t, func(b []byte) { b[0x35] = 49 }); len(r.Findings) != 0 {
		t.Errorf("nothing overlaps: %v", r.Findings)
	}
	more := strings.Replace(small, "checksums:\n", `  - {id: row, quantity: ignition_advance, unit: deg, stored: {address: 0x1034, type: s8}, x: {id: rx, quantity: engine_speed, unit: 1/min, points: [1, 2, 3, 4]}}
  - {id: in1, quantity: ignition_advance, unit: deg, stored: {address: 0x1032, type: s8}}
  - {id: in2, quantity: ignition_advance, unit: deg, stored: {address: 0x1039, type: s8}}
  - {id: odd, quantity: ignition_advance, unit: deg, stored: {address: 0x106F, type: u8, stride: 4}, x: {id: ox, quantity: engine_speed, unit: 1/min, points: [1, 2]}}
checksums:
`, 1)
	lay, base := layoutOf(t, more), smallImage()
	cand := edited(base, func(b []byte) { b[0x32], b[0x70], b[0x71] = 49, 60, 60; restamp(b) })
	r := pair(t, lay, base, cand)
	// ign holds the cells of three others, of which in1 changed with it: that pair is not said twice.
	// odd's extent holds a1, a2 and dwell, but its two bytes 0x106F and 0x1073 are free of them.
	f := finding(t, r, "overlap:ign")
	if !slices.Equal(f.Tables, []string{"row", "in1", "in2"}) || f.Severity != "notice" || f.Count != 3 || !slices.Equal(keys(r), []string{"overlap:ign"}) {
		t.Errorf("overlaps: %v", r.Findings)
	}
	if r.Bytes.Mapped != 3 {
		t.Errorf("a shared byte counts once: %v", r.Bytes)
	}
	// Seen from in2, which only ign and row hold; row changed with it and comes first.
	cand = edited(base, func(b []byte) { b[0x37] = 3; restamp(b) })
	r = pair(t, layoutOf(t, strings.Replace(more, "in2, quantity: ignition_advance, unit: deg, stored: {address: 0x1039", "in2, quantity: ignition_advance, unit: deg, stored: {address: 0x1037", 1)), base, cand)
	if f, g := finding(t, r, "overlap:ign"), finding(t, r, "overlap:row"); !slices.Equal(f.Tables, []string{"row", "in1", "in2"}) || !slices.Equal(g.Tables, []string{"in2"}) || len(r.Findings) != 2 {
		t.Errorf("overlaps of three that changed: %v", r.Findings)
	}
}

// By hand: of the byte 0x1091 one has the upper half, one the lower, and one, big-endian over 0x1090 and 0x1091, bits 4 to 11,
// which hold the upper half of 0x1091.
func TestMasksPartBytes(t *testing.T) {
	parted := strings.Replace(small, "checksums:\n", `  - {id: upper, quantity: count, unit: "1", stored: {address: 0x1091, type: u8, mask: 0xF0}}
  - {id: lower, quantity: count, unit: "1", stored: {address: 0x1091, type: u8, mask: 0x0F}}
  - {id: across, quantity: count, unit: "1", stored: {address: 0x1090, type: u16, mask: 0x0FF0}}
checksums:
`, 1)
	lay, base := layoutOf(t, parted), smallImage()
	shares := func(a, b string) bool { return lay.ByID[a].Cells.Shares(lay.ByID[b].Cells) }
	for _, c := range []struct {
		a, b string
		want bool
	}{{"upper", "lower", false}, {"upper", "across", true}, {"lower", "across", false}, {"upper", "upper", true}} {
		if shares(c.a, c.b) != c.want || shares(c.b, c.a) != c.want {
			t.Errorf("%s and %s share: %v, want %v", c.a, c.b, !c.want, c.want)
		}
	}
	for bit, want := range map[byte][]string{0x01: nil, 0x10: {"overlap:upper"}} {
		if r := pair(t, lay, base, edited(base, func(b []byte) { b[0x91] ^= bit; restamp(b) })); !slices.Equal(keys(r), want) {
			t.Errorf("bit %#x: %v, want %v", bit, keys(r), want)
		}
	}
}

func TestOneFindingForWhatRulesDoNotTell(t *testing.T) {
	bound := func(v float64) *calibrationv1.Worst { return &calibrationv1.Worst{Bound: &v} }
	got := oneOfEach([]*calibrationv1.Finding{
		{Rule: "undecided", Table: "ign", Count: 3, Detail: "rule a", Worst: bound(0.5)},
		{Rule: "rule-error", Count: 1, Detail: "rule x"},
		{Rule: "undecided", Signal: "plug", Count: 2, Detail: "rule a", Worst: bound(9)},
		{Rule: "undecided", Table: "ign", Count: 5, Detail: "rule b", Worst: bound(2)},
		{Rule: "far", Table: "ign", Count: 1},
		{Rule: "far", Table: "ign", Count: 1, Origin: "inherited"},
		{Rule: "undecided", Table: "ign", Count: 1, Detail: "rule c"},
		{Rule: "rule-error", Count: 1, Detail: "rule y"},
	})
	var said []string
	for _, f := range got {
		said = append(said, fmt.Sprintf("%s %d %s %v", Key(f), f.Count, f.Detail, f.Worst.GetBound()))
	}
	want := []string{"undecided:ign 5 rule a; rule b; rule c 2", "rule-error 2 rule x; rule y 0", "undecided:plug 2 rule a 9", "far:ign 1  0", "far:ign 1  0"}
	if !slices.Equal(said, want) {
		t.Errorf("%q, want %q", said, want)
	}
}

func TestOrderOfFindings(t *testing.T) {
	lay := layoutOf(t, small)
	worst := func(excess, limit float64) *calibrationv1.Worst {
		return &calibrationv1.Worst{Excess: excess, Limit: proto.Float64(limit)}
	}
	want := []*calibrationv1.Finding{
		{Rule: "z", Severity: "danger"},
		{Rule: "nan", Severity: "warning", Table: "ign", Worst: worst(math.NaN(), 10)},
		{Rule: "b", Severity: "warning", Table: "ign", Worst: worst(5, 10)},
		{Rule: "a", Severity: "warning", Table: "ign", Worst: worst(5, 100)},
		{Rule: "a", Severity: "warning", Table: "lam"},
		{Rule: "a", Severity: "warning", Signal: "plug"}, // named after lam, though it has no table
		{Rule: "c", Severity: "notice"},
		{Rule: "a", Severity: "danger", Origin: "inherited"},
	}
	got := slices.Clone(want)
	slices.Reverse(got)
	order(got, lay)
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("place %d: %s %s, want %s %s", i, got[i].Rule, got[i].Table, want[i].Rule, want[i].Table)
		}
	}
	if verdict(want) != "danger" || verdict(want[7:]) != "clear" || verdict(nil) != "clear" {
		t.Error("verdict")
	}
	if got := Warnings(&calibrationv1.Report{Findings: want}); !slices.Equal(got, []string{"a:ign", "a:lam", "a:plug", "b:ign", "nan:ign"}) {
		t.Errorf("Warnings = %q", got)
	}
}

func TestMeantNothing(t *testing.T) {
	base, lay := smallImage(), layoutOf(t, small)
	cand := edited(base, func(b []byte) { b[0x35] = 49; restamp(b) })
	r := compared(t, Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay, MeantGiven: true})
	if f := finding(t, r, "not-meant:ign"); r.Meant == nil || f.Detail != "1 of 12 cells changed" {
		t.Errorf("meant nothing: %v", f)
	}
	r = compared(t, Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay, Meant: []string{"no such table"}})
	if r.Meant != nil || len(r.Findings) != 0 {
		t.Errorf("meant was not given: %v", r)
	}
}

func TestAxisThatNoTableUses(t *testing.T) {
	lay := layoutOf(t, strings.Replace(small, "tables:\n", "  - {id: spare, quantity: torque, unit: N.m, stored: {address: 0x1090, type: u8, count: 2}}\ntables:\n", 1))
	base := smallImage()
	cand := edited(base, func(b []byte) { b[0x91] = 9; restamp(b) })
	r := pair(t, lay, base, cand)
	if r.Bytes.Mapped != 1 || len(r.Unjudged) != 1 || !strings.Contains(r.Unjudged[0].Reason, "axis spare changed") {
		t.Errorf("an unused axis: %v, %v", r.Bytes, r.Unjudged)
	}
}
