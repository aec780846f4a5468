package claims

import (
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// TestCarried: that a definition was carried over is what its file says, whatever the action claims.
func TestCarried(t *testing.T) {
	w := newWorld(t)
	hash := strings.Repeat("ab", 32)
	carried := fmt.Sprintf("name: tiny\ncarried: {definition: old, definition_sha256: %s, from_image_sha256: %s, to_image_sha256: %s}\n", hash, hash, hash)
	for i, text := range []string{tiny, strings.Replace(tiny, "name: tiny\n", carried, 1)} {
		if i == 1 {
			w.do(&recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(text)}}})
		}
		a := w.open("A", "", "")
		a.GetJob().DefinitionCarried = i == 0
		openings, _, err := w.fill(a)
		if w.ok(err); a.GetJob().GetDefinitionCarried() != (i == 1) {
			t.Errorf("file %d: claimed %v", i, a.GetJob().GetDefinitionCarried())
		}
		a.GetJob().DefinitionCarried = i == 0
		_, err = w.c.Check(w, a, openings)
		if reason, at := refused(t, err); at != "job.definition_carried" {
			t.Errorf("file %d: %s at %s: %v", i, reason, at, err)
		}
	}
}

// TestWhichCar opens and amends jobs: plates and frame numbers that are known already lead to their
// car, and where they do not agree somebody has to say.
func TestWhichCar(t *testing.T) {
	type say struct{ plate, frame, said string }
	for _, c := range []struct {
		what  string
		known []say // jobs before, in order
		amend uint32
		now   say
		car   uint32 // 0 for a new one
		doubt string
	}{
		{what: "nobody knows it", now: say{"A", "", ""}},
		{what: "by its plate, however it is written", known: []say{{"AB-1", "", ""}}, now: say{"a b 1", "", ""}, car: 1},
		{what: "by its frame number", known: []say{{"A", "F", ""}, {"B", "G", ""}}, now: say{"A", "F", ""}, car: 1},
		{what: "a plate that has no frame number yet", known: []say{{"A", "", ""}}, now: say{"A", "F", ""}, car: 1},
		{what: "a plate of two cars, newest first", known: []say{{"A", "", ""}, {"A", "", "another"}}, now: say{"A", "", ""}, car: 2},
		{what: "the frame number decides between two cars of a plate", known: []say{{"A", "F", ""}, {"A", "G", "another"}}, now: say{"A", "F", ""}, car: 1},
		{what: "a frame number of two cars, newest first", known: []say{{"A", "F", ""}, {"A", "F", "another"}}, now: say{"B", "F", "same"}, car: 2},
		{what: "another plate", known: []say{{"A", "F", ""}}, now: say{"B", "F", ""}, doubt: "car 1 has this frame number and another plate"},
		{what: "another plate, the same car", known: []say{{"A", "F", ""}}, now: say{"B", "F", "same"}, car: 1},
		{what: "another plate, another car", known: []say{{"A", "F", ""}}, now: say{"B", "F", "another"}},
		{what: "another car's plate", known: []say{{"A", "F", ""}, {"B", "G", ""}}, now: say{"B", "F", ""}, doubt: "car 1 has this frame number and another plate"},
		{what: "another car's plate, the frame number counts", known: []say{{"A", "F", ""}, {"B", "G", ""}}, now: say{"B", "F", "same"}, car: 1},
		{what: "another frame number", known: []say{{"A", "F", ""}}, now: say{"A", "G", ""}, doubt: "car 1 is known by this plate"},
		{what: "another frame number, the same car", known: []say{{"A", "F", ""}}, now: say{"A", "G", "same"}, car: 1},
		{what: "another frame number, another car", known: []say{{"A", "F", ""}}, now: say{"A", "G", "another"}},
		{what: "another car that has its plate", known: []say{{"A", "", ""}}, now: say{"A", "", "another"}},
		{what: "the same as nobody", now: say{"A", "", "same"}},

		{what: "amended: nothing of it", known: []say{{"A", "F", ""}}, amend: 1, now: say{"A", "F", ""}, car: 1},
		{what: "amended: said to be another once, and kept", known: []say{{"A", "", ""}, {"A", "", "another"}}, amend: 2, now: say{"A", "", ""}, car: 2},
		{what: "amended: its plate, which nobody knows", known: []say{{"A", "F", ""}}, amend: 1, now: say{"B", "F", ""}, car: 1},
		{what: "amended: its plate, one of several jobs", known: []say{{"A", "F", ""}, {"A", "F", ""}}, amend: 2, now: say{"B", "F", ""}, car: 1},
		{what: "amended: its frame number, which nobody knows", known: []say{{"A", "F", ""}}, amend: 1, now: say{"A", "G", ""}, car: 1},
		{what: "amended: its frame number, and others of its car have one", known: []say{{"A", "F", ""}, {"A", "", ""}}, amend: 2, now: say{"A", "G", ""}, doubt: "car 1 is known by this plate"},
		{what: "amended: both, and others of its car have another", known: []say{{"A", "F", ""}, {"A", "F", ""}}, amend: 2, now: say{"B", "G", ""}, doubt: "or is the job's"},
		{what: "amended: to another car's plate", known: []say{{"A", "", ""}, {"B", "", ""}}, amend: 2, now: say{"A", "", ""}, car: 1},
		{what: "amended: to another car's plate, and it is not that one", known: []say{{"A", "", ""}, {"B", "", ""}}, amend: 2, now: say{"A", "", "another"}, car: 2},
		{what: "amended: not the car that it was taken for", known: []say{{"A", "", ""}, {"A", "", ""}}, amend: 2, now: say{"A", "", "another"}},
		{what: "amended: to another car's frame number", known: []say{{"A", "F", ""}, {"B", "G", ""}}, amend: 2, now: say{"B", "F", ""}, doubt: "car 1 has this frame number and another plate"},
		{what: "amended: to another car's plate and frame number", known: []say{{"A", "F", ""}, {"B", "G", ""}}, amend: 2, now: say{"A", "F", ""}, car: 1},
	} {
		w := newWorld(t)
		for _, k := range c.known {
			w.do(w.open(k.plate, k.frame, k.said))
		}
		a := w.open(c.now.plate, c.now.frame, c.now.said)
		if c.amend != 0 {
			w.sealed = nil
			a = w.amend(c.amend, c.now.plate, c.now.frame, c.now.said)
		}
		openings, _, err := w.fill(a)
		if c.doubt != "" {
			reason, at := refused(t, err)
			if reason != ReasonCarSaid || !strings.HasSuffix(at, "details.car_said") || !strings.Contains(err.Error(), c.doubt) || strings.Contains(err.Error(), c.now.frame) {
				t.Errorf("%s: %v", c.what, err)
			}
			continue
		}
		d := a.GetJob().GetDetails()
		if c.amend != 0 {
			d = a.GetAmend().GetDetails()
		}
		if err != nil || d.GetCar() != c.car {
			t.Errorf("%s: car %d, %v; want %d", c.what, d.GetCar(), err, c.car)
			continue
		}
		w.sealed = openings
		w.do(a) // the rules take it too
	}
}

// TestCarOfARead: the first read shows the car, later ones do not move it.
func TestCarOfARead(t *testing.T) {
	w := newWorld(t)
	w.do(w.open("A", "FRAME001", ""))
	w.do(w.open("B", "", ""))
	a := w.read(2, w.image(picture("FRAME001", 110)), "FRAME001")
	if w.do(a); a.GetRead().GetCar() != 1 || w.job(2).GetCar() != 1 {
		t.Errorf("car %d: it is known by its frame number", a.GetRead().GetCar())
	}
	if again := w.amend(2, "B", "", ""); w.do(again) == nil || again.GetAmend().GetDetails().GetCar() != 1 {
		t.Errorf("car %d: an amendment moved it", again.GetAmend().GetDetails().GetCar())
	}
	w.do(w.open("C", "FRAME001", "another"))
	a = w.read(3, w.image(picture("FRAME001", 110)), "FRAME001")
	if w.do(a); a.GetRead().GetCar() != 3 {
		t.Errorf("car %d: somebody said that it is another", a.GetRead().GetCar())
	}
}

// TestCarStays where the job's own is among those that a frame number tells, or its read told it.
func TestCarStays(t *testing.T) {
	w := newWorld(t)
	w.do(w.open("A", "FRAME001", ""))
	w.do(w.open("B", "FRAME001", "another"))
	a := w.read(1, w.image(picture("FRAME001", 110)), "FRAME001")
	if w.do(a); a.GetRead().GetCar() != 1 {
		t.Errorf("car %d: a newer one has its frame number too", a.GetRead().GetCar())
	}
	w = newWorld(t)
	w.do(w.open("A", "", ""))
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	w.do(w.open("B", "", ""))
	w.do(w.open("C", "", ""))
	w.do(w.read(3, w.image(picture("FRAME001", 110)), "FRAME001")) // it is car 1
	amended := w.amend(3, "B", "", "")
	if w.do(amended); amended.GetAmend().GetDetails().GetCar() != 1 {
		t.Errorf("car %d: its read says which it is", amended.GetAmend().GetDetails().GetCar())
	}
}

// lookingBack is a source that knows that a job was erased since.
func lookingBack(src Source, job uint32) *Past {
	return &Past{Source: src, erased: map[uint32]bool{job: false}}
}

// TestErased: looking back, what was erased is passed over and the rest is checked.
func TestErased(t *testing.T) {
	w := story(t)
	c := New()
	for _, e := range w.entered {
		src := past{w, e.before}
		if len(e.openings) > 0 {
			_, err := c.Check(src, e.action, nil)
			if reason, _ := refused(t, err); reason != "opening" {
				t.Errorf("texts are kept back: %v", err)
			}
			if _, err := c.Check(lookingBack(src, 2), e.action, nil); err == nil {
				t.Error("texts are kept back, and another job was erased")
			}
		}
		made, err := c.Check(lookingBack(src, 1), e.action, nil)
		if err != nil {
			t.Errorf("after its texts were erased: %v", err)
		} else if needs := e.action.GetJob() != nil || e.action.GetRead() != nil || e.action.GetAmend() != nil; made.Forgotten != needs {
			t.Errorf("forgotten %v: %v", made.Forgotten, e.action.GetBody())
		}
	}
	e := w.entered[2] // a job of a car that an erased job's labels may have told
	wrong := e.action.GetBody().(*recordv1.Action_Job).Job
	wrong.Details.LimitsFuel = nil
	if _, err := c.Check(lookingBack(past{w, e.before}, 1), e.action, nil); err == nil {
		t.Error("a claim that needs no text was passed over")
	}
}

// TestForgottenLabels: before an erasure is come to, looking back, the labels of that job are missing
// already, so that another job's car cannot be told; what needs no label is checked.
func TestForgottenLabels(t *testing.T) {
	w := newWorld(t)
	w.do(w.open("A", "", ""))
	w.do(w.open("A", "", ""))
	w.do(w.read(2, w.image(picture("FRAME001", 110)), "FRAME001"))
	then := newWorld(t) // the same ledger, without what the first job sealed
	for _, e := range w.entered[2:] {
		src := lookingBack(past{w, then.engine}, 1)
		made, err := New().Check(src, e.action, e.openings)
		if err != nil || !made.Forgotten && e.action != w.entered[2].action {
			t.Errorf("%v: %v", e.action.GetBody(), err)
		}
		wrong := proto.CloneOf(e.action)
		switch b := wrong.GetBody().(type) {
		case *recordv1.Action_Job:
			b.Job.Details.LimitsFuel = nil
		case *recordv1.Action_Read:
			b.Read.Check.Verdict = "notice"
		}
		if _, err := New().Check(src, wrong, e.openings); err == nil {
			t.Error("a claim that needs no label was passed over")
		}
		envelope, err := signoff.Seal(e.action, lead)
		w.ok(err)
		if e.action == w.entered[2].action {
			e.openings = nil
		}
		then.admit(record.MakeEntry(envelope, e.action.GetTime()), e.openings)
	}
}
