package record

import (
	"math/bits"
	"slices"

	"witnessmark/store/signoff"
	"witnessmark/tables/severity"
)

// Query is which jobs are looked for, and in which order. What is left out asks for nothing.
type Query struct {
	// Words must each begin a word of what the job says, in lower case as Words gives them.
	Words []string
	// State is open or closed.
	State string
	Cars  []uint32
	// Person did something in it.
	Person string
	// Submission and Verdict are the state and the verdict of one of its submissions, by the newest revisions.
	Submission, Verdict string
	Definition          string
	// Since and Until bound the day on which it was opened, by the server's clock in UTC: 2026-11-27. Both are included.
	Since, Until string
	Sort         string
}

// The orders of a list. By worst, the verdict of what waits or is released comes first, and then the newest.
const (
	Newest = "newest"
	Oldest = "oldest"
	Worst  = "worst"
)

// states are those of a submission.
var states = []string{Waiting, Returned, Withdrawn, Replaced, Released, InCar}

// Check refuses what nothing can be found by.
func (q Query) Check() error {
	for _, c := range []struct {
		at, word string
		allowed  []string
	}{
		{"state", q.Submission, states}, {"verdict", q.Verdict, severity.Words()},
		{"sort", q.Sort, []string{Newest, Oldest, Worst}}, {"job", q.State, []string{open, closed}},
	} {
		if c.word != "" {
			if err := checkOneOf(c.at, c.word, c.allowed...); err != nil {
				return err
			}
		}
	}
	for _, day := range []struct{ at, text string }{{"since", q.Since}, {"until", q.Until}} {
		if day.text != "" && checkTime(day.at, day.text+"T00:00:00Z") != nil {
			return badValue(day.at, "a day, such as 2026-11-27", "is %q", short(day.text))
		}
	}
	return nil
}

// Find is the numbers of all jobs that are looked for, in order. It reads no job.
func (s *State) Find(q Query) (out []uint32) {
	set := s.noJobs()
	for n := uint32(1); n <= s.head.GetJobs(); n++ {
		set.add(n)
	}
	for _, word := range q.Words {
		set.meet(s.withWord(word))
	}
	if q.State != "" {
		set.meet(s.marked(markState, q.State))
	}
	if q.Person != "" {
		set.meet(s.marked(markPerson, signoff.FoldName(q.Person)))
	}
	if q.Definition != "" {
		set.meet(s.marked(markDefinition, q.Definition))
	}
	if q.Cars != nil {
		set.meet(s.ofCars(q.Cars))
	}
	if q.Submission != "" || q.Verdict != "" {
		set.meet(s.withSubmission(q.Submission, q.Verdict))
	}
	if q.Since != "" || q.Until != "" {
		days := s.noJobs()
		last := "\x01"
		if q.Until != "" {
			last = "\x00" + q.Until + "\x01"
		}
		s.mark(days, join(markOpened, q.Since), markOpened+last)
		set.meet(days)
	}
	return s.inOrder(set, q.Sort)
}

func (s *State) withWord(begin string) jobSet {
	if first(begin, begins) == begin {
		return s.marked(markBegin, begin)
	}
	set := s.noJobs()
	s.mark(set, join(markWord, begin), join(markWord, begin)+"\U0010ffff")
	return set
}

func (s *State) ofCars(cars []uint32) jobSet {
	set := s.noJobs()
	for _, car := range cars {
		for _, n := range s.carJobs(car) {
			set.add(n)
		}
	}
	return set
}

// withSubmission are the jobs one of whose submissions is both.
func (s *State) withSubmission(state, verdict string) jobSet {
	set := s.noJobs()
	for _, st := range states {
		if state != "" && state != st {
			continue
		}
		if verdict == "" {
			set.join(s.marked(markSubmission, st))
		} else {
			set.join(s.marked(markSubmission, st, verdict))
		}
	}
	return set
}

func (s *State) inOrder(set jobSet, sort string) (out []uint32) {
	if sort == Worst {
		words := append([]string{""}, severity.Words()...)
		for _, verdict := range slices.Backward(words) {
			level := s.marked(markWorst, verdict)
			level.meet(set)
			out = append(out, s.inOrder(level, Newest)...)
		}
		return out
	}
	for i, word := range set {
		for ; word != 0; word &= word - 1 {
			out = append(out, uint32(i*64+bits.TrailingZeros64(word)))
		}
	}
	if sort != Oldest {
		slices.Reverse(out)
	}
	return out
}
