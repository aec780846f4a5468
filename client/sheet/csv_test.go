package sheet

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
func TestWriteCSVRunsNothing(t *testing.T) {
	delta, was, is := -2.5, "-3", "=1"
	r := &calibrationv1.Report{Tables: []*calibrationv1.TableReport{{Id: "=cmd|' /C calc'!A0", Unit: "@SUM(1)", Changes: []*calibrationv1.CellChange{
		{Delta: &delta, Base: structpb.NewNumberValue(-7), Candidate: structpb.NewStringValue("+on"), BaseRaw: &was, CandidateRaw: &is}}}}}
	var out bytes.Buffer
	if err := WriteCSV(&out, r); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil || len(rows) != 2 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	if got, want := strings.Join(rows[1], "|"), "'=cmd|' /C calc'!A0|'@SUM(1)|0|0|||||-7|'+on|-2.5|-3|'=1"; got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
}
