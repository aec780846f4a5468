package record

import (
	"testing"

	"google.golang.org/protobuf/proto"
)

// staff is three people and the documents; most histories begin with it.
const staff = `
	L enrols T technician
	L enrols C calibrator
	L enrols D calibrator
	L defines d D1
	L limits l L1
`

// oneJob is a car whose original was read.
const oneJob = staff + `
	T opens AB-1
	T reads 1 original
`

func TestHistories(t *testing.T) {
	for _, c := range []struct {
		name      string
		onePerson bool
		script    string
	}{
		{"the whole path", false, oneJob + `
			= car ab1 1.0 read
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
			T reads-back 1.2 found
			= 1.2 in car
			= car AB-1 1.2 read-back
			T runs 1 after
			= release 1 2`},
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
			L reads 1 original
			L submits 1 first warn=a
			L signs 1.1 ! author
			L signs 1.1 author ! bad-value
			L signs 1.1 author reason=alone
			= 1.1 released
			L enrols C calibrator
			C submits 1 second
			L signs 1.2 author reason=alone ! not-author
			L signs 1.2`},
		{"a newer submission replaces only a waiting one", false, oneJob + `
			C submits 1 first
			C submits 1 second
			= 1.1 replaced
			D signs 1.1 ! state
			D signs 1.2
			C submits 1 third
			= 1.2 released
			= release 1 2
			T collects 1.2
			D signs 1.3
			= release 1 3
			= 1.2 released
			T collects 1.2 ! state
			D returns 1.3
			# the newer release ended the older one, and its recall does not bring that back
			= release 1 0
			T collects 1.2 ! state
			T collects 1.3 ! state`},
		{"an original taken to be kept does not hide the release", false, oneJob + `
			C submits 1 first
			D signs 1.1
			T collects 1.1
			T reads-back 1.0 original ! not-collected
			T collects 1.0
			T reads-back 1.1 first
			= 1.1 in car
			= car AB1 1.1 read-back
			T reads-back 1.0 original
			= car AB1 1.0 read-back
			T collects 1.1
			T reads-back 1.0 original ! not-collected`},
		{"the original can be submitted as it is", false, oneJob + `
			C submits 1 original
			D signs 1.1
			T collects 1.1`},
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
			= car AB1 1.2 read-back`},
		{"newer limits ask for another look", false, oneJob + `
			C submits 1 first verdict=caution
			L limits l L2
			D signs 1.1 lim=L1 ! older-revision
			D signs 1.1 verdict=notice
			C submits 1 second
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
			T collects 1.1`},
		{"what the same revisions said once they say again", false, oneJob + `
			C submits 1 first warn=a
			D signs 1.1 warn= verdict=caution ! judgement-differs
			L signs 1.1 warn=b ! judgement-differs
			L signs 1.1`},
		{"a compromised key takes its sign-offs back, as far as nobody collected", false, oneJob + `
			C submits 1 first
			D signs 1.1
			T opens AB-2
			T reads 2 original2
			C submits 2 first
			D signs 2.1
			T collects 2.1
			T opens AB-3
			T reads 3 original3
			C submits 3 first
			D signs 3.1
			C submits 3 second
			L retires D compromised
			= 1.1 waiting
			= release 1 0
			= 2.1 released
			= release 2 1
			= 3.1 replaced
			= 3.2 waiting
			= release 3 0
			T collects 1.1 ! state
			L signs 1.1
			= 1.1 released
			T collects 1.1`},
		{"a compromised key takes back only what it signed last, and only its own release", false, oneJob + `
			C submits 1 first
			D signs 1.1
			L limits l L2
			L signs 1.1 warn=a
			T opens AB-2
			T reads 2 original2
			C submits 2 first
			D signs 2.1
			C submits 2 second
			L signs 2.2
			T opens AB-3
			T reads 3 original3
			C submits 3 first
			L signs 3.1
			T collects 3.1
			L limits l L3
			D signs 3.1 verdict=caution
			L retires D compromised
			= 1.1 released
			= release 1 1
			= 2.1 replaced
			= release 2 2
			= 3.1 waiting
			= release 3 0`},
		{"a release that a newer one ended is not signed again", false, oneJob + `
			C submits 1 first
			D signs 1.1
			C submits 1 second
			D signs 1.2
			L limits l L2
			L signs 1.1 warn=a ! state
			L signs 1.2 warn=a
			= release 1 2`},
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
			L enrols C calibrator pub=D ! key-used
			L rekeys-server C ! key-used
			L rekeys-server server ! key-used
			L rekeys-server server2
			L enrols E technician pub=server ! key-used
			L rekeys-server server ! key-used`},
		{"the car remembers", false, oneJob + `
			T reads 1 again differs
			= car AB-1 1.0 read
			T collects 1.0
			T cannot-read 1.0
			= car AB-1 1.0 written, not read back
			C submits 1 first
			D signs 1.1
			T collects 1.1
			T reads-back 1.0 first ! not-collected
			T reads-back 1.1 bad differs
			= car AB-1 1.0 written, not read back
			= 1.1 released
			T cannot-read 1.1
			= car AB-1 1.1 written, not read back
			= 1.1 released
			T reads-back 1.1 first
			= car AB-1 1.1 read-back
			T reads 1 first
			= car AB-1 1.1 read
			L opens ab.1
			= car AB-1 1.1 read
			T reads 2 first
			# as job 1 left it, and from now on the original of job 2
			= car AB-1 2.0 read
			T reads 2 somebody-elses differs
			= car AB-1 2.0 read`},
		{"a frame number is the car's, whatever plate it has", false, oneJob + `
			T opens ZZ-9 frame=wvw-1
			T reads 2 z
			T opens NEW-1 frame=WVW1
			= car NEW-1 2.0 read
			T opens ZZ-9 frame=OTHER
			T reads 4 y
			= car ZZ-9 4.0 read
			= car NEW-1 2.0 read
			T reads 2 z
			= car NEW-1 2.0 read`},
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
			T reads 1 original
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

// replays checks that the entries alone give the same state.
func replays(t tb, h *history) {
	t.Helper()
	again, err := Replay(h.entries)
	if err != nil {
		t.Fatalf("replay: %v", err)
	}
	if got, want := dump(again), dump(h.s); got != want {
		t.Fatalf("replayed to another state:\n%s\nwant\n%s", got, want)
	}
}

func TestDuplicateRequest(t *testing.T) {
	h := newHistory(t, false).script(staff)
	last := h.entries[len(h.entries)-1]
	r := refusalOf(t, Judge(h.s, last))
	if r.Reason != ReasonDuplicateRequest || r.At != "5" {
		t.Errorf("the same entry again: %+v, want %s at entry 5", r, ReasonDuplicateRequest)
	}
	envelope, _, err := EnvelopeOf(last)
	if err != nil {
		t.Fatal(err)
	}
	signed, err := h.s.Open(envelope)
	if err != nil {
		t.Fatal(err)
	}
	index, sum, ok := h.s.Request(signed.Action.GetRequestId())
	if !ok || index != 5 || sum != hexSHA256(envelope) {
		t.Errorf("request: %d %s %v", index, sum, ok)
	}
}

// TestCopies: what the accessors return can be changed without changing the state.
func TestCopies(t *testing.T) {
	h := newHistory(t, false).script(oneJob + "C submits 1 first\nD signs 1.1")
	want := dump(h.s)
	job, _ := h.s.Job(1)
	sub, _ := h.s.Submission(1, 1)
	release, _ := h.s.Release(1)
	car, _ := h.s.InCar("AB-1")
	doc, _ := h.s.Newest("definition", "d")
	who, _ := h.s.Person("D")
	byKey, _ := h.s.PersonByKey(who.GetKeyFingerprint())
	for _, m := range []proto.Message{
		job.GetSubmissions()[0], job.GetInCar(), job, sub, release, car, doc, who, byKey, h.s.Jobs()[0], h.s.People()[0],
		h.s.Documents("limits")[0], h.s.CarHistory("AB1").GetEvents()[0], sub.GetSubmitted(),
	} {
		proto.Reset(m)
	}
	clear(h.s.ServerKey())
	if got := dump(h.s); got != want {
		t.Errorf("the state changed:\n%s\nwant\n%s", got, want)
	}
}
