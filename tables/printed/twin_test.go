package printed

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/types/known/structpb"
	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed/changedtest"
)

// wholeJSON is the slow twin of JSON: a message with an object a cell, by protobuf's own library.
func wholeJSON(t *rapid.T, r *calibrationv1.Report, prefix string) string {
	t.Helper()
	raw, err := protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(changedtest.Report(r))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := json.Indent(&b, raw, prefix, "  "); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// wholeRows are the slow twin of CSV.
func wholeRows(r *calibrationv1.Report) [][]string {
	plain := func(v any) string {
		if f, number := v.(float64); number {
			return strings.TrimPrefix(strings.Replace(strconv.FormatFloat(f, 'g', -1, 64), "Inf", "Infinity", 1), "+")
		}
		s, _ := v.(string)
		return s
	}
	optional := func(v *float64) string {
		if v == nil {
			return ""
		}
		return plain(*v)
	}
	rows := [][]string{strings.Split("table,unit,row,column,x,y,base_x,base_y,base,candidate,delta,base_raw,candidate_raw", ",")}
	blocks := slices.ContainsFunc(r.Tables, func(t *calibrationv1.TableReport) bool { return t.Kind == "block" })
	if blocks {
		rows[0] = append(rows[0], "slice", "at")
	}
	for _, t := range changedtest.Report(r).Tables {
		for _, c := range t.Changes {
			row := []string{t.Id, t.Unit, strconv.Itoa(int(c.Row)), strconv.Itoa(int(c.Column)),
				cmp.Or(c.GetXLabel(), optional(c.X)), cmp.Or(c.GetYLabel(), optional(c.Y)), optional(c.BaseX), optional(c.BaseY),
				plain(c.Base.AsInterface()), plain(c.Candidate.AsInterface()), optional(c.Delta), c.GetBaseRaw(), c.GetCandidateRaw()}
			if blocks {
				var index, at []string
				for i, n := range c.Slice.GetIndex() {
					index, at = append(index, strconv.Itoa(int(n))), append(at, plain(c.Slice.At[i].AsInterface()))
				}
				row = append(row, strings.Join(index, " "), strings.Join(at, " "))
			}
			rows = append(rows, row)
		}
	}
	return rows
}

func sameText(t *rapid.T, what, got, want string) {
	t.Helper()
	if got == want {
		return
	}
	at := 0
	for at < min(len(got), len(want)) && got[at] == want[at] {
		at++
	}
	t.Fatalf("%s differs at byte %d:\n%.200q\nwant:\n%.200q", what, at, got[max(0, at-60):], want[max(0, at-60):])
}

// What is written cell by cell is what is written of a message that holds an object a cell, byte for byte.
func TestAsWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawReport(t)
		if rapid.IntRange(0, 3).Draw(t, "older") == 0 { // by rules that wrote objects
			r = changedtest.Report(r)
		}
		var b, part, table, rows bytes.Buffer
		if err := JSON(&b, r); err != nil {
			t.Fatal(err)
		}
		sameText(t, "JSON", b.String(), wholeJSON(t, r, "")+"\n")
		if err := Part(&part, r, "\t> "); err != nil {
			t.Fatal(err)
		}
		sameText(t, "a part", part.String(), wholeJSON(t, r, "\t> "))
		if err := CSV(&table, r); err != nil {
			t.Fatal(err)
		}
		if err := Rows(&rows, wholeRows(r)); err != nil {
			t.Fatal(err)
		}
		sameText(t, "CSV", table.String(), rows.String())
	})
}

// Columns that do not fit, texts that JSON cannot hold, and a writer that fails end with an error.
func TestWhatCannotBeWritten(t *testing.T) {
	wrong := &calibrationv1.Report{Tables: []*calibrationv1.TableReport{{Id: "ign", Cells: 2, Changed: 2, ChangedCells: &calibrationv1.ChangedCells{Base: []float64{1}}}}}
	label := &calibrationv1.Report{Tables: []*calibrationv1.TableReport{{Changes: []*calibrationv1.CellChange{{Base: structpb.NewStringValue("\xff")}}}}}
	for name, err := range map[string]error{
		`table "ign": changed cells: base has 1 items`: JSON(io.Discard, wrong),
		`table "ign": changed cells: base has 1`:       CSV(io.Discard, wrong),
		"UTF-8":                                        JSON(io.Discard, label),
		"full":                                         JSON(full{}, &calibrationv1.Report{}),
		"ful":                                          CSV(full{}, &calibrationv1.Report{}),
	} {
		if err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%v, want %q", err, name)
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("the disk is full") }
