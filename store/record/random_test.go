package record

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/memory"
)

// wanderer draws lines of the notation; the state only makes it draw likely ones.
type wanderer struct {
	*rand.Rand
	h *history
	n int
}

// newRand is seeded by RECORD_SEED, or anew; the seed is in the log of a test that fails.
func newRand(t *testing.T) *rand.Rand {
	seed := rand.Uint64()
	if text := os.Getenv("RECORD_SEED"); text != "" {
		var err error
		if seed, err = strconv.ParseUint(text, 10, 64); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("RECORD_SEED=%d", seed)
	return rand.New(rand.NewPCG(seed, 8))
}

const manyPeople = oneJob + `
	L enrols M lead
	L enrols E technician+calibrator
	L limits m M1
`

func newWanderer(t *testing.T, r *rand.Rand) *wanderer {
	return &wanderer{Rand: r, h: newHistory(t, r.IntN(4) == 0).script(manyPeople)}
}

func pick[A any](w *wanderer, list ...A) A { return list[w.IntN(len(list))] }

func (w *wanderer) chance(percent int) bool { return w.IntN(100) < percent }

func (w *wanderer) token(what string) string {
	w.n++
	return fmt.Sprintf("%s%dQ", what, w.n)
}

// wording is what a judgement says in the notation; mostly what it was.
func (w *wanderer) wording() string {
	switch {
	case w.chance(75):
		return ""
	case w.chance(50):
		return " verdict=warning warn=" + pick(w, "a", "b", "a,b")
	}
	return " warn= verdict=" + pick(w, "clear", "notice", "caution", "danger")
}

// some is one of a few images.
func (w *wanderer) some() string { return fmt.Sprint("i", w.IntN(40)) }

// found is the image as which a job's car was found.
func (w *wanderer) found(job *recordv1.Job) string {
	for i := range 40 {
		if label := fmt.Sprint("i", i); AsFound(job).GetImage().GetSha256() == sha(label) {
			return label
		}
	}
	return "found"
}

// someSub is a submission that is likely to be there.
func (w *wanderer) someSub(job *recordv1.Job) string {
	n := len(job.GetSubmissions())
	return fmt.Sprintf("%d.%d", job.GetNumber(), max(1, n-w.IntN(min(n, 4)+1)))
}

func (w *wanderer) someJob() *recordv1.Job {
	return look(w.h, func(s *State) *recordv1.Job {
		j, _ := s.Job(s.head.GetJobs() - uint32(w.IntN(min(int(s.head.GetJobs()), 3))))
		return j
	})
}

var moves = strings.Fields(`submit submit submit submit sign sign sign sign sign sign return withdraw collect collect collect collect
	collect back back back back cannot asfound read void void note run close settle settle corridor corridor corridor end shop shop shop shop shop shop`)

// move is a verb that is likely to do something for a job, and somebody who is likely to be allowed to.
func (w *wanderer) move(job *recordv1.Job) (verb, who string) {
	verb = pick(w, moves...)
	switch {
	case w.chance(15):
	case job.GetErased() != nil:
		verb = "shop"
	case job.GetState() == closed:
		verb = pick(w, "reopen", "reopen", "erase", "back", "cannot", "return", "settle", "note")
	case AsFound(job) == nil && verb != "shop":
		verb = "read"
	case OpenIn(job) != nil && w.chance(75):
		verb = w.onTheRoad()
	case w.chance(60) && slices.ContainsFunc(job.GetAlarms(), func(a *recordv1.Alarm) bool { return a.GetAlarm() == CorridorOnly }):
		verb = pick(w, "asfound", "back", "back", "read", "sign")
	case verb == "end" && OpenIn(job) == nil:
		verb = "corridor"
	case len(job.GetSubmissions()) == 0 && slices.Contains([]string{"sign", "return", "withdraw", "collect", "back", "cannot"}, verb):
		verb = "submit"
	case len(job.GetCollections()) == 0 && slices.Contains([]string{"back", "cannot"}, verb):
		verb = "collect"
	}
	switch {
	case w.chance(10):
		who = pick(w, "L", "M", "T", "C", "D", "E")
	case slices.Contains([]string{"submit", "sign", "withdraw"}, verb):
		who = pick(w, "L", "L", "C", "D", "E")
	case slices.Contains([]string{"settle", "erase", "shop", "signer"}, verb):
		who = pick(w, "L", "L", "L", "M")
	case verb == "corridor":
		who = pick(w, "L", "M", "M")
	default:
		who = pick(w, "L", "T", "E")
	}
	return verb, who
}

// onTheRoad is what happens while a corridor is open.
func (w *wanderer) onTheRoad() string {
	return pick(w, strings.Fields("submit submit submit submit submit submit collect collect collect run back sign end end signer return")...)
}

// line draws an action.
func (w *wanderer) line() string {
	job := w.someJob()
	verb, who := w.move(job)
	return w.draw(job, verb, who)
}

func (w *wanderer) draw(job *recordv1.Job, verb, who string) string {
	j, sub := job.GetNumber(), w.someSub(job)
	switch verb {
	case "submit":
		judged := w.wording()
		if c := OpenIn(job); c != nil && w.chance(85) {
			who, judged = pick(w, c.GetAsked().GetAuthors()...), pick(w, "", "", "", " verdict=notice", " verdict=caution", " warn=a")
		}
		if w.chance(25) {
			judged += pick(w, " out=cell:a", " out=axis:a,bytes:", fmt.Sprint(" corridor=", w.IntN(3)))
		}
		return fmt.Sprintf("%s submits %d %s from=%d%s", who, j, w.some(), w.IntN(2), judged)
	case "corridor":
		line := fmt.Sprintf("%s opens-corridor %d %s most=%s maps=%d", who, j, pick(w, "C", "C,D", "C,D,E", "D,E", "C,E", "C,L", "L"), pick(w, "notice", "caution"), 1+w.IntN(6))
		if n := len(job.GetSubmissions()); n > 0 && w.chance(40) {
			line += fmt.Sprint(" from=", 1+w.IntN(n))
		}
		return line + pick(w, "", " author reason=alone")
	case "signer":
		return who + pick(w, " enrols M lead pub="+w.token("M"), " enrols M calibrator", " enrols M lead", " retires M compromised")
	case "end":
		line := fmt.Sprintf("%s closes-corridor %d %d", who, j, max(1, len(job.GetCorridors())-w.IntN(8)/7))
		if _, taken, _ := strings.Cut(w.taken(job, sub), "."); w.chance(70) {
			line += " keep=" + taken
		}
		return line
	case "sign":
		line := fmt.Sprintf("%s signs %s%s", who, sub, w.wording())
		if w.chance(20) {
			line += " author reason=alone"
		}
		return line
	case "return":
		return fmt.Sprintf("%s returns %s", who, sub)
	case "withdraw":
		return fmt.Sprintf("%s withdraws %s", who, sub)
	case "collect":
		return fmt.Sprintf("%s collects %s%s", who, sub, w.wording())
	case "asfound":
		return fmt.Sprintf("%s collects %d.0", who, j)
	case "back":
		return fmt.Sprintf("%s reads-back %s %s%s", who, w.taken(job, sub), w.some(), pick(w, "", "", " differs"))
	case "cannot":
		return fmt.Sprintf("%s cannot-read %s", who, w.taken(job, sub))
	case "read":
		line := fmt.Sprintf("%s reads %d %s%s", who, j, pick(w, w.found(job), w.some(), w.some()), pick(w, "", " differs"))
		if w.chance(50) {
			line += " frame=" + pick(w, "WVWZZZ1Q", "WVWZZZ2Q")
		}
		return line
	case "void":
		return fmt.Sprintf("%s voids %d %d", who, j, 1+w.IntN(len(job.GetReads())+1))
	case "note":
		return fmt.Sprintf("%s notes %s %s file=%s,i%d", who, pick(w, fmt.Sprint(j), sub), w.token("NOTE"), w.token("FILE"), w.IntN(40))
	case "run":
		of := pick(w, sub, fmt.Sprintf("%d.read%d", j, 1+w.IntN(len(job.GetReads())+1)))
		if name, known := w.presumed(j); known && w.chance(60) {
			of = name.String()
		}
		return fmt.Sprintf("%s runs %d after%s%s", who, j, pick(w, "", " danger"), pick(w, "", " of="+of))
	case "close":
		return fmt.Sprintf("%s closes %d %s", who, j, pick(w, "done", "cancelled"))
	case "reopen":
		return fmt.Sprintf("%s reopens %d", who, j)
	case "erase":
		return fmt.Sprintf("%s erases %d%s", who, j, pick(w, "", " images"))
	case "settle":
		return who + " " + w.settle(j, sub)
	}
	return who + " " + w.workshop(job)
}

func (w *wanderer) presumed(job uint32) (name Name, known bool) {
	w.h.view(func(s *State) { name, known = s.PresumedIn(job) })
	return name, known
}

// taken is mostly what was collected last.
func (w *wanderer) taken(job *recordv1.Job, sub string) string {
	if list := job.GetCollections(); len(list) > 0 && w.chance(80) {
		return fmt.Sprintf("%d.%d", job.GetNumber(), list[len(list)-1].GetSubmission())
	}
	return sub
}

func (w *wanderer) settle(job uint32, sub string) string {
	alarms := look(w.h, func(s *State) []*recordv1.Alarm { return s.Alarms(0) })
	if len(alarms) == 0 {
		return fmt.Sprintf("settles %d %s %s", job, Recalled, sub)
	}
	a := pick(w, alarms...)
	return fmt.Sprintf("settles %d %s %s", a.GetJob(), a.GetAlarm(), a.GetAbout())
}

func (w *wanderer) workshop(job *recordv1.Job) string {
	labels := fmt.Sprintf("%s note=%s fuel=%s by=%s", pick(w, "PLATE1Q", "PLATE2Q", "PLATE3Q", w.token("PLATE")), w.token("NOTE"), pick(w, "98-RON", "E85"), pick(w, "l", "m"))
	if w.chance(40) {
		labels += " frame=" + pick(w, "WVWZZZ1Q", "WVWZZZ2Q", w.token("WVWZZZ"))
	}
	if w.chance(20) {
		labels += fmt.Sprint(" said=another car=", w.IntN(4))
	}
	switch pick(w, "open", "open", "amend", "amend", "amend", "enrol", "enrol", "retire", "limits", "limits", "limits", "define") {
	case "open":
		return "opens " + labels
	case "amend":
		return fmt.Sprintf("amends %d %s", job.GetNumber(), labels)
	case "enrol":
		name := pick(w, "T", "C", "D", "E", "M", w.token("N"))
		return fmt.Sprintf("enrols %s %s pub=%s", name, pick(w, "technician", "calibrator", "technician+calibrator", "lead"), w.token(name))
	case "retire":
		return fmt.Sprintf("retires %s%s", pick(w, pick(w, "T", "C", "D", "E", "M"), w.token("N"), w.token("N")), pick(w, "", " compromised", " compromised"))
	case "define":
		return fmt.Sprintf("defines d D%d%s", w.IntN(3), w.worse(job))
	}
	return fmt.Sprintf("limits %s %s%d%s", pick(w, "l", "m"), pick(w, "L", "L", "M"), w.IntN(3), w.worse(job))
}

func (w *wanderer) worse(job *recordv1.Job) string {
	var names []string
	for i := range job.GetSubmissions() {
		if w.chance(30) {
			names = append(names, fmt.Sprintf("%d.%d", job.GetNumber(), i+1))
		}
	}
	return " worse=" + strings.Join(names, ",")
}

// tally counts what random histories came to, so that a test sees that it tried something.
type tally struct {
	seen, refused, covered map[string]int
	collects               map[bool]int
}

func newTally() tally {
	return tally{map[string]int{}, map[string]int{}, map[string]int{}, map[bool]int{}}
}

// each says whether a submission lay to its corridor in each way so often, and collections came to both ends.
func (c tally) each(n int) bool {
	return min(c.collects[true], c.collects[false], c.covered["inside"], c.covered["author"], c.covered["verdict"], c.covered["cells"]) >= n
}

// step tries a line and holds what came of it to the slow judge.
func (w *wanderer) step(o *oracle, line string, c tally) {
	t := w.h.t
	t.Helper()
	told := w.h.tell(line, nil)
	o.add(t, told.GetEntry())
	last := o.facts[len(o.facts)-1]
	o.facts = o.facts[:len(o.facts)-1]
	err := w.h.try(line, nil)
	var why *Refusal
	if err != nil && !errors.As(err, &why) {
		t.Fatalf("%s: %v", line, err)
	}
	if last.GetCollect() != nil {
		c.collects[err == nil]++
		if may := o.mayCollect(last); may != (err == nil) {
			t.Fatalf("%s: %v, but by the entries alone it may be collected: %v", line, err, may)
		}
	}
	if sub := last.GetSubmission(); sub != nil {
		n, _ := o.covering(sub.GetJob())
		if right := n == sub.GetCorridor().GetCorridor(); right != (err == nil) && (err == nil || why.Reason == ReasonCorridor) {
			t.Fatalf("%s: %v, but by the entries alone corridor %d covers", line, err, n)
		}
	}
	if err != nil {
		c.refused[why.Reason]++
		return
	}
	c.seen[kindOf(last.Action)]++
	o.facts = append(o.facts, last)
	w.compare(o, line)
	if by, reason := o.coveredBy(last); by != 0 || reason != "" {
		c.covered[cmp.Or(reason, "inside")]++
	}
}

// TestRandomHistories: what the state says after each action is what a slow judge says who looks at the
// list of entries alone; and documents are those entries', on every engine, however they came.
func TestRandomHistories(t *testing.T) {
	c := newTally()
	r := newRand(t)
	enough := func() bool {
		return !slices.ContainsFunc(slices.Collect(maps.Keys(kinds)), func(name string) bool { return c.seen[name] == 0 }) && c.each(3)
	}
	for round := 0; round < 6 || !enough() && round < 80; round++ { // a rare kind may take a little longer
		w := newWanderer(t, r)
		o := newOracle(t, w.h)
		f := newFollower(t, w)
		for step := range 150 {
			if w.step(o, w.line(), c); step%12 == 0 {
				f.follow(false)
			}
		}
		f.follow(true)
		replays(t, w.h)
		w.searchTexts(o)
		w.compareLists()
	}
	if t.Log(c); !enough() {
		t.Error("in all these histories some kind of action, or way to lie to a corridor, was too rare")
	}
}

// TestRandomAfternoons is the same of one car on the rolling road, of whose corridors much happens in few entries.
func TestRandomAfternoons(t *testing.T) {
	c := newTally()
	r := newRand(t)
	for round := 0; round < 12 || !c.each(10) && round < 80; round++ {
		w := newWanderer(t, r)
		o := newOracle(t, w.h)
		for range 60 {
			job := look(w.h, func(s *State) *recordv1.Job { j, _ := s.Job(1); return j })
			verb := w.onTheRoad()
			switch {
			case job.GetState() == closed:
				verb = pick(w, "reopen", "reopen", "back", "return")
			case w.chance(4):
				verb = pick(w, "void", "read", "close", "withdraw", "note", "shop", "shop")
			case OpenIn(job) != nil:
			case w.chance(60):
				verb = "corridor"
			default:
				verb = pick(w, "asfound", "back", "back", "read", "sign", "collect", "submit", "return")
			}
			w.step(o, w.draw(job, verb, pick(w, "L", "M", "E", "E")), c)
		}
		replays(t, w.h)
	}
	if t.Log(c); !c.each(10) {
		t.Error("some way to lie to a corridor was too rare")
	}
}

func kindOf(a *recordv1.Action) string {
	m := a.ProtoReflect()
	return string(m.WhichOneof(m.Descriptor().Oneofs().ByName("body")).Name())
}

func (w *wanderer) compare(o *oracle, line string) {
	w.h.t.Helper()
	w.h.view(func(s *State) {
		if s.Lacking() != 0 {
			w.h.t.Fatalf("%s: %d openings are lacking", line, s.Lacking())
		}
		for job := uint32(1); job <= o.jobs(); job++ {
			j, _ := s.Job(job)
			for i, story := range o.stories(job) {
				sub := j.GetSubmissions()[i]
				_, why := o.coveredBy(story.submitted)
				got := fmt.Sprintf("%s %d %s", sub.GetState(), sub.GetByCorridor(), sub.GetNotCovered())
				if want := fmt.Sprintf("%s %d %s", story.state, story.by, why); got != want {
					w.h.t.Fatalf("%s: %d.%d is %s, by the entries %s", line, job, i+1, got, want)
				}
			}
			if n, _ := o.covering(job); n != s.Covering(job).GetNumber() {
				w.h.t.Fatalf("%s: corridor %d of job %d covers, by the entries %d", line, s.Covering(job).GetNumber(), job, n)
			}
			if in, known := s.PresumedIn(job); o.presumedIn(job) != map[bool]string{true: in.String(), false: "unknown"}[known] {
				w.h.t.Fatalf("%s: in the car of job %d is %v, by the entries %s", line, job, in, o.presumedIn(job))
			}
			if j.GetCar() != o.car(job) {
				w.h.t.Fatalf("%s: job %d is of car %d, by the entries of %d", line, job, j.GetCar(), o.car(job))
			}
		}
		for car := range s.head.GetCars() {
			in := s.InCar(car + 1)
			got := fmt.Sprintf("%d.%d %.8s %s, by %d", in.GetJob(), in.GetSubmission(), in.GetImageSha256(), in.GetKnownBy(), in.GetSince().GetEntry())
			switch {
			case in == nil:
				got = "never read"
			case !in.GetKnown():
				got = fmt.Sprintf("unknown, by %d", in.GetSince().GetEntry())
			}
			if want := o.inCar(car + 1); got != want {
				w.h.t.Fatalf("%s: car %d: %s, by the entries %s", line, car+1, got, want)
			}
		}
		var alarms []string
		for _, a := range s.Alarms(0) {
			alarms = append(alarms, fmt.Sprintf("%d %s %s since %d", a.GetJob(), a.GetAlarm(), a.GetAbout(), a.GetSince().GetEntry()))
		}
		sort.Strings(alarms)
		if want := o.alarms(); !slices.Equal(alarms, want) {
			w.h.t.Fatalf("%s: alarms\n%s, by the entries\n%s", line, strings.Join(alarms, "\n"), strings.Join(want, "\n"))
		}
	})
}

// follower takes the history up on another engine, in parts: by a program that does not know one kind,
// killed on the way, and taken up again by one that knows all.
type follower struct {
	w      *wanderer
	engine store.Engine
	at     int
}

var errKilled = errors.New("killed")

func newFollower(t *testing.T, w *wanderer) *follower {
	engine := store.Engine(memory.New())
	if w.chance(50) {
		path := filepath.Join(t.TempDir(), "copy")
		var err error
		if engine, err = bolt.Create(path); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { engine.Close() })
	}
	return &follower{w: w, engine: engine}
}

func (f *follower) follow(whole bool) {
	t, told := f.w.h.t, f.w.h.handedOn()
	t.Helper()
	end := len(told)
	if !whole {
		end = f.at + f.w.IntN(end-f.at+1)
	}
	before := documents(t, f.engine)
	if err := f.engine.Update(func(w store.WriteTx) error {
		s := Write(w)
		for _, one := range told[f.at:end] {
			if _, err := s.Admit(one.GetEntry(), one.GetOpenings()); err != nil {
				return err
			}
		}
		return errors.Join(s.Finish(), errKilled)
	}); !errors.Is(err, errKilled) || err.Error() != errKilled.Error() {
		t.Fatalf("killed: %v", err)
	}
	if d := differ(documents(t, f.engine), before); d != "" {
		t.Fatalf("an abandoned transaction left\n%s", d)
	}
	strange := maps.Clone(kinds) // a program that once applied a kind goes on to know it
	for _, one := range told[1:max(1, f.at)] {
		o := &oracle{genesis: &recordv1.Genesis{}}
		o.add(t, one.GetEntry())
		delete(strange, kindOf(o.facts[0].Action))
	}
	old := pick(f.w, append(slices.Sorted(maps.Keys(strange)), "none")...)
	newer := kinds[old]
	delete(kinds, old)
	err := admit(f.engine, f.w.h.blobs, told[f.at:end]...)
	if newer != nil {
		kinds[old] = newer
	}
	if err == nil {
		err = f.engine.Update(func(w store.WriteTx) error {
			s := Write(w)
			return errors.Join(s.CatchUp(), s.Finish())
		})
	}
	if err != nil {
		t.Fatalf("without %s: %v", old, err)
	}
	f.at = end
	if !whole {
		return
	}
	if d := differ(documents(t, f.engine), documents(t, f.w.h.engine)); d != "" {
		t.Fatalf("%T, in parts:\n%s", f.engine, d)
	}
}

// searchTexts looks for every text that was sealed, in plain: in an entry it never is, and in documents
// only where cars and jobs are found by it, and in its opening; after erasing nowhere. A frame number finds cars alone.
func (w *wanderer) searchTexts(o *oracle) {
	w.h.t.Helper()
	sealed := map[string]bool{} // whether a job has it that was not erased
	frames := map[string]bool{}
	erased := map[uint32]bool{}
	for _, f := range o.facts {
		if e := f.GetErase(); e != nil {
			erased[e.GetJob()] = true
		}
	}
	jobs := uint32(0)
	for i, told := range w.h.told[1:] {
		a := o.facts[i].Action
		if a.GetJob() != nil {
			jobs++
		}
		job := JobOf(a) + map[bool]uint32{true: jobs}[a.GetJob() != nil]
		for _, opening := range told.GetOpenings() {
			if text := opening.GetText(); strings.HasSuffix(text, "Q") {
				sealed[text] = sealed[text] || !erased[job]
				frames[text] = opening.GetField() == "frame"
			}
		}
	}
	for key, value := range documents(w.h.t, w.h.engine) {
		kind, _, _ := strings.Cut(key, " ")
		index := kind == docOpening || kind == docPlate || kind == docFrame
		listed := kind == docListing || kind == docMark
		holds := strings.ToLower(key + value)
		for text, kept := range sealed {
			if strings.Contains(holds, strings.ToLower(text)) && !(kept && (index || listed && !frames[text])) {
				w.h.t.Fatalf("%s holds the text %s, which is kept: %v", key, text, kept)
			}
		}
	}
	for i, told := range w.h.told {
		envelope, _, _ := EnvelopeOf(told.GetEntry())
		for text := range sealed {
			if strings.Contains(plainOf(envelope), text) {
				w.h.t.Fatalf("entry %d holds the text %s", i, text)
			}
		}
	}
}
