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
	was := sketchOf(j)
	fn(j)
	j.Car = carOf(j)
	c.changed[n] = true
	if now := sketchOf(j); was != now {
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
type sketch struct {
	number, car         uint32
	state, plate, frame string // the labels by their commitments
}

func sketchOf(j *recordv1.Job) sketch {
	out := sketch{number: j.GetNumber(), car: j.GetCar(), state: j.GetState()}
	if j.GetErased() == nil {
		out.plate, out.frame = j.GetPlate().GetCommitment(), frameOf(j).GetCommitment()
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
func (s *State) found(j sketch) map[place]string {
	if j.state == "" {
		return nil // it is only being opened
	}
	out := map[place]string{{docCarJob, join(j.car, j.number)}: ""}
	if j.state == open {
		out[place{docOpenJob, join(j.number)}] = ""
	}
	if o := s.Opening(j.plate); o != nil {
		out[place{docPlate, join(NormalPlate(o.GetText()), j.number)}] = join(j.car)
	}
	if o := s.Opening(j.frame); o != nil {
		out[place{docFrame, join(o.GetText(), j.number)}] = join(j.car)
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
