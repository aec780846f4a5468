package record

import (
	"fmt"
	"strconv"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// notReadBack says what is not read back: of an open corridor's releases, all that were collected since
// something was read back last, one alarm for the whole.
func notReadBack(j *recordv1.Job, last *recordv1.Collection) string {
	by := OpenIn(j)
	if by == nil || SubmissionOf(j, last.GetSubmission()).GetByCorridor() != by.GetNumber() {
		return written(j.GetNumber(), last.GetSubmission()) + " was collected and not read back"
	}
	files := map[uint32]bool{}
	for _, taken := range sinceReadBack(j) {
		if sub := SubmissionOf(j, taken.GetSubmission()); sub.GetByCorridor() == by.GetNumber() {
			files[sub.GetNumber()] = true
		}
	}
	words := "1 file of corridor %d was collected and not read back, %s"
	if len(files) > 1 {
		words = strconv.Itoa(len(files)) + " files of corridor %d were collected and not read back, %s last"
	}
	return fmt.Sprintf(words+"; the one that stays is read back before the car leaves", by.GetNumber(), imageOf(j, last.GetSubmission()))
}

// replacedIn is what a car is known to have where another was kept in its place; nil for none.
func replacedIn(j *recordv1.Job, car []*recordv1.Job) *recordv1.Submission {
	back := lastReadBack(j)
	sub := SubmissionOf(j, back.GetSubmission())
	if sub.GetState() != Replaced || CorridorOf(j, sub.GetByCorridor()).GetKept() == 0 || !back.GetMatches() || ToBeReadBack(j) != nil || lastKnown(car) != back.GetAdded().GetEntry() {
		return nil
	}
	return sub
}

// corridorsAlone are the releases of closed corridors that nobody signed since, and that stay or may be in the
// car. Of those that were collected since something was read back, the last stands for all that may be in it.
func corridorsAlone(j *recordv1.Job, car []*recordv1.Job) (out []*recordv1.Submission) {
	if len(j.GetCorridors()) == 0 || backAsFound(j, car) {
		return nil
	}
	alone := func(sub *recordv1.Submission) bool {
		return onlyCorridor(sub) && CorridorOf(j, sub.GetByCorridor()).GetState() == closed
	}
	var last *recordv1.Submission
	for _, taken := range sinceReadBack(j) {
		if sub := SubmissionOf(j, taken.GetSubmission()); alone(sub) {
			last = sub
		}
	}
	for _, sub := range j.GetSubmissions() {
		if !alone(sub) {
			continue
		}
		in := (last == sub || last == nil) && mayBeIn(car, sub)
		if in || CorridorOf(j, sub.GetByCorridor()).GetKept() == sub.GetNumber() {
			out = append(out, sub)
		}
	}
	return out
}

// backAsFound says whether a car is known to be as it was found in a job since the last collection of that.
func backAsFound(j *recordv1.Job, car []*recordv1.Job) bool {
	list := j.GetCollections()
	if len(list) == 0 {
		return false
	}
	found, last := AsFound(j).GetImage().GetSha256(), list[len(list)-1].GetCollected().GetEntry()
	for _, other := range car {
		for _, in := range saidIn(other) {
			if in.GetSince().GetEntry() > last && in.GetKnown() && in.GetKnownBy() != writtenOnly && in.GetImageSha256() == found {
				return true
			}
		}
	}
	return false
}
