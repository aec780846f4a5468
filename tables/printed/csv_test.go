package printed

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// What a spreadsheet takes for a formula: OWASP, "CSV Injection" (from memory): = + - @, tab, CR, and since some
// programs fold them their full-width forms.
func TestCSVText(t *testing.T) {
	for in, want := range map[string]string{
		"=HYPERLINK(\"http://x\")": "'=HYPERLINK(\"http://x\")", "@SUM(1)": "'@SUM(1)", "+1+1": "'+1+1", "-1+1": "'-1+1",
		"\t=1": "'\t=1", "\r=1": "'\r=1", "\n=1": "'\n=1", "＝1": "'＝1", "'=1": "''=1", "-": "'-", "=": "'=",
		"": "", "-12": "-12", "+3.5": "+3.5", "-1e3": "-1e3", "NaN": "NaN", "deg": "deg", "a=1": "a=1", " x": " x", "é": "é", "0x1f": "0x1f",
	} {
		if got := CSVText(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

// No cell of a table is one that a spreadsheet runs; numbers below zero are numbers still.
func TestCSVRunsNothing(t *testing.T) {
	delta, was, is := -2.5, "-3", "1"
	r := &calibrationv1.Report{Tables: []*calibrationv1.TableReport{{Id: "=cmd|' /C calc'!A0", Unit: "@SUM(1)", Changes: []*calibrationv1.CellChange{
		{Delta: &delta, Base: structpb.NewNumberValue(-7), Candidate: structpb.NewStringValue("+on"), BaseRaw: &was, CandidateRaw: &is}}}}}
	var out bytes.Buffer
	if err := CSV(&out, r); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil || len(rows) != 2 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	if got, want := strings.Join(rows[1], "|"), "'=cmd|' /C calc'!A0|'@SUM(1)|0|0|||||-7|'+on|-2.5|-3|1"; got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
}

// Worked by hand: of two rows, one cell each, and a scalar of labels.
func TestCSVHoldsEveryChangedCell(t *testing.T) {
	axis := func(points ...float64) *calibrationv1.ChangedAxis {
		return &calibrationv1.ChangedAxis{Count: uint32(len(points)), Points: points}
	}
	r := &calibrationv1.Report{Tables: []*calibrationv1.TableReport{
		{Id: "ign", Unit: "deg", Cells: 4, Changed: 2, ChangedCells: &calibrationv1.ChangedCells{Axes: []*calibrationv1.ChangedAxis{axis(1000, 2000), axis(50, 100)},
			Skipped: []uint32{1, 1}, BaseRaw: []int64{48, 48}, Rise: []int64{12, -4}, Affine: &calibrationv1.Affine{Factor: 0.75, Offset: -24}}},
		{Id: "mode", Cells: 1, Changed: 1, ChangedCells: &calibrationv1.ChangedCells{Words: []string{"off", "on"}, BaseWord: []uint32{0}, CandidateWord: []uint32{1}}},
	}}
	var b strings.Builder
	want := "table,unit,row,column,x,y,base_x,base_y,base,candidate,delta,base_raw,candidate_raw\n" +
		"ign,deg,0,1,2000,50,,,12,21,9,48,60\nign,deg,1,1,2000,100,,,12,9,-3,48,44\nmode,,0,0,,,,,off,on,,,\n"
	if err := CSV(&b, r); err != nil || b.String() != want {
		t.Errorf("%v:\n%s\nwant\n%s", err, b.String(), want)
	}
}
