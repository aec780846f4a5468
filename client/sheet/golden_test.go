package sheet

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"witnessmark/client/desk/view/structured"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed/changedtest"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

var update = flag.Bool("update", false, "write the golden sheets anew")

// sheetOf compares two images and is what the sheet is then made of.
func sheetOf(t *testing.T, defName string, def, lim, base, candidate []byte) (*calibrationv1.Report, Options) {
	t.Helper()
	lay, err := definition.Load(defName, def)
	if err != nil {
		t.Fatal(err)
	}
	rules, err := limits.Load("limits.yaml", lim)
	if err != nil {
		t.Fatal(err)
	}
	of := func(b []byte) *image.Image { return lay.Space.Whole(b) }
	r, err := compare.Compare(compare.Input{Layout: lay, Limits: rules, Base: of(base), Candidate: of(candidate)})
	if err != nil {
		t.Fatal(err)
	}
	return r, Options{Layout: lay, Base: base, Candidate: candidate}
}

// every structure of a definition, changed: cells of each kind, a breakpoint, a code that is no value, a text.
func everyStructure(t *testing.T) (*calibrationv1.Report, Options) {
	base := structured.Image()
	candidate := bytes.Clone(base)
	for at, v := range map[int]byte{1: 14, 4: 3, 16: 120, 0x25: 255, 0x30: 2, 0x5C: 90, 0x5F: 1, 0x81: 'x', 0xA1: 1, 0xA9: 90, 0xC4: 77, 0xE3: 9, 0xE8: 0, 0x101: 2, 0x104: 5} {
		candidate[at] = v
	}
	candidate[0xB3]++ // a breakpoint of a block
	return sheetOf(t, "structured.yaml", []byte(structured.Definition), []byte(structured.Limits), base, candidate)
}

func demoSheet(t *testing.T) (*calibrationv1.Report, Options) {
	file := func(name string) []byte {
		b, err := os.ReadFile("../../testdata/demo/" + name)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	return sheetOf(t, "dx1-1.8t.yaml", file("dx1-1.8t.yaml"), file("dx1-road-98.yaml"), file("asfound.bin"), file("submission-1.bin"))
}

// Sheets are kept as files, as a terminal of each kind is given them and as a file is.
func TestGoldenSheets(t *testing.T) {
	readers := map[string]map[string]string{
		"file": {"CLICOLOR_FORCE": "", "COLORTERM": "", "TERM": "dumb"},
		"16":   {"CLICOLOR_FORCE": "1", "COLORTERM": "", "TERM": "xterm"},
		"256":  {"CLICOLOR_FORCE": "1", "COLORTERM": "", "TERM": "xterm-256color"},
		"true": {"CLICOLOR_FORCE": "1", "COLORTERM": "truecolor", "TERM": "xterm-256color"},
	}
	for _, c := range []struct {
		name, reader, table string
		of                  func(*testing.T) (*calibrationv1.Report, Options)
	}{{"structures", "file", "", everyStructure}, {"structures", "true", "", everyStructure}, {"structures", "256", "", everyStructure}, {"structures", "16", "", everyStructure},
		{"demo", "file", "", demoSheet}, {"demo", "true", "ignition.base", demoSheet}} {
		t.Run(c.name+" "+c.reader, func(t *testing.T) {
			t.Setenv("NO_COLOR", "")
			for name, v := range readers[c.reader] {
				t.Setenv(name, v)
			}
			r, o := c.of(t)
			o.Table = c.table
			got, path := written(t, r, o), filepath.Join("testdata", c.name+"."+c.reader+".txt")
			if *update {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("the sheet is not %s (run with -update and read the difference)", path)
			}
			if written(t, changedtest.Report(r), o) != got {
				t.Error("with an object a cell, as earlier rules wrote reports, the sheet is another")
			}
		})
	}
}
