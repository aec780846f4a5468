package sheet

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

func brief(t *testing.T, r *calibrationv1.Report, o Options) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteBrief(&b, r, "since \x1b[2J7.1", o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestBriefByHand(t *testing.T) {
	r, o := bench(t, changedBytes)
	want := `since �[2J7.1: 3 tables differ, in 4 cells; 4 bytes differ
  ignition.base  2 of 16 cells, in deg, -3.00 to +9.00
    engine speed 4000 1/min, cylinder filling 50 %  12.00→21.00 ▲
    engine speed 5000 1/min, cylinder filling 100 %  12.00→9.00 ▼
  lambda  1 of 1 cell, -0.094
      1.000→0.906 ▼
  fan.mode  1 of 1 cell
      off→on ◆
`
	if got := brief(t, r, o); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	r, o = bench(t, nil)
	if got := brief(t, r, o); got != "since �[2J7.1: no table differs; 0 bytes differ\n" {
		t.Errorf("of the same image: %s", got)
	}
}

// However much differs, what is printed stays short, and says what it leaves out; one more is not left out alone.
func TestBriefStaysShort(t *testing.T) {
	for _, c := range []struct{ tables, cells, lines int }{{3, 2, 1 + 3*3}, {9, 7, 1 + 9*8}, {10, 8, 1 + 8*8 + 1}, {40, 16, 1 + 8*8 + 1}} {
		text := "name: many\nbyte_order: big\nimage: {start: 0x0, size: 0x400}\ntables:\n"
		for i := range c.tables {
			text += fmt.Sprintf("  - {id: t%d, quantity: ratio, unit: \"1\", stored: {address: %d, type: u8}, x: {id: x%d, quantity: load, unit: \"%%\", points: [%s]}}\n",
				i, 16*i, i, strings.Join(strings.Fields("1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16"), ", "))
		}
		lay, err := definition.Load("many.yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		base, candidate := make([]byte, 0x400), make([]byte, 0x400)
		for i := range c.tables {
			for k := range c.cells {
				candidate[16*i+k] = 1
			}
		}
		r, err := compare.Compare(compare.Input{Layout: lay, Base: image.Whole(0, base), Candidate: image.Whole(0, candidate)})
		if err != nil {
			t.Fatal(err)
		}
		got := brief(t, r, Options{Layout: lay})
		if n := strings.Count(got, "\n"); n != c.lines {
			t.Errorf("%d tables of %d cells: %d lines, want %d\n%s", c.tables, c.cells, n, c.lines, got)
		}
		if c.cells > 7 && !strings.Contains(got, fmt.Sprintf("and %d more\n", c.cells-6)) || c.tables > 9 && !strings.HasSuffix(got, fmt.Sprintf("and %d tables more\n", c.tables-8)) {
			t.Errorf("it does not say what it leaves out:\n%s", got)
		}
	}
}
