package compare

import (
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// meant checks the tables that the author meant to change, and reports them in definition order.
func (s *session) meant() error {
	if !s.in.MeantGiven {
		return nil
	}
	want := map[string]bool{}
	for _, id := range s.in.Meant {
		if s.lay.ByID[id] == nil && s.candLay.ByID[id] == nil {
			return fmt.Errorf("meant: the definition %s has no table %q; %s", s.candLay.Name, id, allowed(s.candLay, id))
		}
		want[id] = true
	}
	s.report.Meant = &calibrationv1.Meant{}
	for _, id := range s.ids() {
		if want[id] {
			s.report.Meant.Tables = append(s.report.Meant.Tables, id)
		}
	}
	return nil
}

// ids is every table id: the base's in definition order, then those that only the candidate has.
func (s *session) ids() []string {
	var ids []string
	for _, t := range s.lay.Tables {
		ids = append(ids, t.ID)
	}
	if s.two {
		for _, t := range s.candLay.Tables {
			if s.lay.ByID[t.ID] == nil {
				ids = append(ids, t.ID)
			}
		}
	}
	return ids
}

// allowed names the tables that a mistyped id may have meant.
func allowed(lay *definition.Layout, id string) string {
	type near struct {
		id   string
		away int
	}
	var all []near
	for _, t := range lay.Tables {
		all = append(all, near{t.ID, distance(id, t.ID)})
	}
	slices.SortStableFunc(all, func(a, b near) int { return a.away - b.away })
	var names []string
	for _, n := range all[:min(len(all), 5)] {
		names = append(names, n.id)
	}
	switch {
	case len(all) == 0:
		return "it has no tables"
	case len(all) > len(names):
		return fmt.Sprintf("the nearest of its %d are %s", len(all), strings.Join(names, ", "))
	}
	return "allowed are " + strings.Join(names, ", ")
}

// distance is the number of bytes to insert, remove or replace to make b of a. Of a long text only
// the first 64 bytes count: ids are short, and a mistaken argument may be anything.
func distance(a, b string) int {
	a, b = a[:min(len(a), 64)], b[:min(len(b), 64)]
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
