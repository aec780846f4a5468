package client

import (
	"context"
	"fmt"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
)

// rightCar makes sure that the file belongs to the car in the bay, and says how: every identity field that
// the file holds must be in a fresh read, and a frame number that of one field that belongs to the car, or
// else the job's. Private fields are compared and never shown.
func rightCar(r *Review, q Collecting) (by string, err error) {
	lay, ours, known := r.Layout(), r.made.Candidate, r.Job.GetFrame().GetText()
	told := slices.DeleteFunc(slices.Clone(lay.Identity), func(f *definition.IdentityField) bool { return !claims.Holds(lay, ours, f) })
	inFile := slices.ContainsFunc(told, ofCar)
	switch {
	case hasVehicle(lay) && q.FreshRead == "" && q.Frame == "":
		return "", usage("--fresh-read FILE, or --frame NUMBER",
			"job %d: the definition %s has a field that belongs to one car, so the car in the bay must be told apart", q.Job, lay.Name)
	case hasVehicle(lay) && !inFile && known == "":
		return "", usage(fmt.Sprintf("witnessmark job amend %d --frame NUMBER", q.Job),
			"job %d: its read lacks what says which car it is, and nobody typed its frame number", q.Job)
	}
	if q.FreshRead != "" {
		if err := sameCar(r, q, told); err != nil {
			return "", err
		}
		by = "fresh-read"
	}
	typed := record.NormalFrame(q.Frame)
	switch {
	case q.Frame == "":
		return by, nil
	case inFile:
		if !slices.ContainsFunc(told, func(f *definition.IdentityField) bool {
			return ofCar(f) && record.NormalFrame(f.Text(ours.Bytes)) == typed
		}) {
			return "", otherCar("the frame number typed is not that of the file")
		}
	case by != "": // the read says more
	case known == "":
		return "", usage("", "job %d has no frame number to compare with, and the definition has no such field", q.Job)
	case known != typed:
		return "", otherCar("the frame number typed is not that of job %d", q.Job)
	}
	if by == "" {
		by = "frame"
	}
	return by, nil
}

// sameCar holds a fresh read against the identity fields that the file tells, and where none of them is one
// car's against the job's frame number.
func sameCar(r *Review, q Collecting, told []*definition.IdentityField) error {
	lay := r.Layout()
	fresh, err := ReadFile(q.FreshRead, "", lay)
	if err != nil {
		return err
	}
	for _, f := range told {
		if !claims.Holds(lay, fresh, f) {
			return usage("a whole read", "%s lacks identity field %s, so that the car cannot be told", q.FreshRead, f.ID)
		}
		if f.Text(r.made.Candidate.Bytes) != f.Text(fresh.Bytes) {
			return otherCar("the fresh read is of another car or another software: identity field %s differs", f.ID)
		}
	}
	if _, ok := claims.FrameOf(lay, fresh, r.Job.GetFrame().GetText()); hasVehicle(lay) && !slices.ContainsFunc(told, ofCar) && !ok {
		return otherCar("the fresh read does not show the frame number of job %d", q.Job)
	}
	return nil
}

// OtherPlates are those, beside its own, that a job's car is known by, newest job first.
func (c *Client) OtherPlates(j *recordv1.Job) (plates []string, err error) {
	err = c.View(func(s *record.State) error {
		seen := map[string]bool{record.NormalPlate(j.GetPlate().GetText()): true, "": true}
		for _, other := range slices.Backward(s.CarJobs(j.GetCar())) {
			plate := other.GetPlate().GetText()
			if known := record.NormalPlate(plate); !seen[known] {
				seen[known], plates = true, append(plates, plate)
			}
		}
		return nil
	})
	return plates, err
}

func hasVehicle(lay *definition.Layout) bool {
	return slices.ContainsFunc(lay.Identity, ofCar)
}

func ofCar(f *definition.IdentityField) bool { return f.Vehicle }

func otherCar(format string, args ...any) error {
	return &Error{Kind: Distrust, Text: fmt.Sprintf(format, args...), Try: "nothing was written; make sure that the right car is in the bay"}
}

// FromAsFound is the submission that is in a car, whose report says how far it is from what the car came with; nil where the car
// is as found, or nobody knows what is in it. Errors are Review's.
func (c *Client) FromAsFound(ctx context.Context, in *recordv1.InCar) (*Review, error) {
	if !in.GetKnown() || in.GetSubmission() == 0 {
		return nil, nil
	}
	return c.Review(ctx, in.GetJob(), in.GetSubmission())
}
