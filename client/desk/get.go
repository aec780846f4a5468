package desk

import (
	"net/http"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// workingCopy sends an image or a run for the bench.
func (d *Desk) workingCopy(w http.ResponseWriter, r *http.Request) error {
	name, err := record.ParseName(r.PathValue("name"))
	if err != nil {
		return errAway
	}
	got, err := d.client.WorkingCopy(r.Context(), name, image.Format(r.URL.Query().Get("format")))
	if err != nil {
		return err
	}
	attach(w, got.FileName)
	_, _ = w.Write(got.File)
	return nil
}

// named is what each entry of a job brought that can be taken to the bench.
func named(p page, j *recordv1.Job) map[uint32]record.Name {
	out := map[uint32]record.Name{}
	if j.GetImagesErased() {
		return out
	}
	name := func(e *recordv1.Event, part record.Part, n uint32) {
		out[e.GetEntry()] = record.Name{Job: j.GetNumber(), Part: part, N: n}
	}
	for _, r := range j.GetReads() {
		name(r.GetAdded(), record.ARead, r.GetNumber())
	}
	if p.has("calibrator", "lead") { // a technician collects what is released
		for _, s := range j.GetSubmissions() {
			name(s.GetSubmitted(), record.ASubmission, s.GetNumber())
		}
	}
	for i, b := range j.GetReadBacks() {
		if b.GetImage() != nil {
			name(b.GetAdded(), record.AReadback, uint32(i+1))
		}
	}
	for i, r := range j.GetRuns() {
		name(r.GetAdded(), record.ARollingRoad, uint32(i+1))
	}
	return out
}
