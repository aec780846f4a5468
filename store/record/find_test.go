package record

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
	"witnessmark/tables/severity"
)

// finds is Find as somebody does it who reads every job.
func finds(j *recordv1.Job, q Query) bool {
	said := texts(j, (*recordv1.Text).GetText)
	for _, word := range q.Words {
		if !slices.ContainsFunc(said, func(s Said) bool { return s.Has(word) }) {
			return false
		}
	}
	sub := q.Submission == "" && q.Verdict == "" || slices.ContainsFunc(j.GetSubmissions(), func(s *recordv1.Submission) bool {
		return (q.Submission == "" || s.GetState() == q.Submission) && (q.Verdict == "" || Verdict(s) == q.Verdict)
	})
	person := q.Person == ""
	own := proto.CloneOf(j)
	own.InCar, own.Alarms = nil, nil // what is in its car may be another job's doing
	walk(own.ProtoReflect(), func(e *recordv1.Event) {
		person = person || signoff.FoldName(e.GetPerson()) == signoff.FoldName(q.Person)
	})
	day := j.GetOpened().GetAdmittedAt()[:10]
	return sub && person && (q.State == "" || j.GetState() == q.State) && (q.Definition == "" || j.GetDefinition().GetName() == q.Definition) &&
		(q.Cars == nil || slices.Contains(q.Cars, j.GetCar())) && (q.Since == "" || day >= q.Since) && (q.Until == "" || day <= q.Until)
}

// badness is the worst verdict of what waits or is released; -1 for none.
func badness(j *recordv1.Job) int {
	rank := -1
	for _, s := range j.GetSubmissions() {
		if s.GetState() == Waiting || IsRelease(s) {
			rank = max(rank, severity.Of(Verdict(s)).Rank())
		}
	}
	return rank
}

// compareLists holds lists, and what waits, to the jobs themselves.
func (w *wanderer) compareLists() {
	t := w.h.t
	t.Helper()
	w.h.view(func(s *State) {
		var jobs []*recordv1.Job
		var words []string
		waits := 0
		s.Jobs(0, func(j *recordv1.Job) bool {
			jobs = append(jobs, j)
			for _, said := range s.Texts(j.GetNumber()) {
				words = append(words, Words(said.Text)...)
			}
			waits += len(WaitsOf(j))
			return true
		})
		for range 60 {
			q := Query{Sort: pick(w, "", Newest, Oldest, Worst)}
			for range w.IntN(3) {
				word := pick(w, words...)
				q.Words = append(q.Words, string([]rune(word)[:1+w.IntN(len([]rune(word)))]))
			}
			maybe := func(at *string, from ...string) {
				if w.chance(25) {
					*at = pick(w, from...)
				}
			}
			maybe(&q.State, open, closed)
			maybe(&q.Person, "L", "c", "M", "nobody")
			maybe(&q.Submission, states...)
			maybe(&q.Verdict, severity.Words()...)
			maybe(&q.Definition, "d", "other")
			maybe(&q.Since, "2026-05-01", "2026-05-02")
			maybe(&q.Until, "2026-04-30", "2026-05-01", "2027-01-01")
			if w.chance(25) {
				q.Cars = []uint32{1, uint32(w.IntN(4))}
			}
			var want []uint32
			for _, j := range jobs {
				if finds(j, q) {
					want = append(want, j.GetNumber())
				}
			}
			slices.SortFunc(want, func(a, b uint32) int {
				worst := cmp.Compare(badness(jobs[b-1]), badness(jobs[a-1]))
				switch q.Sort {
				case Oldest:
					return cmp.Compare(a, b)
				case Worst:
					return cmp.Or(worst, cmp.Compare(b, a))
				}
				return cmp.Compare(b, a)
			})
			if got := s.Find(q); !slices.Equal(got, want) {
				t.Fatalf("%+v finds %v, want %v", q, got, want)
			}
		}
		before := -1
		s.Waits(func(wait Wait) bool {
			waits--
			rank := -severity.Of(cmp.Or(wait.Verdict, "clear")).Rank()
			if wait.Verdict == "" {
				rank = 1
			}
			if j := jobs[wait.Of.Job-1]; !slices.Contains(WaitsOf(j), wait) || rank < before && before != -1 {
				t.Fatalf("%v is not what job %d waits for, or comes after what is less bad", wait, wait.Of.Job)
			}
			before = rank
			return true
		})
		if waits != 0 {
			t.Fatalf("%d waits are missing", waits)
		}
	})
}

// What is amended or erased is found no more, however the words are written.
func TestFoundByWords(t *testing.T) {
	h := newHistory(t, false).script(oneJob)
	find := func(text string, want ...uint32) {
		t.Helper()
		h.view(func(s *State) {
			if got := s.Find(Query{Words: Words(text), Sort: Oldest}); !slices.Equal(got, want) {
				t.Errorf("%q finds %v, want %v", text, got, want)
			}
		})
	}
	h.script("T opens B-HC-12 note=Hügel-Auto,larger")
	n := look(h, func(s *State) uint32 { return s.head.GetJobs() })
	for _, text := range []string{"b-hc-12", "BHC12", "hc12", "12", "bhc-1", "hügel", "AUTO", "larg hc"} {
		find(text, n)
	}
	for _, text := range []string{"ügel", "arger", "bhc123", "hc 12 smaller"} {
		find(text)
	}
	find("", func() (all []uint32) {
		for i := uint32(1); i <= n; i++ {
			all = append(all, i)
		}
		return all
	}()...)
	h.script(fmt.Sprintf("T amends %d B-HC-13\nC notes %d knocks-at-full-load", n, n))
	find("bhc12")
	find("bhc13", n)
	find("knocks", n)
	h.script(fmt.Sprintf("T closes %d done\nL erases %d", n, n))
	for _, text := range []string{"bhc13", "knocks", "hügel"} {
		find(text)
	}
	for key, value := range documents(t, h.engine) {
		if holds := strings.ToLower(key + value); strings.Contains(holds, "knocks") || strings.Contains(holds, "bhc13") {
			t.Errorf("%s still says it", key)
		}
	}
	replays(t, h)
}

// The documents of marks have places for 256 jobs each.
func TestFoundAmongMany(t *testing.T) {
	h := newHistory(t, false).script(staff)
	for n := 1; n <= 600; n++ {
		h.script(fmt.Sprintf("T opens CAR-%d", n))
		if n%100 == 0 {
			h.script(fmt.Sprintf("T closes %d cancelled", n))
		}
	}
	h.view(func(s *State) {
		if got := s.Find(Query{State: closed}); !slices.Equal(got, []uint32{600, 500, 400, 300, 200, 100}) {
			t.Errorf("closed: %v", got)
		}
		if got := s.Find(Query{Words: []string{"car256"}}); !slices.Equal(got, []uint32{256}) {
			t.Errorf("CAR-256: %v", got)
		}
		if got := s.Find(Query{State: open}); len(got) != 594 || got[0] != 599 {
			t.Errorf("open: %d", len(got))
		}
	})
}
