package record

import (
	"slices"
	"strconv"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// CarsByPlate are the cars that have or had a plate, that of the newest job first.
func (s *State) CarsByPlate(plate string) []uint32 { return s.carsBy(docPlate, NormalPlate(plate)) }

// CarsByFrame are the cars with a frame number, that of the newest job first; as a rule one.
func (s *State) CarsByFrame(frame string) []uint32 { return s.carsBy(docFrame, NormalFrame(frame)) }

func (s *State) carsBy(kind, text string) (out []uint32) {
	if text == "" {
		return nil
	}
	s.scan(kind, under(text), "", func(_ string, car []byte) bool {
		out = append(out, number(string(car)))
		return true
	})
	slices.Reverse(out)
	seen := map[uint32]bool{}
	return slices.DeleteFunc(out, func(car uint32) bool {
		was := seen[car]
		seen[car] = true
		return was
	})
}

func number(text string) uint32 {
	n, _ := strconv.ParseUint(text, 10, 32) // keys are made by join
	return uint32(n)
}

// carJobs are the numbers of a car's jobs, oldest first.
func (s *State) carJobs(car uint32) (out []uint32) {
	for _, key := range s.keys(docCarJob, under(car)) {
		out = append(out, number(key))
	}
	return out
}

// CarJobs are a car's jobs, oldest first.
func (s *State) CarJobs(car uint32) (out []*recordv1.Job) {
	for _, n := range s.carJobs(car) {
		if j, ok := s.Job(n); ok {
			out = append(out, j)
		}
	}
	return out
}

// InCar is what the ledger says is in a car: the latest of a read, a read-back, and a writing that
// could not be read back. Its image is the one read, or the one written; after a read-back that
// differs it is not known until it was read or read back again, nor once that image was erased. Nil where the car was never read.
func (s *State) InCar(car uint32) (in *recordv1.InCar) {
	var said []*recordv1.InCar
	for _, n := range s.carJobs(car) {
		said = append(said, saidIn(s.job(n))...)
	}
	slices.SortFunc(said, func(a, b *recordv1.InCar) int { return int(a.GetSince().GetEntry()) - int(b.GetSince().GetEntry()) })
	for _, next := range said {
		if guess := next.GetKnownBy() == writtenOnly; !guess || in.GetKnown() {
			in = next
		}
	}
	if in != nil && !s.get(docImage, in.GetImageSha256(), &recordv1.Image{}) {
		in.Known = false
	}
	return in
}

const writtenOnly = "written, not read back"

// saidIn is what a job said is in its car, each time that it said something.
func saidIn(j *recordv1.Job) (out []*recordv1.InCar) {
	for _, r := range j.GetReads() {
		if r.GetVoided() != nil {
			continue
		}
		in := &recordv1.InCar{Known: true, Job: j.GetNumber(), ImageSha256: r.GetImage().GetSha256(), KnownBy: "read", Since: r.GetAdded()}
		if last := r.GetLastKnown(); last.GetSame() && last.GetJob() == j.GetNumber() {
			in.Submission = last.GetSubmission() // read again in the same job, and unchanged: still that one
		}
		out = append(out, in)
	}
	for _, b := range j.GetReadBacks() {
		in := &recordv1.InCar{Known: true, Job: j.GetNumber(), Submission: b.GetSubmission(), KnownBy: "read-back", Since: b.GetAdded()}
		in.ImageSha256 = writtenImage(j, b.GetSubmission())
		switch {
		case b.GetNotPossible() != "":
			in.KnownBy = writtenOnly
		case !b.GetMatches():
			in.Known, in.ImageSha256 = false, b.GetImage().GetSha256()
		}
		out = append(out, in)
	}
	return out
}

// writtenImage is the image that a collection took: of a submission, or of the read as found.
func writtenImage(j *recordv1.Job, sub uint32) string {
	if s := SubmissionOf(j, sub); s != nil {
		return s.GetImage().GetSha256()
	}
	return AsFound(j).GetImage().GetSha256()
}

// lastRead is the entry of a job's newest read that is not voided.
func lastRead(j *recordv1.Job) (entry uint32) {
	for _, r := range j.GetReads() {
		if r.GetVoided() == nil {
			entry = r.GetAdded().GetEntry()
		}
	}
	return entry
}

// CarHistory is everything that happened to a car, in ledger order; no events where it is unknown.
// Which tables a submission changed is in its report, not here.
func (s *State) CarHistory(car uint32) *recordv1.CarHistory {
	h := &recordv1.CarHistory{Car: car, InCar: s.InCar(car)}
	for _, n := range s.carJobs(car) {
		h.Plate = s.show(s.job(n)).GetPlate()
		s.scan(docEvent, under(n), "", func(key string, value []byte) bool {
			e := &recordv1.CarEvent{}
			if s.decode(docEvent, key, value, e) {
				h.Events = append(h.Events, e)
			}
			return true
		})
	}
	slices.SortStableFunc(h.Events, func(a, b *recordv1.CarEvent) int {
		return int(a.GetEvent().GetEntry()) - int(b.GetEvent().GetEntry())
	})
	return h
}

// Image finds an image of the record by its hash, as it was first met.
func (s *State) Image(sha256 string) (*recordv1.Image, bool) {
	im := &recordv1.Image{}
	ok := s.get(docImage, sha256, im)
	return im, ok
}
