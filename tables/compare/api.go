// Package compare turns two images into a report: cells, surfaces, every differing byte
// accounted for, and what the limits find. It is a pure function.
package compare

import (
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

// Semantics counts up when a change of the program would change a report.
const Semantics = 3

// Input is everything that a comparison depends on.
type Input struct {
	Base, Candidate *image.Image
	Layout          *definition.Layout
	CandidateLayout *definition.Layout // nil if the same
	Limits          *limits.Limits     // nil for none
	Meant           []string           // tables the author meant to change
	MeantGiven      bool
	Job             *calibrationv1.JobFacts // nil for none
	Run             *limits.Run             // what covers judges by; nil for none
	AsFound         *image.Image            // what the car first came with, by Layout; nil for none
	Proven          []string                // signals that a run of this software was held against
}

// Compare makes the report. An error means that it could not be made at all (an image of another
// size, or one that lacks what the other holds of what is compared; limits that do not fit; an
// unknown table in Meant). An image as found of another software is left out.
func Compare(in Input) (*calibrationv1.Report, error) {
	s, err := compare(in)
	if err != nil {
		return nil, err
	}
	return s.report, nil
}

func compare(in Input) (*session, error) {
	s, err := open(in, false)
	if err != nil {
		return nil, err
	}
	if err := s.meant(); err != nil {
		return nil, err
	}
	s.report.Base = imageRef(in.Base)
	s.report.Candidate = s.report.Base
	var runs []image.Range
	if !s.two {
		runs = differing(in.Base.Bytes, in.Candidate.Bytes)
	}
	if s.two || len(runs) > 0 {
		s.report.Candidate = imageRef(in.Candidate)
	}
	if err := s.asFound(); err != nil {
		return nil, err
	}
	s.findHoles()
	runs = known(in.Base.Bytes, in.Candidate.Bytes, runs, slices.Concat(s.base.holes.gaps, s.cand.holes.gaps))
	equal := !s.two && len(runs) == 0
	s.identity()
	s.checksums(equal)
	switch {
	case s.two:
		s.astray()
		s.pairTables()
	case !equal:
		s.account(runs)
	}
	return s, s.finish()
}

// Check judges every table of one image: no base, no origins, all of it counts.
func Check(im *image.Image, lay *definition.Layout, lim *limits.Limits, job *calibrationv1.JobFacts) (*calibrationv1.Report, error) {
	s, err := open(Input{Candidate: im, Layout: lay, Limits: lim, Job: job}, true)
	if err != nil {
		return nil, err
	}
	s.report.Candidate = imageRef(im)
	s.findHoles()
	s.identity()
	s.checksums(false)
	s.astray()
	for _, t := range lay.Varying {
		s.leadsOutside(t)
	}
	return s.report, s.finish()
}
