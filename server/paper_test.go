package server

import (
	"fmt"
	"maps"
	"reflect"
	"slices"

	"github.com/anishathalye/porcupine"

	"witnessmark/store/claims"
	"witnessmark/store/record"
)

// step is one action as a caller asks for it: on is the entry that it acts on, as its copy had it.
type step struct {
	kind, who, about string // about whom, of a retirement
	job, sub, on     int
	compromised      bool
	limits, fuel     string // that it is by, or that it brings

	up    int // of a submission, by how much; of a corridor, how far up or down
	claim int // of a submission, the corridor that it speaks of

	corridor, from, maps, keep int
	most                       string
	authors                    []string

	strict bool     // limits that warn of more
	worse  []string // what they are said to judge worse
}

// answered is the entry that a step became, or the reason why it was refused. Of a submission it says which corridor
// released it, or why the one that covered did not.
type answered struct {
	index  int
	reason string
	by     int
	why    string
}

// floor is a workshop as somebody would keep it on paper: what was done, and nothing of how it is stored. It is
// never changed, only copied.
type floor struct {
	last     int // entry
	gone     map[string]bool
	named    map[string]int // the last entry about a person
	jobs     []jobOnPaper
	limits   string
	limitsAt int // entry
	strict   bool
}

type jobOnPaper struct {
	open         bool
	latest, read int // entries; no read: 0
	lastTaken    int // entry of the last collection, and what it was
	lastSub      int
	fuel         string
	subs         []subOnPaper
	corridors    []corridorOnPaper
}

type subOnPaper struct {
	state, author, signer string
	latest, yes           int // entries
	up                    int
	sev, signed           int // when it came, and when it was signed
	plain, worse          bool
	collected             bool
	by                    int
	why                   string
}

type corridorOnPaper struct {
	open           bool
	asked          step
	opened, start  int // entry; by how much it starts above the read
	released, kept int
	limits, fuel   string
}

func (f floor) copied() floor {
	f.gone, f.named, f.jobs = maps.Clone(f.gone), maps.Clone(f.named), slices.Clone(f.jobs)
	for i := range f.jobs {
		f.jobs[i].subs, f.jobs[i].corridors = slices.Clone(f.jobs[i].subs), slices.Clone(f.jobs[i].corridors)
	}
	return f
}

// How bad a change upwards is, as the limits of a house have it: see houseLimits.
const (
	fine = iota
	aCaution
	aWarning
)

func severityOf(up int, strict bool) int {
	switch {
	case up > 5, strict && up > 2:
		return aWarning
	case up > 2, strict && up > 1:
		return aCaution
	}
	return fine
}

func (s subOnPaper) release() bool { return s.state == record.Released }

// stands is how bad it was when somebody said yes to it.
func (s subOnPaper) stands() int {
	if s.plain {
		return s.signed
	}
	return s.sev
}

func (s subOnPaper) corridorOnly() bool { return s.release() && s.by > 0 && !s.plain }

// covering is the number of the corridor that covers what is submitted now; 0 for none.
func (f floor) covering(j jobOnPaper) int {
	n := len(j.corridors)
	if n == 0 {
		return 0
	}
	c := j.corridors[n-1]
	start := j.read > 0
	if c.asked.from > 0 {
		start = j.subs[c.asked.from-1].release()
	}
	if c.open && start && c.released < c.asked.maps && !f.gone[c.asked.who] && c.limits == f.limits && c.fuel == j.fuel {
		return n
	}
	return 0
}

// covers says why a corridor of a job does not cover a submission; empty if it does.
func (j jobOnPaper) covers(c corridorOnPaper, s step, sev int) string {
	far := s.up - c.start
	switch {
	case !slices.Contains(c.asked.authors, s.who):
		return "author"
	case sev == aWarning, sev == aCaution && c.asked.most != "caution":
		return "verdict"
	case far > c.asked.up, -far > c.asked.up:
		return "cells"
	case slices.ContainsFunc(j.subs, func(sub subOnPaper) bool { return sub.state == record.Returned && sub.up == s.up }):
		return "returned"
	}
	return ""
}

// judgedWorse is what waits and what was released in open jobs, as far as other limits find more in it.
func (f floor) judgedWorse(strict bool) (out []string) {
	for i, j := range f.jobs {
		for k, sub := range j.subs {
			stood := sub.sev
			if sub.release() {
				stood = sub.stands()
			}
			if j.open && (sub.release() || sub.state == record.Waiting) && severityOf(sub.up, strict) > stood {
				out = append(out, fmt.Sprintf("%d.%d", i+1, k+1))
			}
		}
	}
	return out
}

// taken is what is collected of a job where nobody says which; 0 for nothing, or for several.
func (j jobOnPaper) taken() (newest int) {
	authors := map[string]bool{}
	for i, sub := range j.subs {
		if sub.release() {
			newest, authors[sub.author] = i+1, true
		}
	}
	if newest > 0 && j.subs[newest-1].by == 0 && len(authors) > 1 {
		return 0
	}
	return newest
}

// verdict is why a step is refused, by the rules of the house; empty if it is not.
func (f floor) verdict(s step) string {
	switch {
	case f.gone[s.who]:
		return record.ReasonRetired
	case s.kind == "retire" && f.gone[s.about]:
		return record.ReasonNoChange
	case s.kind == "retire":
		return late(f.named[s.about], s)
	case s.kind == "limits" && (f.limitsAt != s.on || slices.Equal(f.judgedWorse(s.strict), s.worse)):
		return late(f.limitsAt, s)
	case s.kind == "limits":
		return claims.ReasonClaim
	}
	j := f.jobs[s.job-1]
	if !j.open && s.kind != "return" && s.kind != "reopen" {
		return record.ReasonClosed
	}
	if s.sub > len(j.subs) || s.corridor > len(j.corridors) { // not yet
		return record.ReasonNotFound
	}
	why, want := f.inJob(j, s)
	if why != "" {
		return why
	}
	return late(want, s)
}

// late is the reason of a step that acts on an older entry than it would now.
func late(want int, s step) string {
	if want != s.on {
		return record.ReasonActsOn
	}
	return ""
}

// inJob is why a step in a job is refused, and what it has to act on if it is not.
func (f floor) inJob(j jobOnPaper, s step) (why string, want int) {
	var sub subOnPaper
	if s.sub > 0 {
		sub = j.subs[s.sub-1]
	}
	waits := sub.state == record.Waiting
	switch s.kind {
	case "submit":
		return f.maySubmit(j, s), j.read
	case "sign":
		return f.maySign(j, sub, s), sub.latest
	case "collect":
		return f.mayCollect(j, sub, s), sub.yes
	case "corridor":
		return f.mayOpen(j, s)
	case "corridor_close":
		return j.mayClose(s), j.corridors[s.corridor-1].opened
	case "return":
		if !waits && !sub.release() {
			return record.ReasonState, 0
		}
		return "", sub.latest
	case "withdraw":
		if !waits {
			return record.ReasonState, 0
		}
		return "", sub.latest
	case "void":
		switch {
		case j.read == 0:
			return record.ReasonNoChange, 0
		case len(j.subs) > 0:
			return record.ReasonState, 0
		}
		return "", j.read
	case "amend":
		if f.limits != s.limits {
			return record.ReasonOlderRevision, 0
		}
	case "reopen":
		if j.open {
			return record.ReasonNoChange, 0
		}
	}
	return "", j.latest
}

// byNow is why what was judged, or opened, by other limits or another fuel is refused.
func (f floor) byNow(j jobOnPaper, s step) string {
	switch {
	case f.limits != s.limits:
		return record.ReasonOlderRevision
	case j.fuel != s.fuel:
		return record.ReasonOtherInputs
	}
	return ""
}

func (f floor) maySubmit(j jobOnPaper, s step) string {
	if j.read == 0 {
		return record.ReasonNoRead
	}
	if why := f.byNow(j, s); why != "" {
		return why
	}
	if s.claim != f.covering(j) {
		return record.ReasonCorridor
	}
	return ""
}

func (f floor) maySign(j jobOnPaper, sub subOnPaper, s step) string {
	if why := f.byNow(j, s); why != "" {
		return why
	}
	again := sub.release() && sub.plain && (severityOf(sub.up, f.strict) > sub.signed || sub.worse)
	switch {
	case sub.state != record.Waiting && !sub.corridorOnly() && !again:
		return record.ReasonState
	case sub.author == s.who:
		return record.ReasonAuthor
	}
	return ""
}

func (f floor) mayCollect(j jobOnPaper, sub subOnPaper, s step) string {
	if !sub.release() {
		return record.ReasonState
	}
	if why := f.byNow(j, s); why != "" {
		return why
	}
	if severityOf(sub.up, f.strict) > sub.stands() {
		return record.ReasonNewSignOff
	}
	return ""
}

func (f floor) mayOpen(j jobOnPaper, s step) (why string, want int) {
	n := len(j.corridors)
	switch want = j.read; {
	case j.read == 0:
		return record.ReasonNoRead, 0
	case n > 0 && j.corridors[n-1].open:
		return record.ReasonState, 0
	case s.from > len(j.subs): // not yet
		return record.ReasonNotFound, 0
	case s.from > 0:
		start := j.subs[s.from-1]
		switch want = start.latest; {
		case !start.release():
			return record.ReasonState, 0
		case start.worse:
			return record.ReasonNewSignOff, 0
		}
	}
	if why := f.byNow(j, s); why != "" {
		return why, 0
	}
	for _, name := range s.authors {
		if f.gone[name] {
			return record.ReasonRetired, 0
		}
	}
	if slices.Contains(s.authors, s.who) {
		return record.ReasonAuthor, 0
	}
	return "", want
}

func (j jobOnPaper) mayClose(s step) string {
	c := j.corridors[s.corridor-1]
	switch {
	case !c.open:
		return record.ReasonNoChange
	case s.keep == 0:
		return ""
	case s.keep > len(j.subs): // not yet
		return record.ReasonNotFound
	case j.subs[s.keep-1].by != s.corridor:
		return record.ReasonCorridor
	case !j.subs[s.keep-1].release():
		return record.ReasonState
	case j.lastTaken > c.opened && j.lastSub != s.keep:
		return record.ReasonNotCollected
	}
	return ""
}

// done is the floor after a step.
func (f floor) done(s step, index int) floor {
	out := f.copied()
	out.last = index
	switch s.kind {
	case "retire":
		out.gone[s.about], out.named[s.about] = true, index
		if s.compromised {
			out.void(s.about, index)
		}
		return out
	case "limits":
		for _, name := range s.worse {
			var job, sub int
			_, _ = fmt.Sscanf(name, "%d.%d", &job, &sub)
			out.jobs[job-1].subs[sub-1].worse = true
		}
		out.limits, out.limitsAt, out.strict = s.limits, index, s.strict
		return out
	}
	out.inJobDone(&out.jobs[s.job-1], s, index)
	return out
}

// void takes back what somebody signed, or submitted where a corridor released it, and nobody collected.
func (f floor) void(who string, index int) {
	for i := range f.jobs {
		for k, sub := range f.jobs[i].subs {
			if !sub.release() || sub.signer != who && !(sub.corridorOnly() && sub.author == who) || sub.collected {
				continue
			}
			sub.state, sub.latest = record.Waiting, index
			for _, newer := range f.jobs[i].subs[k+1:] {
				if newer.author == sub.author {
					sub.state = record.Replaced
				}
			}
			f.jobs[i].subs[k] = sub
		}
	}
}

func (f floor) inJobDone(j *jobOnPaper, s step, index int) {
	var sub *subOnPaper
	if s.sub > 0 {
		sub = &j.subs[s.sub-1]
	}
	switch s.kind {
	case "submit":
		f.submitted(j, s, index)
	case "sign":
		now := severityOf(sub.up, f.strict)
		if !sub.corridorOnly() || now > sub.sev {
			sub.collected = false
		}
		sub.state, sub.signer, sub.yes, sub.latest = record.Released, s.who, index, index
		sub.plain, sub.signed, sub.worse = true, now, false
	case "return":
		sub.state, sub.latest, sub.worse = record.Returned, index, false
	case "withdraw":
		sub.state, sub.latest = record.Withdrawn, index
	case "collect":
		sub.collected, j.lastTaken, j.lastSub = true, index, s.sub
	case "corridor":
		c := corridorOnPaper{open: true, asked: s, opened: index, limits: f.limits, fuel: j.fuel}
		if s.from > 0 {
			c.start = j.subs[s.from-1].up
		}
		j.corridors = append(j.corridors, c)
	case "corridor_close":
		j.corridors[s.corridor-1].open, j.corridors[s.corridor-1].kept = false, s.keep
		for i, other := range j.subs {
			if s.keep > 0 && i+1 != s.keep && other.by == s.corridor && other.corridorOnly() {
				j.subs[i].state = record.Replaced
			}
		}
	case "void":
		j.read = 0
	case "amend":
		j.latest, j.fuel = index, s.fuel
	case "close", "reopen":
		j.open, j.latest = s.kind == "reopen", index
		if n := len(j.corridors); n > 0 {
			j.corridors[n-1].open = false
		}
	}
}

func (f floor) submitted(j *jobOnPaper, s step, index int) {
	for i := range j.subs {
		if j.subs[i].state == record.Waiting && j.subs[i].author == s.who {
			j.subs[i].state = record.Replaced
		}
	}
	sub := subOnPaper{state: record.Waiting, author: s.who, latest: index, up: s.up, sev: severityOf(s.up, f.strict)}
	if n := f.covering(*j); n > 0 {
		c := &j.corridors[n-1]
		if sub.why = j.covers(*c, s, sub.sev); sub.why == "" {
			c.released++
			sub.state, sub.by, sub.signer, sub.yes = record.Released, n, c.asked.who, index
		}
	}
	j.subs = append(j.subs, sub)
}

// fits says whether a step may be answered so, and what the floor is then.
func (f floor) fits(s step, a answered) (floor, bool) {
	if a.reason == "" && a.index != f.last+1 {
		return f, false
	}
	why := f.verdict(s)
	if a.reason != "" || why != "" {
		return f, why == a.reason
	}
	after := f.done(s, a.index)
	if s.kind == "submit" {
		j := after.jobs[s.job-1]
		if sub := j.subs[len(j.subs)-1]; sub.by != a.by || sub.why != a.why {
			return f, false
		}
	}
	return after, true
}

// onPaper is the model that a history is judged by: there is one order of all that was asked, in which nothing
// comes before what was answered before it was asked, each step is answered as the floor then has it, and
// each entry is the next one.
func onPaper(begin floor) porcupine.Model {
	return porcupine.Model{
		Init: func() any { return begin },
		Step: func(state, in, out any) (bool, any) {
			f, ok := state.(floor).fits(in.(step), out.(answered))
			return ok, f
		},
		Equal: func(a, b any) bool { return reflect.DeepEqual(a, b) },
	}
}

// inOrder tells a history by its entries, and what of it does not fit; the floor is the one that it comes to.
func inOrder(f floor, history []porcupine.Operation) (out string, last floor) {
	entries := slices.DeleteFunc(slices.Clone(history), func(op porcupine.Operation) bool { return op.Output.(answered).reason != "" })
	slices.SortFunc(entries, func(a, b porcupine.Operation) int { return a.Output.(answered).index - b.Output.(answered).index })
	for _, op := range entries {
		s, a := op.Input.(step), op.Output.(answered)
		after, ok := f.fits(s, a)
		if !ok {
			return fmt.Sprintf("%+v of %+v: by the paper %q after entry %d:\n%+v", a, s, f.verdict(s), f.last, f), f
		}
		f = after
	}
	for _, op := range history {
		if reason := op.Output.(answered).reason; reason != "" {
			out += fmt.Sprintf("%s: %+v\n", reason, op.Input)
		}
	}
	return "the entries fit; refused were\n" + out, f
}

// told is what the paper has of a job; see inRecord.
func (f floor) told(j jobOnPaper) (out string) {
	for _, sub := range j.subs {
		out += fmt.Sprintln(sub.state, sub.by, sub.why, sub.latest, sub.collected, sub.worse)
	}
	for _, c := range j.corridors {
		out += fmt.Sprintln(c.open, c.released, c.kept)
	}
	return out + fmt.Sprintln(j.open, f.covering(j), j.taken())
}
