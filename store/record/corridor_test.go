package record

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

func TestCorridors(t *testing.T) {
	const used = "its maps are used up, 1 of 1"
	for _, c := range []struct {
		name      string
		onePerson bool
		script    string
	}{
		{"what lies inside is a release at once, what lies outside waits", false, oneJob + `
			= covers 1
			L opens-corridor 1 C most=notice
			= covers 1 1
			= waits 1 submit:1
			C submits 1 one verdict=notice
			= 1.1 released
			= release 1 1
			= waits 1 collect:1.1
			C submits 1 two out=cell:ignition,axis:fuel
			= 1.2 waiting
			C submits 1 three verdict=caution
			= 1.2 replaced
			= 1.3 waiting
			D submits 1 beside
			= 1.4 waiting
			# of several reasons the first is said; a warning is never inside, and danger waits to be returned
			D submits 1 beside2 verdict=danger out=bytes:
			= 1.4 replaced
			C submits 1 four warn=a
			C submits 1 five
			= 1.7 released
			= release 1 7
			# the newest alone waits to be collected
			= waits 1 return:1.5 collect:1.7
			T collects 1.1
			T collects 1.7
			D signs 1.6 ! state`},
		{"one is open at a time, and the next has the next number", false, oneJob + `
			L opens-corridor 1 C
			L opens-corridor 1 D ! state
			T closes-corridor 1 2 ! not-found
			T closes-corridor 1 1 because=tired
			T closes-corridor 1 1 ! no-change
			L opens-corridor 1 D
			= covers 1 2
			C submits 1 one
			= 1.1 waiting
			D submits 1 two
			= 1.2 released`},
		{"a claim is of the corridor that covers", false, oneJob + `
			C submits 1 one corridor=1 ! corridor
			L opens-corridor 1 C maps=1
			C submits 1 one corridor=0 ! corridor
			C submits 1 one corridor=2 ! corridor
			# two authors with one map left: who comes second is told, and submits again
			C submits 1 one
			= covers 1 ` + used + `
			C submits 1 two corridor=1 ! corridor
			C submits 1 two
			= 1.2 waiting
			T closes-corridor 1 1
			= covers 1 closed
			C submits 1 three corridor=1 ! corridor`},
		{"closing the job closes it, reopening does not open it", false, oneJob + `
			L opens-corridor 1 C
			T closes 1 done
			= covers 1 closed
			T reopens 1
			= covers 1 closed
			T closes-corridor 1 1 ! no-change
			C submits 1 one
			= 1.1 waiting
			L opens-corridor 1 C
			= covers 1 2`},
		{"its signer is a lead with the key that signed", false, oneJob + `
			L enrols M lead
			L opens-corridor 1 C
			C submits 1 one
			M enrols L technician
			= covers 1 L, who signed it, is no lead any more
			C submits 1 two
			= 1.2 waiting
			M enrols L technician+lead
			= covers 1 1
			M enrols L lead pub=L2
			= covers 1 L, who signed it, has another key now
			M retires L
			= covers 1 L, who signed it, was retired
			= 1.1 released
			T collects 1.1
			T closes-corridor 1 1
			M opens-corridor 1 C
			C submits 1 three
			= 1.3 released`},
		{"a compromised signer takes back what was not collected", false, oneJob + `
			L enrols M lead
			L enrols D calibrator+lead
			L opens-corridor 1 C,D
			C submits 1 one
			C submits 1 two
			T collects 1.2
			C submits 1 three
			D submits 1 four
			M signs 1.4
			C submits 1 five
			M retires L compromised
			= 1.1 replaced
			= 1.2 released
			= 1.3 replaced
			# signed by another since
			= 1.4 released
			= 1.5 waiting
			= covers 1 L, who signed it, was retired
			= release 1 4
			M signs 1.5
			T collects 1.5`},
		{"a plain sign-off of what was collected by the corridor's yes is not voided with its key", false, oneJob + `
			L enrols M lead
			L opens-corridor 1 C
			C submits 1 one
			C submits 1 two
			C submits 1 three
			T collects 1.1
			T collects 1.3
			M signs 1.1 verdict=notice ! judgement-differs
			M signs 1.2
			M signs 1.3
			L limits l L2 worse=1.1
			M signs 1.1 warn=a
			= waits 1 read-back:1.3
			T closes-corridor 1 1 keep=3
			= alarms 1 not-read-back:1.3
			L retires M compromised
			= 1.1 replaced
			= 1.2 replaced
			= 1.3 released
			T reads-back 1.3 three
			= waits 1`},
		{"newer facts end it: limits, definition, fuel, limits of another name", false, oneJob + `
			L limits m M1
			L opens-corridor 1 C
			C submits 1 one
			L limits l L2
			= covers 1 there is a newer revision of its definition or limits
			C submits 1 two
			= 1.2 waiting
			T collects 1.1
			T closes-corridor 1 1
			L opens-corridor 1 C
			L defines d D2
			= covers 1 there is a newer revision of its definition or limits
			T closes-corridor 1 2
			L opens-corridor 1 C
			T amends 1 AB-1 fuel=E85
			= covers 1 the job has another fuel or other numbers now
			T closes-corridor 1 3
			L opens-corridor 1 C
			T amends 1 AB-1 fuel=E85 by=m
			= covers 1 the job has other limits now
			L limits other O1
			T closes-corridor 1 4
			L opens-corridor 1 C
			L limits l L3
			= covers 1 5`},
		{"a release that newer limits judge worse", false, oneJob + `
			L opens-corridor 1 C
			C submits 1 one verdict=caution
			C submits 1 two
			L limits l L2 worse=1.1
			= waits 1 return:1.1 collect:1.2
			= alarms 1 older-limits:1.1
			T collects 1.1 warn=a ! needs-new-sign-off
			T collects 1.1 verdict=danger ! needs-new-sign-off
			T collects 1.2 verdict=caution ! needs-new-sign-off
			T collects 1.1 verdict=notice
			D signs 1.1 warn=a ! role
			D signs 1.1 ! role
			L signs 1.1 verdict=danger ! danger
			L signs 1.1 warn=a
			= alarms 1 not-read-back:1.1
			T collects 1.1 warn=a`},
		{"what it starts from is recalled", false, oneJob + `
			C submits 1 start
			L signs 1.1
			L opens-corridor 1 C from=1
			C submits 1 one
			T returns 1.1
			= covers 1 1.1, from which it starts, is a release no more: returned
			C submits 1 two
			= 1.3 waiting
			= 1.2 released
			T collects 1.2
			T closes-corridor 1 1
			L opens-corridor 1 C from=1 ! state
			L opens-corridor 1 C from=9 ! not-found
			L opens-corridor 1 C from=2`},
		{"what it starts from was judged worse, or its sign-off voided", false, oneJob + `
			L enrols M lead
			C submits 1 start
			M signs 1.1
			L limits l L2 worse=1.1
			L opens-corridor 1 C from=1 ! needs-new-sign-off
			M signs 1.1
			L opens-corridor 1 C from=1
			L retires M compromised
			= covers 1 1.1, from which it starts, is a release no more: waiting`},
		{"the read that it starts from is voided", false, oneJob + `
			L opens-corridor 1 C
			T reads 1 other differs
			= covers 1 1
			T voids 1 1
			= covers 1 the read as found, from which it starts, is another one now
			T reads 1 found differs
			T voids 1 2
			# the same bytes are as found again
			= covers 1 1`},
		{"closing it without a word on what stays", false, oneJob + `
			L opens-corridor 1 C
			C submits 1 one
			C submits 1 two
			T collects 1.1
			T closes-corridor 1 1
			= 1.1 released
			= 1.2 released
			= alarms 1 corridor-only:1.1 not-read-back:1.1
			T collects 1.2
			= alarms 1 corridor-only:1.2 not-read-back:1.2
			# whichever of them was not overwritten for certain may be in the car
			T reads-back 1.2 bad differs
			= alarms 1 corridor-only:1.1 corridor-only:1.2 readback-differs:1.back1
			T reads-back 1.2 two
			= alarms 1 corridor-only:1.2
			L signs 1.2
			= alarms 1
			= 1.2 in car`},
		{"keeping one", false, oneJob + `
			D submits 1 other
			L signs 1.1
			L opens-corridor 1 C
			C submits 1 one
			C submits 1 two
			C submits 1 three out=table:boost
			C submits 1 four
			L signs 1.3
			T closes-corridor 1 1 keep=9 ! not-found
			T closes-corridor 1 1 keep=1 ! corridor
			T closes-corridor 1 1 keep=4 ! corridor
			T collects 1.2
			T collects 1.3
			T closes-corridor 1 1 keep=5 ! not-collected
			T collects 1.5
			= waits 1 collect:1.1 read-back:1.5
			T closes-corridor 1 1 keep=5 because=enough
			= 1.1 released
			= 1.2 replaced
			= 1.3 released
			= 1.5 released
			= release 1 5
			= waits 1 collect:1.1 sign:1.5 read-back:1.5
			= alarms 1 corridor-only:1.5 not-read-back:1.5
			L signs 1.2 ! state
			T collects 1.2 ! state
			C signs 1.5 ! author
			D signs 1.5 ! role
			T reads-back 1.5 four
			= alarms 1 corridor-only:1.5
			L signs 1.5
			= alarms 1
			L signs 1.5 ! state`},
		{"keeping one that was not collected, or recalled since", false, oneJob + `
			L opens-corridor 1 C
			C submits 1 one
			C submits 1 two
			T collects 1.0
			T reads-back 1.0 found
			T closes-corridor 1 1 keep=2 ! not-collected
			T returns 1.1
			T closes-corridor 1 1 keep=1 ! state
			T collects 1.2
			T closes-corridor 1 1 keep=2
			= alarms 1 corridor-only:1.2 not-read-back:1.2
			D returns 1.2
			= alarms 1 not-read-back:1.2 recalled:1.2`},
		{"kept before anything of it was collected", false, oneJob + `
			C submits 1 start
			L signs 1.1
			T collects 1.1
			L opens-corridor 1 C from=1
			C submits 1 one
			T closes-corridor 1 1 keep=2
			= waits 1 collect:1.2 sign:1.2 read-back:1.1
			= alarms 1 corridor-only:1.2 not-read-back:1.1
			# as found again, before it was ever in the car
			T collects 1.0
			T reads-back 1.0 found
			= alarms 1`},
		{"back as found by a read, here or on its next visit", false, oneJob + `
			L opens-corridor 1 C
			C submits 1 one
			T collects 1.1
			T reads-back 1.1 one
			T closes 1 done
			= alarms 1 corridor-only:1.1
			T opens AB-1
			T reads 2 other differs
			= alarms 1 corridor-only:1.1
			T reads 2 found differs
			= alarms 1
			T voids 2 2
			= alarms 1 corridor-only:1.1`},
		{"the newest release decides what is taken", false, oneJob + `
			D submits 1 other
			L signs 1.1
			L opens-corridor 1 C
			C submits 1 one
			= release 1 2
			D submits 1 more
			L signs 1.3
			= waits 1 collect:1.3
			= release 1 0`},
		{"a one-person workshop", true, `
			L defines d D1
			L limits l L1
			L opens AB-1
			L reads 1 found
			L opens-corridor 1 L ! author
			L opens-corridor 1 L author ! bad-value
			L opens-corridor 1 L author reason=alone
			L submits 1 one
			= 1.1 released
			L collects 1.1
			L signs 1.1 ! author
			L closes-corridor 1 1 keep=1
			L signs 1.1 author reason=driven
			L enrols C calibrator
			L opens-corridor 1 C author reason=alone ! not-author
			L opens-corridor 1 C,L author reason=alone`},
		{"what was in the car at a run", false, oneJob + `
			= in 1 1.read1
			T runs 1 before of=1.read1
			T runs 1 before of=1.read2 ! not-found
			T runs 1 before of=1.1 ! not-found
			L opens-corridor 1 C
			C submits 1 one
			C submits 1 two
			T runs 1 after of=1.1 ! not-found
			T collects 1.1
			= in 1 1.1
			T runs 1 after of=1.1
			T collects 1.2
			= in 1 1.2
			T runs 1 after of=1.2 danger
			T runs 1 after of=1.1
			T reads-back 1.2 bad differs
			= in 1 unknown
			T collects 1.0
			= in 1 1.read1
			T cannot-read 1.0
			= in 1 unknown
			T collects 1.2
			T cannot-read 1.2
			= in 1 unknown
			T reads-back 1.2 two
			= in 1 1.2
			T reads 1 two
			= in 1 1.2
			T reads 1 tuned differs
			= in 1 1.read3
			T runs 1 after of=1.read3
			T opens AB-1
			T reads 2 tuned
			= in 1 unknown
			= in 2 2.read1
			T collects 1.1
			= in 1 1.1
			T voids 1 3
			T runs 1 after of=1.read3 ! not-found
			T runs 1 after of=2.read1 ! bad-value
			T runs 1 after of=1.run1 ! not-found
			T runs 1 after of=1 ! not-found
			T runs 1 after of=one ! bad-value`},
	} {
		t.Run(c.name, func(t *testing.T) {
			replays(t, newHistory(t, c.onePerson).script(c.script))
		})
	}
}

// TestWhoSaidYes: what was approved of each submission, by which entry, and whether a corridor alone did.
func TestWhoSaidYes(t *testing.T) {
	h := newHistory(t, false).script(oneJob + `
		L enrols M lead
		C submits 1 waits
		D signs 1.1
		L opens-corridor 1 C
		C submits 1 inside verdict=caution
		C submits 1 signed verdict=notice
		M signs 1.3
		C submits 1 outside out=cell:ignition
		T collects 1.2
		C submits 1 late
		M retires L compromised`)
	h.view(func(s *State) {
		j, _ := s.Job(1)
		var got []string
		for _, sub := range j.GetSubmissions() {
			signed, yes, by := Approved(j, sub)
			got = append(got, fmt.Sprintf("%s: %s by %s in %d, corridor %d, %q", sub.GetState(), signed.GetVerdict(), yes.GetPerson(), yes.GetEntry(), by.GetNumber(), sub.GetNotCovered()))
		}
		want := []string{
			`released: clear by D in 10, corridor 0, ""`, `released: caution by L in 11, corridor 1, ""`, `released: notice by M in 14, corridor 0, ""`,
			`replaced:  by  in 0, corridor 0, "cells"`, `waiting:  by  in 0, corridor 0, ""`,
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s", strings.Join(got, "\n"))
		}
	})
}

// TestCorridorTold: what is told of a corridor, and by what its job is found.
func TestCorridorTold(t *testing.T) {
	h := newHistory(t, false).script(oneJob + `
		L opens-corridor 1 C tables=spark_hill:2:2 reason=rollers
		C submits 1 one verdict=caution
		D submits 1 two
		T collects 1.1
		T runs 1 after of=1.1
		C submits 1 three
		T collects 1.3`)
	says := func(want string) {
		t.Helper()
		if got := look(h, func(s *State) string { return s.Alarms(1)[0].GetSays() }); got != want {
			t.Errorf("the alarm says %q, want %q", got, want)
		}
	}
	says("2 files of corridor 1 were collected and not read back, 1.3 last; the one that stays is read back before the car leaves")
	h.script("T reads-back 1.3 three\nT collects 1.3")
	says("1 file of corridor 1 was collected and not read back, 1.3; the one that stays is read back before the car leaves")
	h.script("T closes-corridor 1 1 keep=3 because=windy")
	h.view(func(s *State) {
		var told []string
		for _, e := range s.CarHistory(1).GetEvents() {
			told = append(told, strings.TrimSpace(e.GetEvent().GetPerson()+" "+e.GetWhat()+" "+e.GetVerdict()))
		}
		want := []string{"T job 1 opened", "T read 1 added, as found clear", "L opened corridor 1, from the read as found of job 1",
			"C 1.1 released by corridor 1 caution", "D 1.2 submitted, not covered by corridor 1: author clear", "T 1.1 collected caution",
			"T run 1 of 1.1 added, after", "C 1.3 released by corridor 1 clear", "T 1.3 collected clear", "T 1.3 read back: it matches",
			"T 1.3 collected clear", "T corridor 1 closed; 1.3 stays: windy"}
		if !slices.Equal(told, want) {
			t.Errorf("history:\n%s", strings.Join(told, "\n"))
		}
		for _, word := range []string{"rollers", "windy", "spark", "hill"} {
			if found := s.Find(Query{Words: []string{word}}); !slices.Equal(found, []uint32{1}) {
				t.Errorf("%q finds %v", word, found)
			}
		}
		var of []string
		for _, said := range s.Texts(1) {
			if said.Of.Part == ACorridor {
				of = append(of, said.Of.String()+" "+said.What+" "+said.Text)
			}
		}
		if got := strings.Join(of, ", "); got != "1.corridor1 reason rollers, 1.corridor1 reason windy, 1.corridor1 table spark_hill" {
			t.Errorf("said: %s", got)
		}
	})
}

// TestKeptWaitsForALead: nobody else signs what a corridor alone released, whatever its verdict.
func TestKeptWaitsForALead(t *testing.T) {
	h := newHistory(t, false).script(oneJob + `
		L enrols M lead+calibrator
		L opens-corridor 1 C,M
		M submits 1 one
		T closes-corridor 1 1 keep=1`)
	h.view(func(s *State) {
		var may []string
		s.Waits(func(w Wait) bool {
			for _, name := range []string{"C", "D", "L", "M", "T"} {
				if p, _ := s.Person(name); w.May(p, false) {
					may = append(may, w.String()+" "+name)
				}
			}
			return true
		})
		if got := strings.Join(may, ", "); got != "collect 1.1 L, collect 1.1 M, collect 1.1 T, sign 1.1 L" {
			t.Errorf("%s", got)
		}
	})
}

// TestDocumentsOfLaterForm: documents with a corridor in them are of a form that an older program does not
// write beside, and all others stay of the one before.
func TestDocumentsOfLaterForm(t *testing.T) {
	form := func(h *history) (out string) {
		h.view(func(s *State) { out = fmt.Sprint(s.head.GetForm(), s.Outdated(), s.Newer()) })
		return out
	}
	h := newHistory(t, false).script(oneJob)
	if got := form(h); got != "3 false false" {
		t.Errorf("without a corridor: %s", got)
	}
	h.script("L opens-corridor 1 C\nC submits 1 one")
	if got := form(h); got != "4 false false" {
		t.Errorf("with one: %s", got)
	}
	replays(t, h)
	if old := (&State{head: &recordv1.Head{Size: 9, Form: documentForm - 1}}); !old.Outdated() || old.Newer() {
		t.Error("an older form is not outdated")
	}
	if newer := (&State{head: &recordv1.Head{Size: 9, Form: 5}}); !newer.Outdated() || !newer.Newer() {
		t.Error("a newer form is not newer")
	}
}
