package client

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/reckon"
)

// NumberRows are a card's numbers as given, then what they come to, each with how and by whom.
func NumberRows(j *recordv1.Job) [][]string {
	var rows [][]string
	for _, name := range slices.Sorted(maps.Keys(j.Numbers)) {
		rows = append(rows, []string{"number", name + " = " + j.Numbers[name]})
	}
	given, err := reckon.Parse(j.Numbers)
	if err != nil {
		return append(rows, []string{"reckoned", err.Error()})
	}
	derived, err := reckon.Derive(given)
	if err != nil {
		return append(rows, []string{"reckoned", err.Error()})
	}
	var last *calibrationv1.Reckoning
	for _, d := range derived {
		rows = append(rows, []string{"reckoned", fmt.Sprintf("%s = %.6g %s, from %s", d.Name, d.Value, d.Unit, strings.Join(d.Inputs, ", "))})
		if r := d.Reckoning; r != last {
			last = r
			rows = append(rows, []string{"", r.Formula}, []string{"", "assumes: " + strings.Join(r.Assumptions, "; ")}, []string{"", "source: " + r.Source})
			for _, remark := range r.Remarks {
				rows = append(rows, []string{"", remark})
			}
		}
	}
	return rows
}
