package record

import (
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// The alarms.
const (
	ReadbackDiffers = "readback-differs"
	Recalled        = "recalled"
	NotReadBack     = "not-read-back"
	ChangedSince    = "changed-since"
	RunDanger       = "run-danger"
	OlderLimits     = "older-limits"
	CorridorOnly    = "corridor-only"
)

// settleable are the alarms that a lead's word ends.
var settleable = []string{Recalled, ChangedSince, RunDanger}

// Settleable says whether a lead's word ends an alarm; the others end by what they ask for.
func Settleable(alarm string) bool { return contains(settleable, alarm) }

// Due are the alarms that count at a time, by the clock of whoever looks.
func Due(alarms []*recordv1.Alarm, now time.Time) (out []*recordv1.Alarm) {
	for _, a := range alarms {
		due, err := time.Parse(time.RFC3339, a.GetDue())
		if a.GetDue() == "" || err != nil || !now.Before(due) {
			out = append(out, a)
		}
	}
	return out
}

// Alarms are those in force in a job; 0 asks for all jobs, by job. One that is not yet due is among them.
func (s *State) Alarms(job uint32) (out []*recordv1.Alarm) {
	prefix := ""
	if job != 0 {
		prefix = under(job)
	}
	s.scan(docAlarm, prefix, "", func(key string, value []byte) bool {
		a := &recordv1.Alarm{}
		if s.decode(docAlarm, key, value, a) {
			out = append(out, a)
		}
		return true
	})
	return out
}

// realarm makes a job's alarms again from what happened in it and in its car's other jobs.
func (c *change) realarm(n uint32) {
	j := c.job(n)
	var car []*recordv1.Job
	for _, other := range c.carJobs(j.GetCar()) {
		car = append(car, c.job(other))
	}
	now := map[string]*recordv1.Alarm{}
	for _, a := range alarmsOf(j, car) {
		a.Job, a.Car = n, j.GetCar()
		now[join(n, a.GetAlarm(), a.GetAbout())] = a
	}
	for _, key := range c.keys(docAlarm, under(n)) {
		if now[join(n)+"\x00"+key] == nil {
			c.drop(docAlarm, join(n)+"\x00"+key)
		}
	}
	for key, a := range now {
		was := &recordv1.Alarm{}
		if !c.get(docAlarm, key, was) || !proto.Equal(was, a) {
			c.put(docAlarm, key, a)
		}
	}
}

// alarmsOf is what must not be overlooked in a job; car is all jobs of its car.
func alarmsOf(j *recordv1.Job, car []*recordv1.Job) (out []*recordv1.Alarm) {
	raise := func(alarm, about string, since *recordv1.Event, due, format string, args ...any) {
		out = append(out, &recordv1.Alarm{Alarm: alarm, About: about, Since: since, Due: due, Says: fmt.Sprintf(format, args...)})
	}
	settled := func(alarm, about string, since *recordv1.Event) bool {
		return slices.ContainsFunc(j.GetSettled(), func(s *recordv1.Settled) bool {
			return s.GetAlarm() == alarm && s.GetAbout() == about && s.GetSettled().GetEntry() > since.GetEntry()
		})
	}
	if last := lastReadBack(j); last != nil && !last.GetMatches() && lastKnown(car) < last.GetAdded().GetEntry() {
		raise(ReadbackDiffers, fmt.Sprintf("%d.back%d", j.GetNumber(), last.GetNumber()), last.GetAdded(), "",
			"what is in the car is unknown: read back, it is not %s%s", written(j.GetNumber(), last.GetSubmission()), knownAs(j, last.GetImage().GetSha256()))
	}
	if last := ToBeReadBack(j); last != nil {
		raise(NotReadBack, imageOf(j, last.GetSubmission()).String(), last.GetCollected(), last.GetDue(), "%s", notReadBack(j, last))
	}
	for _, sub := range j.GetSubmissions() {
		if sub.GetState() == Returned && mayBeIn(car, sub) && !settled(Recalled, subName(sub), sub.GetReturned()) {
			raise(Recalled, subName(sub), sub.GetReturned(), "", "%s was recalled, and may be in the car: %s", subName(sub), sub.GetReturn().GetReason())
		}
		if w := sub.GetJudgedWorse(); w != nil && (IsRelease(sub) || sub.GetState() == Waiting) {
			raise(OlderLimits, subName(sub), &recordv1.Event{Entry: sub.GetJudgedWorseBy()}, "", "%s is %s by a newer revision", subName(sub), w.GetVerdict())
		}
	}
	for _, sub := range corridorsAlone(j, car) {
		by := CorridorOf(j, sub.GetByCorridor())
		raise(CorridorOnly, subName(sub), by.GetClosed(), "", "%s has the yes of corridor %d alone, which is closed; a lead signs it, or the car goes back to as found", subName(sub), by.GetNumber())
	}
	if sub := replacedIn(j, car); sub != nil {
		by := CorridorOf(j, sub.GetByCorridor())
		raise(CorridorOnly, subName(sub), lastReadBack(j).GetAdded(), "", "%s is in the car, and %s was kept in its place; that is written and read back, or the car goes back to as found", subName(sub), written(j.GetNumber(), by.GetKept()))
	}
	for _, r := range j.GetReads() {
		about := fmt.Sprintf("%d.read%d", j.GetNumber(), r.GetNumber())
		if last := r.GetLastKnown(); r.GetVoided() == nil && last != nil && !last.GetSame() && !settled(ChangedSince, about, r.GetAdded()) {
			raise(ChangedSince, about, r.GetAdded(), "", "somebody changed it since: the read is not what was last in the car (%s)", written(last.GetJob(), last.GetSubmission()))
		}
	}
	for _, r := range j.GetRuns() {
		about := fmt.Sprintf("%d.run%d", j.GetNumber(), r.GetNumber())
		if r.GetDanger() && !settled(RunDanger, about, r.GetAdded()) {
			raise(RunDanger, about, r.GetAdded(), "", "run %d, held against the map in the car, shows danger", r.GetNumber())
		}
	}
	return out
}

// knownAs names a known image of a job that was read back in place of another; empty for none.
func knownAs(j *recordv1.Job, sha256 string) string {
	for _, r := range j.GetReads() {
		if r.GetImage().GetSha256() == sha256 && r.GetVoided() == nil {
			return "; " + WriteFailed(Name{j.GetNumber(), ARead, r.GetNumber()}, r == AsFound(j))
		}
	}
	for _, sub := range j.GetSubmissions() {
		if sub.GetImage().GetSha256() == sha256 {
			return "; " + WriteFailed(Name{j.GetNumber(), ASubmission, sub.GetNumber()}, false)
		}
	}
	return ""
}

// WriteFailed says what is in a car in place of what was written.
func WriteFailed(is Name, asFound bool) string {
	if asFound {
		return "this is what the car came with; the write did not take"
	}
	return "this is " + is.String()
}

// lastReadBack is the last one of which there is an image; nil for none.
func lastReadBack(j *recordv1.Job) *recordv1.Readback {
	for _, b := range slices.Backward(j.GetReadBacks()) {
		if b.GetImage() != nil {
			return b
		}
	}
	return nil
}

// lastKnown is the last entry that told for certain what was in a car.
func lastKnown(car []*recordv1.Job) (entry uint32) {
	for _, j := range car {
		entry = max(entry, lastRead(j))
		for _, b := range j.GetReadBacks() {
			if b.GetMatches() {
				entry = max(entry, b.GetAdded().GetEntry())
			}
		}
	}
	return entry
}

// mayBeIn says whether a submission was collected, and nothing else was written to its car since.
func mayBeIn(car []*recordv1.Job, sub *recordv1.Submission) bool {
	last, other := uint32(0), uint32(0)
	for _, j := range car {
		own := j.GetNumber() == sub.GetJob()
		for _, c := range j.GetCollections() {
			if own && c.GetSubmission() == sub.GetNumber() {
				last = c.GetCollected().GetEntry()
			}
		}
		for _, b := range j.GetReadBacks() {
			if (b.GetMatches() || b.GetNotPossible() != "") && !(own && b.GetSubmission() == sub.GetNumber()) {
				other = max(other, b.GetAdded().GetEntry())
			}
		}
	}
	return last > other
}

// imageOf is what people call what was collected.
func imageOf(j *recordv1.Job, sub uint32) Name {
	if sub == 0 {
		return Name{j.GetNumber(), ARead, AsFound(j).GetNumber()}
	}
	return Name{j.GetNumber(), ASubmission, sub}
}

var settle = &kind{
	name: "settle",
	// what raised the alarm
	target: func(s *State, a *recordv1.Action) (uint64, error) {
		alarm, err := s.alarmAt(a.GetSettle())
		return uint64(alarm.GetSince().GetEntry()), err
	},
	closed: true,
	decide: func(d *decision) error {
		w := d.action.GetSettle()
		if _, err := d.alarmAt(w); err != nil {
			return err
		}
		if err := checkOneOf("settle.alarm", w.GetAlarm(), settleable...); err != nil {
			return err
		}
		return checkReason("settle.because", w.GetBecause())
	},
	apply: func(c *change) {
		w := c.action.GetSettle()
		c.changeJob(w.GetJob(), func(j *recordv1.Job) {
			j.Settled = append(j.Settled, &recordv1.Settled{About: w.GetAbout(), Alarm: w.GetAlarm(), Because: w.GetBecause(), Settled: c.event})
		})
		c.tell(w.GetJob(), 0, "", "", "%s of %s settled: %s", w.GetAlarm(), w.GetAbout(), w.GetBecause())
	},
}

func (s *State) alarmAt(w *recordv1.Settle) (*recordv1.Alarm, error) {
	if _, err := s.jobAt("settle.job", w.GetJob()); err != nil {
		return nil, err
	}
	a := &recordv1.Alarm{}
	if s.get(docAlarm, join(w.GetJob(), w.GetAlarm(), w.GetAbout()), a) {
		return a, nil
	}
	return nil, refuse(ReasonNotFound, "settle.alarm", "", "settle.alarm: there is no alarm %q of %q in job %d", short(w.GetAlarm()), short(w.GetAbout()), w.GetJob())
}
