package record_test

import (
	"strings"
	"testing"

	"witnessmark/store/record"
)

func TestNames(t *testing.T) {
	for text, want := range map[string]record.Name{
		"7":            {Job: 7},
		"7.2":          {Job: 7, Part: record.ASubmission, N: 2},
		"7.read1":      {Job: 7, Part: record.ARead, N: 1},
		"12.back3":     {Job: 12, Part: record.AReadback, N: 3},
		"4294967295.1": {Job: 1<<32 - 1, Part: record.ASubmission, N: 1},
		"7.run10":      {Job: 7, Part: record.ARollingRoad, N: 10},
		"7.corridor1":  {Job: 7, Part: record.ACorridor, N: 1},
	} {
		if got, err := record.ParseName(text); err != nil || got != want || got.String() != text {
			t.Errorf("%s: %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "0", "07", "+7", " 7", "7 ", "-1", "7.", "7.0", "7.02", "7.2.1", ".2", "7.read", "7.read0", "7.Read1",
		"7.readback1", "7.corridor", "7.corridor01", "7.corridors1", "7.x1", "7read1", "4294967296", "7.4294967296", "7.2\n", "seven", strings.Repeat("9", 500)} {
		got, err := record.ParseName(text)
		if err == nil || got != (record.Name{}) || len(err.Error()) > 400 || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.20q: %v, %v", text, got, err)
		}
	}
}

func FuzzParseName(f *testing.F) {
	f.Add("7.read1")
	f.Add("7.")
	f.Add("7.corridor1")
	f.Fuzz(func(t *testing.T, text string) {
		if n, err := record.ParseName(text); err == nil && n.String() != text {
			t.Errorf("%q reads as %s", text, n)
		}
	})
}
