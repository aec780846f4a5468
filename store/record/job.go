package record

import (
	"maps"
	"sort"
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
	if c := OpenIn(j); c != nil {
		c.Ended = s.Ended(j, c)
	}
	s.reveal(j, j.GetErased() != nil)
	return j
}

// Plate is the plate of job n, as it is shown.
func (s *State) Plate(n uint32) *recordv1.Text {
	j := s.job(n)
	plate := proto.CloneOf(j.GetPlate())
	s.reveal(plate, j.GetErased() != nil)
	return plate
}

// Listed finds job n as a list needs it: of its texts the plate alone, its alarms, and not what is in the car.
func (s *State) Listed(n uint32) (*recordv1.Job, bool) {
	j := proto.CloneOf(s.job(n))
	if j != nil {
		j.Plate, j.Alarms = s.Plate(n), s.Alarms(n)
	}
	return j, j != nil
}

// Jobs visits jobs by number, above one; fn must not keep the state.
func (s *State) Jobs(after uint32, fn func(*recordv1.Job) (more bool)) {
	for n := after + 1; n <= s.head.GetJobs() && s.visit(n, fn); n++ {
	}
}

// OpenJobs visits the open ones alone, in the same way.
func (s *State) OpenJobs(fn func(*recordv1.Job) (more bool)) {
	for _, n := range s.keys(docOpenJob, "") {
		if !s.visit(number(n), fn) {
			return
		}
	}
}

func (s *State) visit(n uint32, fn func(*recordv1.Job) bool) (more bool) {
	j := s.job(n)
	more = j != nil && s.err == nil && fn(s.show(j))
	maps.DeleteFunc(s.jobs, func(n uint32, _ *recordv1.Job) bool { return !s.changed[n] }) // what is walked past is not kept
	return more
}

// JobOpenedBy is the job that an entry opened; 0 where it opened none.
func (s *State) JobOpenedBy(index uint64) uint32 {
	opened := func(n int) uint64 { return uint64(s.job(uint32(n + 1)).GetOpened().GetEntry()) }
	jobs := int(s.head.GetJobs())
	if n := sort.Search(jobs, func(n int) bool { return opened(n) >= index }); n < jobs && opened(n) == index {
		return uint32(n + 1)
	}
	return 0
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
	return withoutGaps.Replace(strings.ToUpper(frame))
}

var withoutGaps = strings.NewReplacer(" ", "", "-", "")
