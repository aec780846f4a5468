package record

import (
	"testing"

	"google.golang.org/protobuf/proto"
)

// staff is three people, a definition and limits; most histories begin with it.
const staff = `
	L enrols T technician
	L enrols C calibrator
	L enrols D calibrator
	L defines d D1
	L limits l L1
`

// oneJob is a car that was read as found.
const oneJob = staff + `
	T opens AB-1
	T reads 1 found
`

func TestHistories(t *testing.T) {
	for _, c := range []struct {
		name      string
		onePerson bool
		script    string
	}{
		{"a definition that was carried over", false, staff + `
			C opens AB-1 carried ! role
			T opens AB-1 carried ! carried
			L opens AB-1 carried
			T opens AB-2 carried
			L defines d D2
			T opens AB-3 carried ! carried
			T opens AB-3
			T opens AB-4 carried
			L defines d D3
			L defines d D1
			T opens AB-5 carried`},
		{"the whole path", false, oneJob + `
			= car 1 1.0 read
			C submits 1 first verdict=danger
			D signs 1.1 ! danger
			L signs 1.1 ! danger
			L returns 1.1
			= 1.1 returned
			C submits 1 second warn=advance:ign,advance:ign2
			D signs 1.2 ! role
			L signs 1.2 because=advance:ign ! because
			= release 1 0
			L signs 1.2
			= 1.2 released
			= release 1 2
			T runs 1 before
			T collects 1.2
			T reads-back 1.2 back
			= 1.2 in car
			= car 1 1.2 read-back
			T runs 1 after
			= release 1 2
			T closes 1 done
			= release 1 2
			T collects 1.2 ! closed`},
		{"the author never signs their own, whatever key they have", false, oneJob + `
			C submits 1 first
			C signs 1.1 ! author
			L enrols C calibrator+lead pub=C2
			C signs 1.1 ! author
			C signs 1.1 key=C ! replaced-key
			C signs 1.1 author reason=alone ! author
			D signs 1.1
			= 1.1 released`},
		{"a one-person workshop signs its own, says so, and says why", true, `
			L defines d D1
			L limits l L1
			L opens AB-1
			L reads 1 found
			L submits 1 first warn=a
			L signs 1.1 ! author
			L signs 1.1 author ! bad-value
			L signs 1.1 author reason=alone
			= 1.1 released
			L enrols C calibrator
			C submits 1 second
			L signs 1.2 author reason=alone ! not-author
			L signs 1.2`},
		{"a newer submission replaces only a waiting one of the same author", false, oneJob + `
			C submits 1 first
			D submits 1 other from=1
			C submits 1 second
			= 1.1 replaced
			= 1.2 waiting
			L signs 1.1 ! state
			L signs 1.3
			C submits 1 third
			= 1.3 released
			= release 1 3
			L signs 1.4
			= 1.3 released
			= release 1 4
			# any release can be collected, also when a newer one was signed
			T collects 1.3
			T collects 1.4
			L signs 1.2
			# two authors: it must be said which
			= release 1 0
			T collects 1.2
			L returns 1.2
			= release 1 4
			L returns 1.4
			= release 1 3
			T collects 1.3
			T collects 1.4 ! state`},
		{"the read as found goes back at any time", false, oneJob + `
			C submits 1 first
			D signs 1.1
			T collects 1.1
			T reads-back 1.0 found ! not-collected
			T collects 1.0
			T reads-back 1.1 first
			= 1.1 in car
			= car 1 1.1 read-back
			T reads-back 1.0 found
			= car 1 1.0 read-back
			= 1.1 released
			C submits 1 found ! no-change`},
		{"withdrawing is the author's, and only while it waits", false, oneJob + `
			C submits 1 first
			D withdraws 1.1 ! not-author
			L withdraws 1.1 ! not-author
			C withdraws 1.1
			= 1.1 withdrawn
			C withdraws 1.1 ! state
			D signs 1.1 ! state
			D returns 1.1 ! state`},
		{"a release is recalled by anybody, also out of the car", false, oneJob + `
			C submits 1 first
			D signs 1.1
			T returns 1.1
			= 1.1 returned
			= release 1 0
			T collects 1.1 ! state
			C submits 1 second
			D signs 1.2
			T collects 1.2
			T reads-back 1.2 second
			C returns 1.2
			= 1.2 returned
			T reads-back 1.2 second
			# reading again does not undo the recall, and the car still holds it
			= 1.2 returned
			= car 1 1.2 read-back`},
		{"newer limits ask for another look", false, oneJob + `
			C submits 1 first verdict=caution
			L limits l L2
			D signs 1.1 lim=L1 ! older-revision
			D signs 1.1 verdict=notice
			L limits l L3
			T collects 1.1 lim=L2 ! older-revision
			T collects 1.1 verdict=caution ! needs-new-sign-off
			T collects 1.1 warn=a ! needs-new-sign-off
			D signs 1.1 verdict=notice ! state
			D signs 1.1 warn=a ! role
			L signs 1.1 warn=a
			= release 1 1
			T collects 1.1 warn=a,b ! needs-new-sign-off
			T collects 1.1 warn=a
			L defines d D2
			T collects 1.1 def=D1 warn=a ! older-revision
			T collects 1.1 verdict=clear ! bad-value
			T collects 1.1 verdict=danger ! needs-new-sign-off
			T collects 1.1
			# back to a file that was there before
			L limits l L1
			L limits l L1 ! no-change
			L limits other L1 ! name-used
			T collects 1.1 lim=L3 ! older-revision
			T collects 1.1 verdict=notice warn=`},
		{"what the same inputs gave once they give again", false, oneJob + `
			C submits 1 first warn=a
			D signs 1.1 warn= verdict=caution ! judgement-differs
			L signs 1.1 warn=b ! judgement-differs
			T amends 1 AB-1 fuel=E85
			L signs 1.1 warn=b`},
		{"an amendment asks for another look", false, oneJob + `
			C submits 1 first
			D signs 1.1
			T amends 1 AB-2 fuel=E85 frame=wvw-1 note=other
			T collects 1.1
			L limits m M1
			T amends 1 AB-2 by=m
			T collects 1.1 by=l ! bad-value
			T collects 1.1
			T amends 2 AB-2 ! not-found
			T amends 1 AB-2 fuel=E85 fuels=98-RON ! fuel
			L amends 1 AB-2 fuel=E85 fuels=98-RON
			T amends 1 AB-3 fuel=E85 fuels=98-RON`},
		{"a compromised key takes its sign-offs back, as far as nobody collected", false, oneJob + `
			C submits 1 first
			D signs 1.1
			T opens AB-2
			T reads 2 found2
			C submits 2 first
			D signs 2.1
			T collects 2.1
			T opens AB-3
			T reads 3 found3
			C submits 3 first
			D signs 3.1
			C submits 3 second
			L submits 3 third
			L retires D compromised
			= 1.1 waiting
			= release 1 0
			= 2.1 released
			= release 2 1
			= 3.1 replaced
			= 3.2 waiting
			= 3.3 waiting
			= release 3 0
			T collects 1.1 ! state
			L signs 1.1
			= 1.1 released
			T collects 1.1`},
		{"a compromised key takes back only what it signed last", false, oneJob + `
			C submits 1 first
			D signs 1.1
			L limits l L2
			L signs 1.1 warn=a
			T opens AB-3
			T reads 2 found3
			C submits 2 first
			L signs 2.1
			T collects 2.1
			L limits l L3
			D signs 2.1 verdict=caution
			L retires D compromised
			= 1.1 released
			= release 1 1
			= 2.1 waiting
			= release 2 0`},
		{"a retirement alone leaves sign-offs", false, oneJob + `
			C submits 1 first
			D signs 1.1
			L retires D
			= 1.1 released
			D returns 1.1 ! retired
			L enrols D calibrator pub=D2 ! name-used
			L enrols E calibrator pub=D ! key-used
			L retires D ! no-change
			T collects 1.1`},
		{"there is always a lead", false, `
			L retires L ! last-lead
			L enrols L technician pub=L2 ! last-lead
			L enrols M lead
			L enrols L technician
			L enrols M lead ! role
			M retires M ! last-lead
			M retires L`},
		{"names and keys are never another's", false, staff + `
			L enrols c technician pub=E ! name-used
			L enrols E technician pub=C ! key-used
			L enrols E technician pub=server ! key-used
			L enrols C calibrator ! no-change
			L enrols C technician+calibrator
			L enrols C calibrator pub=C2
			L enrols C calibrator pub=C ! key-used
			L enrols C calibrator pub=D ! key-used`},
		{"the car remembers", false, oneJob + `
			T reads 1 again differs
			= car 1 1.0 read
			T collects 1.0
			T cannot-read 1.0
			= car 1 1.0 written, not read back
			C submits 1 first
			D signs 1.1
			T collects 1.1
			T reads-back 1.1 bad differs
			= car 1 unknown
			= 1.1 released
			# a writing that was not read back tells nothing, once what is in the car is unknown
			T cannot-read 1.1
			= car 1 unknown
			T reads-back 1.1 first
			= car 1 1.1 read-back
			T reads 1 first
			= car 1 1.1 read
			L opens ab.1
			= car 1 1.1 read
			T reads 2 first
			# as job 1 left it, and from now on what job 2 found
			= car 1 2.0 read
			T reads 2 somebody-elses differs
			= car 1 2.0 read`},
		{"a car is a number, whatever is written on it", false, oneJob + `
			T opens ZZ-9 frame=WVW1
			T reads 2 z
			= car 2 2.0 read
			T opens NEW-1 frame=WVW1
			= car 2 2.0 read
			T opens ZZ-9 car=0 said=another
			T reads 4 y car=0 ! other-car
			T reads 4 y car=9 ! other-car
			T reads 4 y car=2 frame=WVW1
			= car 2 4.0 read
			= car 3 unknown
			# what people say later counts more than what a read showed
			T amends 4 ZZ-9 car=1
			= car 1 4.0 read
			= car 2 2.0 read
			T opens A car=9 ! not-found`},
		{"a read is voided while nothing stands on it", false, oneJob + `
			T voids 1 2 ! not-found
			T voids 1 0 ! not-found
			T reads 1 second differs
			T voids 1 1
			T voids 1 1 ! no-change
			= car 1 1.0 read
			T collects 1.0
			T voids 1 2 ! state
			T reads 1 third differs
			T voids 1 3
			C submits 1 found
			D returns 1.1
			T voids 1 2 ! state`},
		{"a closed job takes what must not be overlooked, and no more", false, oneJob + `
			C submits 1 first
			C submits 1 second
			D submits 1 third
			D signs 1.2
			T collects 1.2
			T reopens 1 ! no-change
			T closes 1 cancelled
			T closes 1 done ! closed
			T amends 1 AB-2 ! closed
			T reads 1 again ! closed
			T voids 1 1 ! closed
			T runs 1 after ! closed
			C submits 1 fourth ! closed
			L signs 1.3 ! closed
			D withdraws 1.3 ! closed
			T collects 1.2 ! closed
			C notes 1.2 odd file=a,b
			T returns 1.2
			L settles 1 recalled 1.2
			T cannot-read 1.2
			T reads-back 1.2 second
			T reopens 1
			D withdraws 1.3
			L erases 1 ! state`},
		{"an erased job can still be recalled from", false, oneJob + `
			C submits 1 first
			D signs 1.1
			T collects 1.1
			T closes 1 done
			L erases 1
			L erases 1 ! no-change
			C notes 1 hello ! erased
			T reads-back 1.1 first ! erased
			T reopens 1 ! erased
			D returns 1.1
			= alarms 1 not-read-back:1.1 recalled:1.1
			T cannot-read 1.1
			L settles 1 recalled 1.1
			= alarms 1
			L erases 1 images
			L erases 1 images ! no-change`},
		{"limits for other fuels are a lead's to use", false, staff + `
			T opens AB-1 fuel=E85 fuels=98-RON|100-RON ! fuel
			T opens AB-1 fuel=98-RON fuels=98-RON|100-RON
			L opens AB-2 fuel=E85 fuels=98-RON|100-RON
			T opens AB-3 fuel=E85`},
		{"forks, other ledgers and stale looks", false, staff + `
			T opens AB-1 root=fork ! seen
			T opens AB-1 seen=99 ! seen
			T opens AB-1 seen=0 ! seen
			T opens AB-1 genesis=other ! other-ledger
			T opens AB-1 on=1 ! acts-on
			T opens AB-1 key=nobody ! unknown-key
			T opens AB-1 key=server ! unknown-key
			T opens AB-1 seen=1 id=x time=2026-05-01T09:00:00.5Z
			T opens AB-1 id=x ! request-id-used
			T reads 1 found
			C submits 1 first
			# D looked before the sign-off, and would return what L has released
			L signs 1.1
			D returns 1.1 on=8 ! acts-on
			D returns 1.1 on=9`},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := newHistory(t, c.onePerson).script(c.script)
			replays(t, h)
		})
	}
}

func TestDuplicateRequest(t *testing.T) {
	h := newHistory(t, false).script(staff)
	last := h.told[len(h.told)-1]
	r := refusalOf(t, h.admit(last))
	if r.Reason != ReasonDuplicateRequest || r.At != "5" {
		t.Errorf("the same entry again: %+v, want %s at entry 5", r, ReasonDuplicateRequest)
	}
	envelope := envelopeIn(t, last.GetEntry())
	h.view(func(s *State) {
		signed, err := s.Open(envelope)
		if err != nil {
			t.Fatal(err)
		}
		index, sum, ok := s.Request(signed.Action.GetRequestId())
		if !ok || index != 5 || sum != hexSHA256(envelope) {
			t.Errorf("request: %d %s %v", index, sum, ok)
		}
	})
}

// TestCopies: what the accessors return can be changed without changing what they return next.
func TestCopies(t *testing.T) {
	h := newHistory(t, false).script(oneJob + "C submits 1 first\nD signs 1.1")
	h.view(func(s *State) {
		job, _ := s.Job(1)
		sub, _ := s.Submission(1, 1)
		release, _ := s.Release(1)
		for _, m := range []proto.Message{job.GetSubmissions()[0], job.GetInCar(), job, sub, release, s.Head(), s.InCar(1)} {
			proto.Reset(m)
		}
		clear(s.ServerKey())
		if job, _ := s.Job(1); job.GetSubmissions()[0].GetState() != Released || job.GetInCar() == nil || s.Size() == 0 {
			t.Errorf("the state changed: %v", job)
		}
	})
}
