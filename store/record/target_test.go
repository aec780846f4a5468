package record

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/memory"
	"witnessmark/store/signoff"
)

// TestTargets: which entry each kind acts on, by the line of notation that made that entry.
func TestTargets(t *testing.T) {
	const made = oneJob + `
		L enrols C calibrator+technician
		C submits 1 first
		D signs 1.1
		L limits l L2
		T collects 1.1
		T reads-back 1.1 back
		C submits 1 second
		D returns 1.1
		T reads 1 again
		T collects 1.0
		L defines d D2
		T opens CD-2
		T amends 2 CD-3
		T opens EF-3
		T closes 3 done
		T opens GH-4
		T closes 4 done
		T reopens 4
		T opens IJ-5
		T closes 5 done
		L erases 5
		T runs 2 after danger
		L opens-corridor 1 C
		C submits 1 inside`
	h := newHistory(t, false).script(made)
	lines := []string{"genesis"}
	for _, l := range strings.Split(made, "\n") {
		if l = strings.TrimSpace(l); l != "" {
			lines = append(lines, l)
		}
	}
	seen := map[string]bool{}
	for _, c := range []struct{ line, acts string }{
		{"L enrols N technician", "genesis"},
		{"L enrols L lead+technician", "genesis"},
		{"L enrols C lead", "L enrols C calibrator+technician"},
		{"L retires D", "L enrols D calibrator"},
		{"L defines new N1", "genesis"},
		{"L defines d D3", "L defines d D2"},
		{"L limits new N1", "genesis"},
		{"L limits l L3", "L limits l L2"},
		{"L opens AB-2", "L defines d D2"},
		{"T amends 1 AB-2", "T opens AB-1"},
		{"T amends 2 AB-2", "T amends 2 CD-3"},
		{"T closes 2 done", "T amends 2 CD-3"},
		{"T reopens 3", "T closes 3 done"},
		{"T closes 4 done", "T reopens 4"},
		{"T reads 1 more", "T opens AB-1"},
		{"T runs 1 after", "T opens AB-1"},
		{"C notes 1 hello", "T opens AB-1"},
		{"C notes 5 hello", "L erases 5"},
		{"L erases 5 images", "L erases 5"},
		{"T voids 1 1", "T reads 1 found"},
		{"T voids 1 2", "T reads 1 again"},
		{"C submits 1 third", "T reads 1 found"},
		{"L signs 1.2", "C submits 1 second"},
		{"L returns 1.2", "C submits 1 second"},
		{"C withdraws 1.2", "C submits 1 second"},
		{"L signs 1.1", "D returns 1.1"},
		{"T collects 1.1", "D signs 1.1"},
		{"T collects 1.0", "T reads 1 found"},
		{"T reads-back 1.0 found", "T collects 1.0"},
		{"L settles 2 run-danger 2.run1", "T runs 2 after danger"},
		{"L opens-corridor 1 C", "T reads 1 found"},
		{"L opens-corridor 1 C from=3", "C submits 1 inside"},
		{"L opens-corridor 1 C from=1", "D returns 1.1"},
		{"T closes-corridor 1 1", "L opens-corridor 1 C"},
		{"T collects 1.3", "C submits 1 inside"},
		{"L signs 1.3", "C submits 1 inside"},
	} {
		var acts string
		h.tell(c.line, func(a *recordv1.Action) { acts, seen[kindOf(a)] = a.GetActsOn(), true })
		if !contains(lines, c.acts) || acts != look(h, func(s *State) string { return s.leaf(uint64(slices.Index(lines, c.acts))) }) {
			t.Errorf("%s: acts on another entry than %q", c.line, c.acts)
		}
	}
	if len(seen) != len(kinds) {
		t.Errorf("%d kinds of %d", len(seen), len(kinds))
	}
}

func TestTargetsThatAreNotThere(t *testing.T) {
	h := newHistory(t, false).script(staff + "T opens AB-1")
	for line, reason := range map[string]string{
		"L retires N": ReasonNotFound, "T reads 2 x": ReasonNotFound, "T runs 0 before": ReasonNotFound, "C submits 1 x": ReasonNoRead,
		"L signs 1.1": ReasonNotFound, "L returns 2.1": ReasonNotFound, "C withdraws 1.0": ReasonNotFound, "T collects 1.1": ReasonNotFound,
		"T collects 1.0": ReasonNoRead, "T reads-back 1.0 x": ReasonNotCollected, "T reads-back 3.0 x": ReasonNotFound,
		"T amends 2 x": ReasonNotFound, "T voids 1 1": ReasonNotFound, "L settles 1 recalled 1.1": ReasonNotFound, "L erases 7": ReasonNotFound,
		"L opens-corridor 1 C": ReasonNoRead, "L opens-corridor 1 C from=1": ReasonNotFound, "L opens-corridor 2 C": ReasonNotFound,
		"T closes-corridor 1 1": ReasonNotFound, "T closes-corridor 2 1": ReasonNotFound,
	} {
		h.tell(line, func(a *recordv1.Action) {
			_, err := look2(h, a)
			if r := refusalOf(t, err); r.Reason != reason {
				t.Errorf("%s: %s, want %s", line, r.Reason, reason)
			}
		})
	}
	if _, err := look2(h, &recordv1.Action{}); err != ErrUnknownKind {
		t.Errorf("an action of no kind: %v", err)
	}
}

func look2(h *history, a *recordv1.Action) (hash string, err error) {
	h.view(func(s *State) { hash, err = s.Target(a) })
	return hash, err
}

func TestLookups(t *testing.T) {
	h := newHistory(t, false).script(oneJob + `
		L defines a A1
		L limits l L2
		L limits l L1
		T opens CD-2
		T closes 1 done
		L enrols C calibrator pub=C2
		L retires D`)
	h.view(func(s *State) {
		id := func(name string) signoff.KeyID {
			p, ok := s.Person(name)
			if !ok {
				t.Fatalf("nobody called %s", name)
			}
			return signoff.KeyID(p.GetKeyId())
		}
		if p, ok := s.PersonByKey(id("C")); !ok || p.GetName() != "C" || p.GetEnrolled().GetEntry() != 2 || p.GetLatest() != 13 {
			t.Errorf("by the newer key: %v", p)
		}
		for what, id := range map[string]signoff.KeyID{"retired": id("D"), "nobody's": "SHA256:x", "older": signoff.Fingerprint(pub("C")), "server's": signoff.Fingerprint(pub("server"))} {
			if p, ok := s.PersonByKey(id); ok {
				t.Errorf("by a key that is %s: %v", what, p)
			}
		}
		if _, ok := s.Person("c"); ok {
			t.Error("c is C")
		}
		var names, files, jobs, open []string
		for _, p := range s.People() {
			names = append(names, p.GetName())
		}
		for _, kind := range []string{Definitions, Limits} {
			s.Revisions(kind, "", 0, func(f *recordv1.CatalogFile) bool {
				files = append(files, fmt.Sprint(f.GetName(), f.GetRevision()))
				return true
			})
		}
		s.Revisions(Limits, "l", 1, func(f *recordv1.CatalogFile) bool {
			files = append(files, fmt.Sprint("after", f.GetRevision()))
			return false
		})
		s.Jobs(1, func(j *recordv1.Job) bool { jobs = append(jobs, j.GetPlate().GetText()); return true })
		s.OpenJobs(func(j *recordv1.Job) bool { open = append(open, j.GetPlate().GetText()); return true })
		for got, want := range map[string]string{
			strings.Join(names, " "): "C D L T", strings.Join(files, " "): "a1 d1 l1 l2 l3 after2", strings.Join(jobs, " "): "CD-2", strings.Join(open, "  "): "CD-2",
		} {
			if got != want {
				t.Errorf("%s, want %s", got, want)
			}
		}
		if jobs := s.CarJobs(2); len(jobs) != 1 || jobs[0].GetNumber() != 2 {
			t.Errorf("jobs of car 2: %v", jobs)
		}
		if f, ok := s.ByHash(Limits, sha("L1")); !ok || f.GetRevision() != 3 {
			t.Errorf("limits by hash: %v", f)
		}
		if f, ok := s.Revision(Limits, "l", 2); !ok || f.GetSha256() != sha("L2") {
			t.Errorf("revision 2: %v", f)
		}
		for index, want := range map[uint64]uint32{0: 0, 6: 1, 7: 0, 11: 2, 12: 0, 99: 0} {
			if got := s.JobOpenedBy(index); got != want {
				t.Errorf("entry %d opened job %d, want %d", index, got, want)
			}
		}
		_, newest := s.Newest("recipe", "none")
		_, job := s.Job(3)
		_, sub := s.Submission(1, 1)
		_, image := s.Image(sha("none"))
		if newest || job || sub || image || s.InCar(9) != nil || len(s.CarsByPlate("ZZ"))+len(s.CarsByFrame("")) != 0 || s.Root(99) != s.Root(100) {
			t.Error("something that is not there")
		}
	})
}

func TestNormalPlate(t *testing.T) {
	for in, want := range map[string]string{"ab-1": "AB1", " A B 1 ": "AB1", "b·mü 7": "BMÜ7", "": "", "-": "", "1.234": "1234"} {
		if got := NormalPlate(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
	if got := NormalFrame(" wvw zzz-1jz "); got != "WVWZZZ1JZ" {
		t.Errorf("frame: %q", got)
	}
}

func TestCarHistory(t *testing.T) {
	h := newHistory(t, false).script(oneJob + `
		T runs 1 before
		C submits 1 first warn=a
		D returns 1.1
		C submits 1 second verdict=caution
		C withdraws 1.2
		C submits 1 third
		D signs 1.3
		T collects 1.3
		T reads-back 1.3 back differs
		T cannot-read 1.3
		T reads-back 1.3 back
		T reads 1 same
		L returns 1.3
		L settles 1 recalled 1.3
		C submits 1 fourth
		D signs 1.4
		L retires D compromised
		T collects 1.0
		T opens ab1
		T reads 2 elsewhere differs
		T voids 2 1
		C notes 2 hello
		T amends 2 AB-1
		T closes 2 done
		T reopens 2
		T closes 2 cancelled
		L erases 2`)
	want := []string{
		"T job 1 opened", "T read 1 added, as found clear", "T run 1 added, before", "C 1.1 submitted warning",
		"D 1.1 returned: too much advance", "C 1.2 submitted caution", "C 1.2 withdrawn", "C 1.3 submitted clear",
		"D 1.3 signed off clear", "T 1.3 collected clear", "T 1.3 read back: it differs",
		"T 1.3 written, not read back: the controller locks reading", "T 1.3 read back: it matches",
		"T read 2 added; as job 1 left it clear", "L 1.3 recalled: too much advance", "L recalled of 1.3 settled: asked its owner",
		"C 1.4 submitted clear", "D 1.4 signed off clear",
		"L sign-off of 1.4 voided: its key was compromised", "T the read as found of job 1 collected", "T job 2 opened",
		"T read 1 added, as found; not as job 1 left it clear", "T read 1 voided: another car's", "C a note", "T job 2 amended",
		"T job 2 closed: done", "T job 2 reopened: another day on the rolling road", "T job 2 closed: cancelled", "L job 2 erased: its owner asked",
	}
	history := look(h, func(s *State) *recordv1.CarHistory { return s.CarHistory(1) })
	for i, e := range history.GetEvents() {
		got := strings.TrimSpace(e.GetEvent().GetPerson() + " " + e.GetWhat() + " " + e.GetVerdict())
		if i >= len(want) || got != want[i] {
			t.Errorf("event %d: %q, want %q", i, got, want[min(i, len(want)-1)])
		}
	}
	if len(history.GetEvents()) != len(want) {
		t.Errorf("%d events, want %d", len(history.GetEvents()), len(want))
	}
	if in := history.GetInCar(); in.GetJob() != 1 || in.GetImageSha256() != sha("same") || !history.GetPlate().GetErased() {
		t.Errorf("in car: %v, plate %v", in, history.GetPlate())
	}
}

// TestDecidedAlike: what a server makes of an action (decide, make the entry, apply) gives the documents
// that a client gets who judges the entry.
func TestDecidedAlike(t *testing.T) {
	h := lived(t)
	server := memory.New()
	for i, told := range h.told {
		err := server.Update(func(w store.WriteTx) error {
			s := Write(w)
			o, err := Judge(s, told.GetEntry())
			if err == nil && i > 0 {
				o = Decided(o.Signed, at(i))
				err = CheckOpenings(o, told.GetOpenings())
			}
			if err != nil {
				return err
			}
			index, err := s.Apply(o, told.GetOpenings())
			if index != uint64(i) || string(o.Entry) != string(told.GetEntry()) {
				t.Errorf("entry %d became %d", i, index)
			}
			return errors.Join(err, s.Finish())
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if d := differ(documents(t, server), documents(t, h.engine)); d != "" {
		t.Error(d)
	}
}

// TestMade: what each entry made or is about, by its name.
func TestMade(t *testing.T) {
	h := newHistory(t, false).script(oneJob + `
		C submits 1 first
		L opens-corridor 1 C
		C submits 1 inside
		T collects 1.2
		T runs 1 after of=1.2
		T reads-back 1.2 inside
		T closes-corridor 1 1 keep=2
		L signs 1.2
		L opens-corridor 1 D`)
	want := strings.Fields("1 1.read1 1.1 1.corridor1 1.2 1.2 1.run1 1.back1 1.corridor1 1.2 1.corridor2")
	h.view(func(s *State) {
		for i := len(h.told) - len(want); i < len(h.told); i++ {
			signed, err := s.Open(envelopeIn(t, h.told[i].GetEntry()))
			if err != nil {
				t.Fatal(err)
			}
			if got := s.Made(uint64(i), signed.Action).String(); got != want[i-len(h.told)+len(want)] {
				t.Errorf("entry %d, %s: %s, want %s", i, signed.Kind, got, want[i-len(h.told)+len(want)])
			}
		}
	})
}
