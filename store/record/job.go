package record

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// States of a job.
const (
	open   = "open"
	closed = "closed"
)

// job finds job n as the documents have it, which is not the caller's to change; nil where there is none.
func (s *State) job(n uint32) *recordv1.Job {
	if j, ok := s.jobs[n]; ok {
		return j
	}
	j := &recordv1.Job{}
	if n == 0 || n > s.head.GetJobs() || !s.get(docJob, join(n), j) {
		return nil
	}
	s.jobs[n] = j
	return j
}

// jobAt finds the job that an action names.
func (s *State) jobAt(at string, n uint32) (*recordv1.Job, error) {
	if j := s.job(n); j != nil {
		return j, nil
	}
	return nil, refuse(ReasonNotFound, at, "", "%s: there is no job %d; allowed: 1 to %d", at, n, s.head.GetJobs())
}

// jobAsFound finds a job that has its read as found.
func (s *State) jobAsFound(at string, n uint32) (*recordv1.Job, *recordv1.Read, error) {
	j, err := s.jobAt(at, n)
	if err != nil {
		return nil, nil, err
	}
	if r := AsFound(j); r != nil {
		return j, r, nil
	}
	return nil, nil, refuse(ReasonNoRead, at, "", "job %d has no read yet; add one first", n)
}

// AsFound is the first read of a job that is not voided; nil where there is none.
func AsFound(j *recordv1.Job) *recordv1.Read {
	for _, r := range j.GetReads() {
		if r.GetVoided() == nil {
			return r
		}
	}
	return nil
}

// Job finds job n, with all that happened in it, its texts, what is in the car, and its alarms.
func (s *State) Job(n uint32) (*recordv1.Job, bool) {
	j := s.job(n)
	if j == nil {
		return nil, false
	}
	return s.show(j), true
}

func (s *State) show(stored *recordv1.Job) *recordv1.Job {
	j := proto.CloneOf(stored)
	if r := AsFound(j); r != nil {
		r.AsFound = true
	}
	j.Frame = proto.CloneOf(frameOf(j))
	j.InCar = s.InCar(j.GetCar())
	j.Alarms = s.Alarms(j.GetNumber())
	s.reveal(j, j.GetErased() != nil)
	return j
}

// Jobs visits jobs by number, above one; fn must not keep the state.
func (s *State) Jobs(after uint32, fn func(*recordv1.Job) (more bool)) {
	for n := after + 1; n <= s.head.GetJobs() && s.err == nil; n++ {
		if j := s.job(n); j == nil || !fn(s.show(j)) {
			return
		}
		if !s.changed[n] {
			delete(s.jobs, n) // what is walked past is not kept
		}
	}
}

// JobOpenedBy is the job that an entry opened; 0 where it opened none.
func (s *State) JobOpenedBy(index uint64) uint32 {
	for n := s.head.GetJobs(); n > 0; n-- { // the newest first: it is most likely that one
		if entry := uint64(s.job(n).GetOpened().GetEntry()); entry <= index {
			if entry == index {
				return n
			}
			break
		}
	}
	return 0
}

// changeJob lets fn change a job, and keeps everything that follows from it in step: which car it is
// of, its labels, whether it is open, and the alarms of its car's jobs.
func (c *change) changeJob(n uint32, fn func(j *recordv1.Job)) {
	j := c.job(n)
	if j == nil || c.err != nil {
		return
	}
	car, read := j.GetCar(), lastRead(j)
	c.label(j, c.drop)
	fn(j)
	j.Car = carOf(j)
	c.changed[n] = true
	c.label(j, func(kind, key string) { c.putText(kind, key, join(j.GetCar())) })
	if j.GetState() == open {
		c.putText(docOpenJob, join(n), "")
	} else {
		c.drop(docOpenJob, join(n))
	}
	touched := []uint32{n}
	if car != j.GetCar() {
		c.drop(docCarJob, join(car, n))
		c.putText(docCarJob, join(j.GetCar(), n), "")
	}
	if car != j.GetCar() || read != lastRead(j) {
		touched = append(append(touched, c.carJobs(car)...), c.carJobs(j.GetCar())...)
	}
	slices.Sort(touched)
	for _, t := range slices.Compact(touched) {
		c.realarm(t)
	}
}

// label visits the documents by which a job's car is found.
func (s *State) label(j *recordv1.Job, do func(kind, key string)) {
	if o := s.Opening(j.GetPlate().GetCommitment()); o != nil {
		do(docPlate, join(NormalPlate(o.GetText()), j.GetNumber()))
	}
	if o := s.Opening(frameOf(j).GetCommitment()); o != nil {
		do(docFrame, join(o.GetText(), j.GetNumber()))
	}
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

// NormalPlate is what plates are compared by: letters and digits alone, upper case.
func NormalPlate(plate string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			return -1
		}
		return unicode.ToUpper(r)
	}, plate)
}

// NormalFrame is what frame numbers are sealed and compared as: upper case, no blanks and hyphens.
func NormalFrame(frame string) string {
	return strings.NewReplacer(" ", "", "-", "").Replace(strings.ToUpper(frame))
}
