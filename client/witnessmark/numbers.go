package main

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"witnessmark/client"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/reckon"
)

const numberUsage = "a number of the car or its parts as NAME=VALUE, such as crank_pulley_mm=180; limits' expressions say job.NAME; may be repeated"

// numberFacts are what a comparison without a job knows of one; nil where no number is given.
func numberFacts(pairs []string) (*calibrationv1.JobFacts, error) {
	n, err := client.ParseNumbers(pairs)
	if err != nil || n == nil {
		return nil, err
	}
	return reckon.Facts("", n)
}

// numberRows are a card's numbers as given, then what they come to, each with how and by whom.
func numberRows(j *recordv1.Job) [][]string {
	var rows [][]string
	for _, name := range slices.Sorted(maps.Keys(j.Numbers)) {
		rows = append(rows, []string{"number", clean(name + " = " + j.Numbers[name])})
	}
	given, err := reckon.Parse(j.Numbers)
	if err != nil {
		return append(rows, []string{"reckoned", clean(err.Error())})
	}
	derived, err := reckon.Derive(given)
	if err != nil {
		return append(rows, []string{"reckoned", clean(err.Error())})
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
