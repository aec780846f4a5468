package client

import (
	"fmt"

	"witnessmark/store/record"
	"witnessmark/tables/definition"
)

// rightCar makes sure that the file belongs to the car in the bay, and says how.
func rightCar(r *Review, q Collecting) (string, error) {
	lay := r.Layout()
	if hasVehicle(lay) && q.FreshRead == "" && q.Frame == "" {
		return "", usage("--fresh-read FILE, or --frame NUMBER",
			"job %d: the definition %s has a field that belongs to one car, so the car in the bay must be told apart", q.Job, lay.Name)
	}
	var fresh []byte
	if q.FreshRead != "" {
		im, err := ReadFile(q.FreshRead, "", lay)
		if err != nil {
			return "", err
		}
		fresh = im.Bytes
	}
	if err := sameVehicle(lay, r.made.Candidate.Bytes, fresh, q.Frame); err != nil {
		return "", err
	}
	switch {
	case q.FreshRead != "":
		return "fresh-read", nil
	case q.Frame == "" || hasVehicle(lay):
	case r.Job.GetFrame().GetText() == "":
		return "", usage("", "job %d has no frame number to compare with, and the definition has no such field", q.Job)
	case r.Job.GetFrame().GetText() != record.NormalFrame(q.Frame):
		return "", otherCar("the frame number typed is not that of job %d", q.Job)
	}
	if q.Frame != "" {
		return "frame", nil
	}
	return "", nil
}

func hasVehicle(lay *definition.Layout) bool {
	for _, f := range lay.Identity {
		if f.Vehicle {
			return true
		}
	}
	return false
}

// sameVehicle says whether two images, or an image and a frame number, are of one car: every
// identity field of a fresh read must be the file's, and a frame number that of one field that
// belongs to the car. Private fields are compared and never shown.
func sameVehicle(lay *definition.Layout, ours, fresh []byte, frame string) error {
	framed := frame == "" || !hasVehicle(lay)
	for _, f := range lay.Identity {
		if f.Vehicle && record.NormalFrame(f.Text(ours)) == record.NormalFrame(frame) {
			framed = true
		}
		if fresh != nil && f.Text(ours) != f.Text(fresh) {
			return otherCar("the fresh read is of another car or another software: identity field %s differs", f.ID)
		}
	}
	if !framed {
		return otherCar("the frame number typed is not that of the file")
	}
	return nil
}

func otherCar(format string, args ...any) error {
	return &Error{Kind: Distrust, Text: fmt.Sprintf(format, args...), Try: "nothing was written; make sure that the right car is in the bay"}
}
