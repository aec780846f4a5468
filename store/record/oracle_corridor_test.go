package record

import (
	"fmt"
	"math"
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// before is what a slow judge could read when an entry came.
func (o *oracle) before(f fact) *oracle {
	return &oracle{genesis: o.genesis, facts: o.facts[:f.i-1], inside: o.inside}
}

// opening is a corridor of a job: its opening and its end, and what was kept.
type opening struct {
	number uint32
	by     fact
	closed uint32 // entry; 0 while it is open
	kept   uint32
}

func (o *oracle) corridors(job uint32) (out []opening) {
	for _, f := range o.facts {
		if f.GetCorridor() != nil && f.GetCorridor().GetJob() == job {
			out = append(out, opening{number: uint32(len(out) + 1), by: f})
		}
		if k := f.GetCorridorClose(); k != nil && k.GetJob() == job {
			out[k.GetCorridor()-1].closed, out[k.GetCorridor()-1].kept = f.i, k.GetKeep()
		}
		if f.GetClose() != nil && f.GetClose().GetJob() == job {
			for i := range out {
				if out[i].closed == 0 {
					out[i].closed = f.i
				}
			}
		}
	}
	return out
}

// covering is the number of the corridor that covers what is submitted after all these entries, and what was
// signed of it; 0 for none.
func (o *oracle) covering(job uint32) (uint32, *recordv1.OpenCorridor) {
	for _, c := range o.corridors(job) {
		if asked := c.by.GetCorridor(); c.closed == 0 && o.covers(job, c, asked) {
			return c.number, asked
		}
	}
	return 0, nil
}

func (o *oracle) covers(job uint32, c opening, asked *recordv1.OpenCorridor) bool {
	released := uint32(0)
	for _, f := range o.facts {
		if by, _ := o.coveredBy(f); by == c.number && f.GetSubmission().GetJob() == job {
			released++
		}
	}
	signer, there := o.people(math.MaxUint32)[o.who(c.by).name]
	said, _, _, definition := o.details(job)
	right := there && signer.key == c.by.key && slices.Contains(signer.roles, "lead") && released < asked.GetMaps() &&
		asked.GetDefinition().GetSha256() == o.newest(false, definition) && asked.GetLimits().GetName() == said.GetLimits().GetName() &&
		asked.GetLimits().GetSha256() == o.newest(true, said.GetLimits().GetName()) &&
		asked.GetFuel() == said.GetFuel() && fmt.Sprint(asked.GetNumbers()) == fmt.Sprint(said.GetNumbers())
	if asked.GetFrom() != 0 {
		start := o.story(job, asked.GetFrom())
		return right && (start.state == "released" || start.state == "in car")
	}
	reads := o.reads(job)
	return right && len(reads) > 0 && reads[0].GetRead().GetImage().GetSha256() == asked.GetFromSha256()
}

// coveredBy is which corridor released a submission when it came, and else why not, if one covered.
func (o *oracle) coveredBy(f fact) (by uint32, why string) {
	sub := f.GetSubmission()
	if sub == nil {
		return 0, ""
	}
	if known, ok := o.inside[f.hash]; ok {
		return known.by, known.why
	}
	then := o.before(f)
	n, asked := then.covering(sub.GetJob())
	switch {
	case n == 0:
	case !slices.Contains(asked.GetAuthors(), o.who(f).name):
		why = "author"
	case slices.Index(severities, sub.GetJudgement().GetVerdict()) > slices.Index(severities, asked.GetMost()):
		why = "verdict"
	case len(sub.GetCorridor().GetOutside()) > 0:
		why = "cells"
	case slices.ContainsFunc(then.stories(sub.GetJob()), func(s story) bool {
		return s.state == "returned" && s.submitted.GetSubmission().GetImage().GetSha256() == sub.GetImage().GetSha256()
	}):
		why = "returned"
	default:
		by = n
	}
	o.inside[f.hash] = covered{by, why}
	return by, why
}

type covered struct {
	by  uint32
	why string
}

// alone are the alarms about releases that have but a closed corridor's yes; taken is what was collected while
// nothing else is known to have been written to its car since.
func (o *oracle) alone(job uint32, taken map[string]bool) map[string]uint32 {
	last, unread := uint32(0), uint32(0) // entry of the last collection; which of them was collected last since a read-back
	for _, f := range o.facts {
		if c := f.GetCollect(); c != nil && c.GetJob() == job {
			last = f.i
		}
	}
	corridors, stories := o.corridors(job), o.stories(job)
	only := map[uint32]opening{}
	for i, s := range stories {
		if s.by != 0 && s.signed.Action == nil && (s.state == "released" || s.state == "in car") && corridors[s.by-1].closed > 0 {
			only[uint32(i+1)] = corridors[s.by-1]
		}
	}
	for _, f := range o.facts {
		if _, one := only[f.GetCollect().GetSubmission()]; one && f.GetCollect().GetJob() == job {
			unread = f.GetCollect().GetSubmission()
		}
		if f.GetReadBack() != nil && f.GetReadBack().GetJob() == job {
			unread = 0
		}
	}
	out := map[string]uint32{}
	for n, c := range only {
		about := fmt.Sprintf("%d.%d", job, n)
		if c.kept == n || taken[about] && (unread == 0 || n == unread) {
			out[fmt.Sprintf("%d %s %s", job, CorridorOnly, about)] = c.closed
		}
	}
	if last > 0 && o.asFoundSince(job, last) {
		out = map[string]uint32{}
	}
	// what was last written, read or read back of the car: a release that was replaced by the one kept
	told, by := o.told(o.car(job))
	if b := told.GetReadBack(); by && b.GetJob() == job && told.i > last && b.GetSubmission() != 0 {
		if s := stories[b.GetSubmission()-1]; s.state == "replaced" && s.by != 0 && corridors[s.by-1].kept != 0 {
			out[fmt.Sprintf("%d %s %d.%d", job, CorridorOnly, job, b.GetSubmission())] = told.i
		}
	}
	return out
}

// told is what told last for certain what is in a car, a read or a read-back; false where a later read-back differs.
func (o *oracle) told(car uint32) (last fact, sure bool) {
	for _, f := range o.facts {
		r, b := f.GetRead(), f.GetReadBack()
		switch {
		case r != nil && o.car(r.GetJob()) == car && slices.ContainsFunc(o.reads(r.GetJob()), func(s readOf) bool { return s.i == f.i }),
			b.GetMatches() && o.car(b.GetJob()) == car:
			last, sure = f, true
		case b.GetImage() != nil && o.car(b.GetJob()) == car:
			sure = false
		}
	}
	return last, sure
}

// asFoundSince says whether a job's car was read or read back as that job found it, after an entry.
func (o *oracle) asFoundSince(job, entry uint32) bool {
	found, car := o.imageOf(job, 0), o.car(job)
	return slices.ContainsFunc(o.facts, func(f fact) bool {
		if r := f.GetRead(); r != nil && f.i > entry && o.car(r.GetJob()) == car {
			standing := slices.ContainsFunc(o.reads(r.GetJob()), func(s readOf) bool { return s.i == f.i })
			return standing && r.GetImage().GetSha256() == found
		}
		b := f.GetReadBack()
		return b.GetMatches() && f.i > entry && o.car(b.GetJob()) == car && o.imageOf(b.GetJob(), b.GetSubmission()) == found
	})
}

// presumedIn is the image of a job that a run in it is about, by its name.
func (o *oracle) presumedIn(job uint32) string {
	car, told, taken, sub, by := o.car(job), uint32(0), uint32(0), uint32(0), job
	for _, f := range o.facts {
		r, b, c := f.GetRead(), f.GetReadBack(), f.GetCollect()
		read := r != nil && o.car(r.GetJob()) == car && slices.ContainsFunc(o.reads(r.GetJob()), func(s readOf) bool { return s.i == f.i })
		if read || b != nil && o.car(b.GetJob()) == car {
			told = f.i
		}
		if c != nil && o.car(c.GetJob()) == car {
			taken, sub, by = f.i, c.GetSubmission(), c.GetJob()
		}
	}
	if taken > told && by != job {
		return "unknown"
	}
	if taken < told || taken == 0 {
		var in, since uint32
		var words string
		text := o.inCar(car)
		if n, _ := fmt.Sscanf(text, "%d.%d %s", &in, &sub, &words); n < 3 || in != job {
			return "unknown"
		}
		fmt.Sscan(text[strings.LastIndex(text, " ")+1:], &since)
		for _, r := range o.reads(job) {
			if sub == 0 && r.i == since {
				return fmt.Sprintf("%d.read%d", job, r.number)
			}
		}
	}
	if sub == 0 {
		return fmt.Sprintf("%d.read%d", job, o.reads(job)[0].number)
	}
	return fmt.Sprintf("%d.%d", job, sub)
}
