package main

import (
	"witnessmark/client"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
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
