package server

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

var wishes = strings.Fields(strings.Repeat("submit ", 20) + strings.Repeat("sign ", 14) + strings.Repeat("collect ", 16) + strings.Repeat("corridor ", 10) +
	strings.Repeat("corridor_close ", 4) + "return return withdraw void amend amend close close reopen retire retire limits")

// houseLimits caution of more than 2 up and warn of more than 5, or earlier; see severityOf.
func houseLimits(title string, strict bool) []byte {
	more, much := 2, 5
	if strict {
		more, much = 1, 2
	}
	return fmt.Appendf(nil, `name: small-road
title: %s
applies_to: [small]
rules:
  - {id: more, severity: caution, select: {tables: [idle.speed]}, change: {unit: 1/min, max_up: %d}, reason: It rattles., source: test}
  - {id: much, severity: warning, select: {tables: [idle.speed]}, change: {unit: 1/min, max_up: %d}, reason: It rattles., source: test}
`, title, more, much)
}

func addLimits(sha string) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: &recordv1.Revision{Sha256: sha}}}}
}

// houseMap is what is submitted to a small job.
func houseMap(job uint32, up int) []byte {
	out := smallRead(job)
	out[0x11] += byte(up)
	return out
}

// known is what somebody's copy says of a job, and of what it is judged by.
type known struct {
	*recordv1.Job
	limits         *recordv1.Revision
	taken          *recordv1.Submission // where nobody says which
	open, covering bool                 // a corridor
}

func (c *caller) knows(job uint32) (k known) {
	_ = c.View(func(st *record.State) error {
		k.Job, _ = st.Job(job)
		newest, _ := st.Newest(record.Limits, "small-road")
		k.limits = &recordv1.Revision{Name: newest.GetName(), Sha256: newest.GetSha256()}
		k.taken, _ = st.Release(job)
		k.covering = st.Covering(job) != nil
		if n := len(k.GetCorridors()); n > 0 {
			k.open = k.GetCorridors()[n-1].GetState() == "open"
		}
		return nil
	})
	return k
}

// wish draws a step for one of the jobs that everybody is at, and makes the action of it; nil where its own copy
// has nothing to do it to.
func (c *caller) wish(at int) (s step, a *recordv1.Action, openings []*recordv1.Opening) {
	s = step{kind: wishes[c.r.IntN(len(wishes))], who: c.who, job: at + c.r.IntN(jobsAtOne) + 1}
	j := c.knows(uint32(s.job))
	s.limits, s.fuel = j.limits.GetSha256(), j.GetFuel()
	switch {
	case j.Job == nil:
		return s, nil, nil // it knows nothing yet
	case j.GetState() == "closed" && c.r.IntN(2) == 0:
		s.kind = "reopen"
	case j.open && s.kind == "corridor" && c.r.IntN(4) > 0:
		s.kind = "corridor_close"
		if j.covering {
			s.kind = "submit"
		}
	}
	job := j.GetNumber()
	switch s.kind {
	case "submit":
		s.up = 1 + c.r.IntN(1+c.r.IntN(7))
		a, openings = c.submit(job, houseMap(job, s.up))
	case "sign", "return", "withdraw", "collect":
		a = c.aboutOne(&s, j)
	case "corridor":
		a = c.opens(&s, j)
	case "corridor_close":
		a = c.closes(&s, j)
	case "void":
		a = &recordv1.Action{Body: &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: job, Read: 1, Because: "the wrong car"}}}
	case "amend":
		s.fuel = []string{j.GetFuel(), j.GetFuel(), "", "98 RON"}[c.r.IntN(4)]
		d := &recordv1.JobDetails{Plate: &recordv1.Sealed{Commitment: j.GetPlate().GetCommitment()}, Frame: &recordv1.Sealed{Commitment: j.GetFrame().GetCommitment()},
			Limits: j.limits, Fuel: s.fuel, Parts: []string{fmt.Sprint("wheel ", c.r.IntN(1000))}}
		a = &recordv1.Action{Body: &recordv1.Action_Amend{Amend: &recordv1.AmendJob{Job: job, Details: d}}}
	case "close":
		a = closing(job)
	case "reopen":
		a = &recordv1.Action{Body: &recordv1.Action_Reopen{Reopen: &recordv1.ReopenJob{Job: job, Because: "another day"}}}
	case "retire":
		a = c.retires(&s, j)
	case "limits":
		s.job, s.strict = 0, c.r.IntN(2) == 0
		s.limits = c.have(houseLimits(fmt.Sprint("as of ", c.r.Uint64()), s.strict))
		a = addLimits(s.limits)
	}
	return s, a, openings
}

// aboutOne is a step about one submission.
func (c *caller) aboutOne(s *step, j known) *recordv1.Action {
	subs := j.GetSubmissions()
	if len(subs) == 0 {
		return nil
	}
	s.sub = c.likely(s.kind, subs)
	if s.kind == "collect" && j.taken != nil && c.r.IntN(2) == 0 {
		s.sub = int(j.taken.GetNumber())
	}
	job, n, sha := j.GetNumber(), uint32(s.sub), subs[s.sub-1].GetImage().GetSha256()
	switch s.kind {
	case "sign":
		return &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: &recordv1.SignOff{Job: job, Submission: n, ImageSha256: sha, Reason: "fits the parts"}}}
	case "return":
		return &recordv1.Action{Body: &recordv1.Action_Return{Return: &recordv1.Return{Job: job, Submission: n, ImageSha256: sha, Reason: "too lean"}}}
	case "withdraw":
		if subs[n-1].GetSubmitted().GetPerson() != c.who {
			return nil
		}
		return &recordv1.Action{Body: &recordv1.Action_Withdraw{Withdraw: &recordv1.Withdraw{Job: job, Submission: n}}}
	}
	return c.collect(job, n, sha)
}

// likely is a submission that the step is mostly right for.
func (c *caller) likely(kind string, subs []*recordv1.Submission) int {
	want := map[string]string{"sign": record.Waiting, "withdraw": record.Waiting, "collect": record.Released, "return": record.Released}[kind]
	byCorridor := kind == "sign" && c.r.IntN(3) == 0
	for i, sub := range slices.Backward(subs) {
		right := sub.GetState() == want
		if byCorridor {
			right = sub.GetByCorridor() > 0 && sub.GetSignOff() == nil
		}
		if own := sub.GetSubmitted().GetPerson() == c.who; right && own == (kind == "withdraw") && c.r.IntN(5) > 0 {
			return i + 1
		}
	}
	return 1 + c.r.IntN(len(subs))
}

// opens a corridor for some of those that its copy knows not to be retired.
func (c *caller) opens(s *step, j known) *recordv1.Action {
	found := record.AsFound(j.Job).GetImage().GetSha256()
	if subs := j.GetSubmissions(); len(subs) > 0 && c.r.IntN(3) == 0 {
		s.from = c.likely("collect", subs)
		found = subs[s.from-1].GetImage().GetSha256()
	}
	for n := range 2 * callers {
		_ = c.View(func(st *record.State) error {
			if p, _ := st.Person(staff(n)); !p.GetRetired() && staff(n) != c.who && c.r.IntN(4) > 0 {
				s.authors = append(s.authors, staff(n))
			}
			return nil
		})
	}
	slices.Sort(s.authors)
	if len(s.authors) == 0 || c.r.IntN(20) == 0 {
		s.authors = []string{c.who}
	}
	s.up, s.maps, s.most = 1+c.r.IntN(7), 1+c.r.IntN(4), []string{"notice", "caution", "caution"}[c.r.IntN(3)]
	return c.corridor(*s, j.Job, found, j.limits)
}

// corridor is the action that opens the one that a step tells.
func (b *bench) corridor(s step, j *recordv1.Job, start string, limits *recordv1.Revision) *recordv1.Action {
	far := strconv.Itoa(s.up)
	return &recordv1.Action{Body: &recordv1.Action_Corridor{Corridor: &recordv1.OpenCorridor{
		Job: j.GetNumber(), From: uint32(s.from), FromSha256: start, Authors: s.authors, Most: s.most, Maps: uint32(s.maps),
		Tables: []*recordv1.CorridorTable{{Table: "idle.speed", Up: far, Down: far}}, Definition: j.GetDefinition(), Limits: limits, Fuel: j.GetFuel(), Numbers: j.GetNumbers(),
	}}}
}

// closes the last corridor, or one before it; something is kept or not.
func (c *caller) closes(s *step, j known) *recordv1.Action {
	n := len(j.GetCorridors())
	if n == 0 {
		return nil
	}
	s.corridor = max(1, n-c.r.IntN(4)/3)
	if subs := j.GetSubmissions(); len(subs) > 0 && c.r.IntN(3) > 0 {
		s.keep = 1 + c.r.IntN(len(subs))
		for _, sub := range subs {
			if sub.GetByCorridor() == uint32(s.corridor) && sub.GetCollected() && c.r.IntN(4) > 0 {
				s.keep = int(sub.GetNumber())
			}
		}
	}
	return closingCorridor(j.GetNumber(), uint32(s.corridor), uint32(s.keep))
}

func closingCorridor(job, n, keep uint32) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_CorridorClose{CorridorClose: &recordv1.CloseCorridor{Job: job, Corridor: n, Keep: keep, Because: "enough"}}}
}

// retires somebody now and then, half the time whoever signed the last corridor.
func (c *caller) retires(s *step, j known) *recordv1.Action {
	if c.r.IntN(3) > 0 {
		return nil
	}
	s.about, s.job, s.compromised = staff(c.r.IntN(callers)), 0, c.r.IntN(2) == 0
	if n := len(j.GetCorridors()); n > 0 && c.r.IntN(2) == 0 {
		s.about = j.GetCorridors()[n-1].GetOpened().GetPerson()
	}
	return &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: s.about, Compromised: s.compromised}}}
}

// claimed adds to a step what was computed for it, and to its action the reasons that this asks for.
func (s *step) claimed(a *recordv1.Action) {
	s.claim = int(a.GetSubmission().GetCorridor().GetCorridor())
	for _, w := range a.GetLimits().GetJudgedWorse() {
		s.worse = append(s.worse, fmt.Sprintf("%d.%d", w.GetJob(), w.GetSubmission()))
	}
	if so := a.GetSignOff(); so != nil {
		so.Because = map[string]string{}
		for _, key := range so.GetJudgement().GetWarnings() {
			so.Because[key] = "seen on the rolling road"
		}
	}
}
