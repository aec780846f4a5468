package record

import (
	"strings"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// TestTargets: which entry each kind acts on, by the line of notation that made that entry.
func TestTargets(t *testing.T) {
	const made = oneJob + `
		L enrols C calibrator+technician
		C submits 1 first
		D signs 1.1
		L limits l L2
		T collects 1.1
		T reads-back 1.1 found
		C submits 1 second
		D returns 1.1
		T reads 1 again
		T collects 1.0
		L defines d D2
		L rekeys-server server2`
	h := newHistory(t, false).script(made)
	lines := []string{"genesis"}
	for _, l := range strings.Split(made, "\n") {
		if l = strings.TrimSpace(l); l != "" {
			lines = append(lines, l)
		}
	}
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
		{"T reads 1 more", "T opens AB-1"},
		{"T runs 1 after", "T opens AB-1"},
		{"C submits 1 third", "T reads 1 original"},
		{"L signs 1.2", "C submits 1 second"},
		{"L returns 1.2", "C submits 1 second"},
		{"C withdraws 1.2", "C submits 1 second"},
		{"L signs 1.1", "D returns 1.1"},
		{"T collects 1.1", "D signs 1.1"},
		{"T collects 1.0", "T reads 1 original"},
		{"T reads-back 1.0 found", "T collects 1.0"},
		{"L rekeys-server server3", "L rekeys-server server2"},
	} {
		a := &recordv1.Action{}
		h.body(a, parseLine(c.line))
		got, err := h.s.Target(a)
		if err != nil {
			t.Errorf("%s: %v", c.line, err)
			continue
		}
		for i, l := range lines {
			if l == c.acts && got != h.s.leaf(uint64(i)) {
				t.Errorf("%s: acts on another entry than %q", c.line, c.acts)
			}
		}
		if !contains(lines, c.acts) {
			t.Errorf("no line %q", c.acts)
		}
	}
}

func TestTargetsThatAreNotThere(t *testing.T) {
	h := newHistory(t, false).script(staff + "T opens AB-1")
	for line, reason := range map[string]string{
		"L retires N": ReasonNotFound, "T reads 2 x": ReasonNotFound, "T runs 0 before": ReasonNotFound, "C submits 1 x": ReasonNoOriginal,
		"L signs 1.1": ReasonNotFound, "L returns 2.1": ReasonNotFound, "C withdraws 1.0": ReasonNotFound, "T collects 1.1": ReasonNotFound,
		"T collects 1.0": ReasonNoOriginal, "T reads-back 1.0 x": ReasonNotCollected, "T reads-back 3.0 x": ReasonNotFound,
	} {
		a := &recordv1.Action{}
		h.body(a, parseLine(line))
		_, err := h.s.Target(a)
		if r := refusalOf(t, err); r.Reason != reason {
			t.Errorf("%s: %s, want %s", line, r.Reason, reason)
		}
	}
	if _, err := h.s.Target(&recordv1.Action{}); err != ErrUnknownKind {
		t.Errorf("an action of no kind: %v", err)
	}
}

// TestApplyWhatWasRefused: Apply meets entries that Decide would have refused only behind an entry
// of an unknown kind; it must take them all the same.
func TestApplyWhatWasRefused(t *testing.T) {
	h := newHistory(t, false).script(ready + "D signs 2.1\nT opens NEW-7")
	for _, f := range faults {
		size := h.s.Size
		Apply(h.s, h.entry(f.line, f.tweak))
		if h.s.Unknown || h.s.Size != size+1 {
			t.Fatalf("%s: unknown %v, size %d", f.line, h.s.Unknown, h.s.Size)
		}
		dump(h.s)
	}
}

func TestLookups(t *testing.T) {
	h := newHistory(t, false).script(oneJob + `
		L defines a A1
		L limits l L2
		L enrols C calibrator pub=C2
		L retires D`)
	s := h.s
	fingerprint := func(name string) string {
		p, ok := s.Person(name)
		if !ok {
			t.Fatalf("nobody called %s", name)
		}
		return p.GetKeyFingerprint()
	}
	if p, ok := s.PersonByKey(fingerprint("C")); !ok || p.GetName() != "C" || p.GetEnrolled().GetEntry() != 10 {
		t.Errorf("by the newer key: %v", p)
	}
	for what, id := range map[string]string{"retired": fingerprint("D"), "nobody's": "SHA256:x", "older": fingerprintOf("C"), "server's": fingerprintOf("server")} {
		if p, ok := s.PersonByKey(id); ok {
			t.Errorf("by a key that is %s: %v", what, p)
		}
	}
	if _, ok := s.Person("c"); ok {
		t.Error("c is C")
	}
	var names []string
	for _, p := range s.People() {
		names = append(names, p.GetName())
	}
	if got := strings.Join(names, " "); got != "L T C D" {
		t.Errorf("people: %s", got)
	}
	if d := s.Documents("definition"); len(d) != 2 || d[0].GetName() != "a" || d[1].GetName() != "d" {
		t.Errorf("definitions: %v", d)
	}
	if d := s.Documents("limits"); len(d) != 2 || d[0].GetRevision() != 1 || d[1].GetRevision() != 2 {
		t.Errorf("limits: %v", d)
	}
	if d, ok := s.Document("limits", sha("L1")); !ok || d.GetRevision() != 1 {
		t.Errorf("limits by hash: %v", d)
	}
	for _, kind := range []string{"limits", "recipe"} {
		_, byName := s.Newest(kind, "none")
		if _, ok := s.Document(kind, sha("none")); ok || byName {
			t.Errorf("%s that are not there", kind)
		}
	}
	if _, ok := s.Job(2); ok {
		t.Error("job 2")
	}
	if _, ok := s.Submission(1, 1); ok {
		t.Error("submission 1.1")
	}
	if _, ok := s.InCar("ZZ"); ok {
		t.Error("a car that never came")
	}
}
