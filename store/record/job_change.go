package record

import (
	"fmt"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// changeJob lets fn change a job, and keeps in step what follows from it: which car it is of, where it
// is found, and the alarms of its car's jobs.
func (c *change) changeJob(n uint32, fn func(j *recordv1.Job)) {
	j := c.job(n)
	if j == nil || c.err != nil {
		return
	}
	car, read, backs := j.GetCar(), lastRead(j), len(j.GetReadBacks())
	before := c.found(j)
	fn(j)
	j.Car = carOf(j)
	c.changed[n] = true
	after := c.found(j)
	for at := range before {
		if _, still := after[at]; !still {
			c.drop(at.kind, at.key)
		}
	}
	for at, value := range after {
		if was, there := before[at]; !there || was != value {
			c.putText(at.kind, at.key, value)
		}
	}
	touched := []uint32{n}
	if car != j.GetCar() || read != lastRead(j) || backs != len(j.GetReadBacks()) {
		touched = append(append(touched, c.carJobs(car)...), c.carJobs(j.GetCar())...)
	}
	slices.Sort(touched)
	for _, t := range slices.Compact(touched) {
		c.realarm(t)
	}
}

type place struct{ kind, key string }

// found is the documents by which a job is found: by its car, the labels of that, and as an open one.
func (s *State) found(j *recordv1.Job) map[place]string {
	if j.GetState() == "" {
		return nil // it is only being opened
	}
	n := j.GetNumber()
	out := map[place]string{{docCarJob, join(j.GetCar(), n)}: ""}
	if j.GetState() == open {
		out[place{docOpenJob, join(n)}] = ""
	}
	if o := s.Opening(j.GetPlate().GetCommitment()); o != nil {
		out[place{docPlate, join(NormalPlate(o.GetText()), n)}] = join(j.GetCar())
	}
	if o := s.Opening(frameOf(j).GetCommitment()); o != nil {
		out[place{docFrame, join(o.GetText(), n)}] = join(j.GetCar())
	}
	return out
}

// frameOf is the frame number of a job: the typed one, else that of its read as found.
func frameOf(j *recordv1.Job) *recordv1.Text {
	if j.GetFrame() != nil {
		return j.GetFrame()
	}
	return AsFound(j).GetFrame()
}

// carOf is the car of a job: the one that its details name, or that a later read showed.
func carOf(j *recordv1.Job) uint32 {
	for _, r := range slices.Backward(j.GetReads()) {
		if r.GetVoided() == nil && r.GetAdded().GetEntry() > j.GetDetailsBy() {
			return r.GetCar()
		}
	}
	return j.GetDetailsCar()
}

// tell adds a line to what happened to the job's car.
func (c *change) tell(job, sub uint32, image, verdict, format string, args ...any) {
	c.told++
	c.put(docEvent, join(job, c.entry, c.told), &recordv1.CarEvent{
		Event: c.event, Job: job, Submission: sub, ImageSha256: image, Verdict: verdict, What: fmt.Sprintf(format, args...),
	})
}
