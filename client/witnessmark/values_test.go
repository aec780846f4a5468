package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"reflect"
	"testing"

	"witnessmark/client"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// An answer with reports in it is what encoding/json makes of it, with each report as it is printed by itself.
func TestAnswersWithReports(t *testing.T) {
	r := &calibrationv1.Report{Verdict: "danger <&>", Tables: []*calibrationv1.TableReport{{Id: "ign", Cells: 1, Changed: 1,
		ChangedCells: &calibrationv1.ChangedCells{Base: []float64{1}, Candidate: []float64{2.5}}}}}
	text, err := client.JSON(r)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ v, same any }{
		"whole": {sheetAsJSON{Name: "1.1 <&>", Report: r, Since: &sinceAsJSON{New: []stepAsJSON{{Key: "a:b"}}, Changed: r}},
			struct {
				sheetAsJSON
				Report json.RawMessage `json:"report"`
				Since  any             `json:"since"`
			}{sheetAsJSON{Name: "1.1 <&>"}, text, struct {
				sinceAsJSON
				Changed json.RawMessage `json:"changed"`
			}{sinceAsJSON{New: []stepAsJSON{{Key: "a:b"}}}, text}}},
		"none":     {sheetAsJSON{Name: "1.1"}, sheetAsJSON{Name: "1.1"}},
		"a map":    {map[string]any{"a": []int{}, "b": nil}, map[string]any{"a": []int{}, "b": nil}},
		"readback": {&readbackAsJSON{}, &readbackAsJSON{}},
	} {
		var out bytes.Buffer
		if err := (&app{out: &out}).printJSON(c.v, nil); err != nil {
			t.Fatal(err)
		}
		want, err := json.Marshal(c.same)
		if err != nil {
			t.Fatal(err)
		}
		var a, b any
		if json.Unmarshal(out.Bytes(), &a) != nil || json.Unmarshal(want, &b) != nil || !reflect.DeepEqual(a, b) {
			t.Errorf("%s: printed\n%s\nwant\n%s", name, out.String(), want)
		}
		var indented bytes.Buffer
		if err := json.Indent(&indented, bytes.TrimSpace(out.Bytes()), "", "  "); err != nil || indented.String()+"\n" != out.String() {
			t.Errorf("%s: it is set in otherwise, %v:\n%s", name, err, out.String())
		}
	}
	if err := (&app{out: full{}}).printJSON(sheetAsJSON{Report: r}, nil); err == nil {
		t.Error("what was not written was")
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("the disk is full") }
