package record

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

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
	was := sketch(j)
	fn(j)
	j.Car = carOf(j)
	c.changed[n] = true
	if now := sketch(j); !proto.Equal(was, now) {
		c.refind(c.found(was), c.found(now))
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

// sketch is what of a job decides where it is found; one that is erased has no labels.
func sketch(j *recordv1.Job) *recordv1.Job {
	out := &recordv1.Job{Number: j.GetNumber(), State: j.GetState(), Car: j.GetCar()}
	if j.GetErased() == nil {
		out.Plate, out.Frame = j.GetPlate(), frameOf(j)
	}
	return out
}

func (c *change) refind(before, after map[place]string) {
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
}

type place struct{ kind, key string }

// found is the documents by which a sketch is found: by its car, the labels of that, and as an open one.
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
	if o := s.Opening(j.GetFrame().GetCommitment()); o != nil {
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
