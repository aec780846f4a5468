package changed_test

import (
	"math"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
	"witnessmark/tables/changed/changedtest"
)

// said asks that columns say what an object a cell would, in protobuf's JSON.
func said(t *testing.T, table *calibrationv1.TableReport, want string) {
	t.Helper()
	w := &calibrationv1.TableReport{}
	if err := protojson.Unmarshal([]byte(`{"changes": [`+want+`]}`), w); err != nil {
		t.Fatal(err)
	}
	got := changedtest.Objects(table)
	if !proto.Equal(w, &calibrationv1.TableReport{Changes: got}) {
		t.Errorf("said:\n%v\nwant:\n%v", got, w.Changes)
	}
	cells, err := changed.Of(table)
	if err != nil || cells.Len() != len(got) {
		t.Fatalf("%d cells, %v", cells.Len(), err)
	}
	again, err := changed.Of(&calibrationv1.TableReport{Changes: got})
	if err != nil || !proto.Equal(w, &calibrationv1.TableReport{Changes: changedtest.Objects(&calibrationv1.TableReport{Changes: got})}) || again.Len() != len(got) {
		t.Errorf("objects do not read as what they say: %v", err)
	}
}

// Worked by hand: a map of 3 by 2, of which three cells changed, one at a breakpoint that moved and one to a code that is no value.
func TestColumnsByHand(t *testing.T) {
	table := &calibrationv1.TableReport{Cells: 6, Changed: 3, ChangedCells: &calibrationv1.ChangedCells{
		Skipped: []uint32{1, 1, 1},
		Axes: []*calibrationv1.ChangedAxis{
			{Count: 3, Points: []float64{1000, 2000, 4000}, Moved: []uint32{1}, Before: []float64{2500}},
			{Count: 2, Labels: []string{"cold", "warm"}}},
		BaseRaw: []int64{10, 20, 30}, Rise: []int64{2, -4, 225}, Affine: &calibrationv1.Affine{Factor: 0.5, Offset: -20}, CandidateOff: []uint32{2}}}
	said(t, table, `
		{"row": 0, "column": 1, "x": 2000, "base_x": 2500, "y_label": "cold", "base": -15, "candidate": -14, "base_raw": "10", "candidate_raw": "12"},
		{"row": 1, "column": 0, "x": 1000, "y_label": "warm", "base": -10, "candidate": -12, "delta": -2, "base_raw": "20", "candidate_raw": "16"},
		{"row": 1, "column": 2, "x": 4000, "y_label": "warm", "base": -5, "candidate": null, "base_raw": "30", "candidate_raw": "255"}`)
}

func TestColumnsOfABlock(t *testing.T) {
	axis := func(points ...float64) *calibrationv1.ChangedAxis {
		return &calibrationv1.ChangedAxis{Count: uint32(len(points)), Points: points}
	}
	beyond := axis(7, math.NaN())
	table := &calibrationv1.TableReport{Cells: 16, Changed: 4, ChangedCells: &calibrationv1.ChangedCells{
		Skipped: []uint32{0, 4, 0, 6},
		Axes:    []*calibrationv1.ChangedAxis{axis(1, 2), axis(3, 4), beyond, {Count: 2, Labels: []string{"a", "b"}}},
		Base:    []float64{1, 2, math.NaN(), 4}, Candidate: []float64{1.5, math.Inf(1), 3, 4.5}}}
	want := `
		{"row": 0, "column": 0, "x": 1, "y": 3, "slice": {"index": [0, 0], "at": [7, "a"]}, "base": 1, "candidate": 1.5, "delta": 0.5},
		{"row": 0, "column": 1, "x": 2, "y": 3, "slice": {"index": [1, 0], "at": ["NaN", "a"]}, "base": 2, "candidate": "Infinity", "delta": "Infinity"},
		{"row": 1, "column": 0, "x": 1, "y": 4, "slice": {"index": [1, 0], "at": ["NaN", "a"]}, "base": "NaN", "candidate": 3, "delta": "NaN"},
		{"row": 0, "column": 1, "x": 2, "y": 3, "slice": {"index": [1, 1], "at": ["NaN", "b"]}, "base": 4, "candidate": 4.5, "delta": 0.5}`
	said(t, table, want)
	beyond.Moved, beyond.Before = []uint32{1}, []float64{8} // then the second slice is another place
	said(t, table, strings.NewReplacer(`, "delta": "Infinity"`, "", `, "delta": "NaN"`, "", `"candidate": 4.5, "delta": 0.5`, `"candidate": 4.5`).Replace(want))
}

func TestWordsAndLargeNumbers(t *testing.T) {
	said(t, &calibrationv1.TableReport{Cells: 1, Changed: 1, ChangedCells: &calibrationv1.ChangedCells{
		Words: []string{"HILL", "CLIMB"}, BaseWord: []uint32{0}, CandidateWord: []uint32{1}}}, `{"base": "HILL", "candidate": "CLIMB"}`)
	wide := &calibrationv1.ChangedCells{Axes: []*calibrationv1.ChangedAxis{{Count: 2, Points: []float64{1, 2}}},
		BaseRaw: []int64{1, -1}, Rise: []int64{-3, 3}, Affine: &calibrationv1.Affine{Factor: 1}}
	table := &calibrationv1.TableReport{Cells: 2, Changed: 2, ChangedCells: wide}
	said(t, table, `{"column": 0, "x": 1, "base": 1, "candidate": -2, "delta": -3, "base_raw": "1", "candidate_raw": "-2"},
		{"column": 1, "x": 2, "base": -1, "candidate": 2, "delta": 3, "base_raw": "-1", "candidate_raw": "2"}`)
	wide.BaseUnsigned, wide.CandidateUnsigned = true, true // the same bits: 1 to 2^64-2, and 2^64-1 to 2
	said(t, table, `{"column": 0, "x": 1, "base": 1, "candidate": 18446744073709551614, "delta": 18446744073709551613, "base_raw": "1", "candidate_raw": "18446744073709551614"},
		{"column": 1, "x": 2, "base": 18446744073709551615, "candidate": 2, "delta": -18446744073709551613, "base_raw": "18446744073709551615", "candidate_raw": "2"}`)
	said(t, &calibrationv1.TableReport{Cells: 1, Changed: 1, ChangedCells: &calibrationv1.ChangedCells{Base: []float64{1.5}, Candidate: []float64{2}, Rise: []int64{4}}},
		`{"base": 1.5, "candidate": 2, "delta": 0.5, "candidate_raw": "4"}`) // a float became a whole number
}

func TestColumnsThatDoNotFit(t *testing.T) {
	for name, spoil := range map[string]func(t *calibrationv1.TableReport, m *calibrationv1.ChangedCells){
		"rise has 1 items": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.Rise = m.Rise[:1] },
		"there twice": func(t *calibrationv1.TableReport, _ *calibrationv1.ChangedCells) {
			t.Changes = []*calibrationv1.CellChange{{}}
		},
		"there are none": func(t *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			t.Changed, t.ChangedCells = 0, &calibrationv1.ChangedCells{}
		},
		"not told in one way":      func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.Affine = nil },
		"affine with base_raw":     func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.BaseRaw = nil },
		"of two types":             func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.BaseUnsigned = true },
		"axis 1 has 3 breakpoints": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.Axes[1].Count = 3 },
		"axis 1 has 0 breakpoints": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.Axes[1] = nil },
		"the axes make 3 cells":    func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.Axes = m.Axes[:1] },
		"2 points and 0 labels": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			m.Axes[0].Points = m.Axes[0].Points[:2]
		},
		"moved from 0 places": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.Axes[0].Moved = []uint32{0} },
		"moved has 3": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			m.Axes[0].Moved, m.Axes[0].Before = []uint32{3}, []float64{1}
		},
		"moved has 1": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			m.Axes[0].Moved, m.Axes[0].Before = []uint32{1, 1}, []float64{1, 2}
		},
		"and none of labels": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			m.Axes[1].Moved, m.Axes[1].Before = []uint32{1}, []float64{1}
		},
		"skipped leads to cell 7": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.Skipped[1] = 5 },
		"leads to cell 8589934591": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			m.Skipped = []uint32{math.MaxUint32, math.MaxUint32}
		},
		"cell 2 holds a code": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.BaseOff = []uint32{2} },
		"cell 0 holds a code": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) { m.CandidateOff = []uint32{1, 0} },
		"word 2": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			m.Affine, m.Words, m.BaseWord, m.CandidateWord = nil, []string{"a", "b"}, []uint32{0, 1}, []uint32{0, 2}
		},
		"words with base_word": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			m.Affine, m.BaseWord, m.CandidateWord = nil, []uint32{0, 1}, []uint32{0, 1}
		},
		"base_word and candidate": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			m.Affine, m.Words, m.BaseWord = nil, []string{"a"}, []uint32{0, 0}
		},
		"none among words": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			m.Affine, m.Words, m.BaseWord, m.CandidateWord, m.BaseOff = nil, []string{"a"}, []uint32{0, 0}, []uint32{0, 0}, []uint32{0}
		},
		"base and candidate, or": func(_ *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			m.Affine, m.Base = nil, []float64{1, 2}
		},
		`raw "x" and ""; allowed: d`: func(t *calibrationv1.TableReport, m *calibrationv1.ChangedCells) {
			t.ChangedCells, t.Changes = nil, []*calibrationv1.CellChange{{BaseRaw: proto.String("x")}}
		},
	} {
		m := &calibrationv1.ChangedCells{Skipped: []uint32{1, 1}, BaseRaw: []int64{10, 20}, Rise: []int64{2, -4}, Affine: &calibrationv1.Affine{Factor: 0.5},
			Axes: []*calibrationv1.ChangedAxis{{Count: 3, Points: []float64{1, 2, 4}}, {Count: 2, Labels: []string{"cold", "warm"}}}}
		table := &calibrationv1.TableReport{Id: "ign", Cells: 6, Changed: 2, ChangedCells: m}
		if _, err := changed.Of(table); err != nil {
			t.Fatal(err)
		}
		spoil(table, m)
		if _, err := changed.Of(table); err == nil || !strings.Contains(err.Error(), name) || !strings.HasPrefix(err.Error(), `report: table "ign": changed cells: `) {
			t.Errorf("want %q: %v", name, err)
		}
	}
}

// Whatever bytes say, what is read of them is read to the end.
func FuzzOf(f *testing.F) {
	for _, m := range []*calibrationv1.ChangedCells{
		{Base: []float64{1}, Candidate: []float64{2}, Rise: []int64{4}, BaseOff: []uint32{0}},
		{Words: []string{"a"}, BaseWord: []uint32{0}, CandidateWord: []uint32{0}, BaseRaw: []int64{3}},
		{Affine: &calibrationv1.Affine{Factor: 1}, BaseRaw: []int64{3}, Rise: []int64{4}, Skipped: []uint32{0},
			Axes: []*calibrationv1.ChangedAxis{{Count: 1, Points: []float64{4}, Moved: []uint32{0}, Before: []float64{3}}}},
	} {
		b, err := proto.Marshal(&calibrationv1.TableReport{Cells: 1, Changed: 1, ChangedCells: m})
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		table := &calibrationv1.TableReport{}
		if proto.Unmarshal(b, table) != nil {
			return
		}
		cells, err := changed.Of(table)
		if err != nil {
			return
		}
		if n := len(changedtest.Objects(table)); n != cells.Len() {
			t.Errorf("%d of %d cells", n, cells.Len())
		}
	})
}
