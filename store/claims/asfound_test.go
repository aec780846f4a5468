package claims

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// visit opens a job of a car and adds a read of it.
func (w *world) visit(plate string, found []byte, holes ...image.Range) uint32 {
	w.do(w.open(plate, "", ""))
	var n uint32
	w.ok(w.View(func(s *record.State) error { n = s.Head().GetJobs(); return nil }))
	w.do(w.read(n, w.image(found, holes...), "FRAME001"))
	return n
}

// asFoundOf submits a boost to a job, and says which boost it was compared with as found; 0 for none.
func (w *world) asFoundOf(job uint32, boost byte) byte {
	w.t.Helper()
	held, err := image.FromMessages(record.AsFound(w.job(job)).GetImage().GetRanges())
	w.ok(err)
	a := w.submit(job, w.image(picture("FRAME001", boost), image.Minus(image.Whole(0x1000, make([]byte, 0x80)).Held, held)...))
	_, made, err := w.fill(a)
	w.ok(err)
	sha := a.GetSubmission().GetJudgement().GetAsFoundSha256()
	if sha != made.Report.GetAsFound().GetSha256() {
		w.t.Errorf("the judgement names %q, its report %q", sha, made.Report.GetAsFound().GetSha256())
	}
	if sha == "" {
		return 0
	}
	found := w.blobs[sha][0x21]
	since := made.Report.GetTables()[0].GetFromAsFound()
	if want := float64(boost) - float64(found); found != boost && (since.GetChanged() != 1 || since.GetMax() != want || since.GetMin() != want) {
		w.t.Errorf("%v as found is %d and the submission %d: %v", sha, found, boost, since)
	}
	return found
}

// TestAsFound is the car's first read of this software, whatever visit it was in.
func TestAsFound(t *testing.T) {
	soft := strings.Replace(tiny, `, expect: "SW-1"`, "", 1)
	other := func(boost byte) []byte { return edited(picture("FRAME001", boost), 0, 'X') }
	for _, c := range []struct {
		what string
		file string
		do   func(w *world) (job uint32)
		want byte
	}{
		{"the first visit", tiny, func(w *world) uint32 { return w.visit("A", picture("FRAME001", 110)) }, 0},
		{"a later one", tiny, func(w *world) uint32 {
			w.visit("A", picture("FRAME001", 110))
			w.visit("A", picture("FRAME001", 120))
			return w.visit("A", picture("FRAME001", 130))
		}, 110},
		{"a later one, as it was", tiny, func(w *world) uint32 {
			w.visit("A", picture("FRAME001", 110))
			return w.visit("A", picture("FRAME001", 110))
		}, 0},
		{"as it was, after it was another", tiny, func(w *world) uint32 {
			w.visit("A", picture("FRAME001", 110))
			w.visit("A", picture("FRAME001", 120))
			return w.visit("A", picture("FRAME001", 110))
		}, 0},
		{"read second in an older job", tiny, func(w *world) uint32 {
			w.do(w.open("A", "", ""))
			n := w.visit("A", picture("FRAME001", 120))
			w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
			return n
		}, 0},
		{"read first in a newer job", tiny, func(w *world) uint32 {
			w.do(w.open("A", "", ""))
			w.visit("A", picture("FRAME001", 120))
			w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
			return 1
		}, 120},
		{"another software before", soft, func(w *world) uint32 {
			w.visit("A", other(90))
			w.visit("A", other(95))
			w.visit("A", picture("FRAME001", 110))
			return w.visit("A", picture("FRAME001", 120))
		}, 110},
		{"another software before, and none of this", soft, func(w *world) uint32 {
			w.visit("A", other(90))
			return w.visit("A", picture("FRAME001", 120))
		}, 0},
		{"the first was voided", tiny, func(w *world) uint32 {
			w.visit("A", picture("FRAME001", 100))
			w.visit("A", picture("FRAME001", 110))
			w.do(&recordv1.Action{Body: &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: 1, Read: 1, Because: "low battery"}}})
			return w.visit("A", picture("FRAME001", 120))
		}, 110},
		{"the first was erased", tiny, func(w *world) uint32 {
			w.visit("A", picture("FRAME001", 100))
			w.visit("A", picture("FRAME001", 110))
			w.do(&recordv1.Action{Body: &recordv1.Action_Close{Close: &recordv1.CloseJob{Job: 1, Outcome: "done"}}})
			w.do(&recordv1.Action{Body: &recordv1.Action_Erase{Erase: &recordv1.Erase{Job: 1, Images: true, Because: "sold"}}})
			return w.visit("A", picture("FRAME001", 120))
		}, 110},
		{"another car's", tiny, func(w *world) uint32 {
			w.visit("B", picture("FRAME001", 100))
			w.do(w.open("A", "", ""))
			w.do(w.read(2, w.image(picture("FRAME002", 120)), "FRAME002"))
			return 2
		}, 0},
		{"it lacks what tells the software", tiny, func(w *world) uint32 {
			w.visit("A", picture("FRAME001", 110), hole(0, 4))
			return w.visit("A", picture("FRAME001", 120))
		}, 110},
		{"it lacks what nobody asks of it", tiny, func(w *world) uint32 {
			w.visit("A", picture("FRAME001", 110), hole(0x40, 0x48))
			return w.visit("A", picture("FRAME001", 120))
		}, 110},
	} {
		w := newWorld(t)
		if c.file != tiny {
			w.do(&recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(c.file)}}})
		}
		if got := w.asFoundOf(c.do(w), 140); got != c.want {
			t.Errorf("%s: as found %d; want %d", c.what, got, c.want)
		}
	}
}

// TestAsFoundOfAnotherDefinition: fields tell the software where there are any; else the name of the
// definition does, and an image of another place or size is none.
func TestAsFoundOfAnotherDefinition(t *testing.T) {
	nameless := strings.Replace(tiny, `  - {id: software, address: 0x1000, length: 4, encoding: ascii, expect: "SW-1"}`+"\n", "", 1)
	if nameless == tiny {
		t.Fatal("the field stays")
	}
	rename := func(text string) string { return strings.Replace(text, "name: tiny", "name: other", 1) }
	for _, c := range []struct {
		what          string
		before, after string
		found         []byte
		want          byte
	}{
		{"renamed", tiny, rename(tiny), picture("FRAME001", 110), 110},
		{"no field, the same name", nameless, nameless, picture("FRAME001", 110), 110},
		{"no field, renamed", nameless, rename(nameless), picture("FRAME001", 110), 0},
		{"larger", strings.Replace(tiny, "size: 0x80", "size: 0x100", 1), rename(tiny), append(picture("FRAME001", 110), make([]byte, 0x80)...), 0},
		{"elsewhere", strings.NewReplacer("0x10", "0x20").Replace(tiny), rename(tiny), nil, 0},
	} {
		w := newWorld(t)
		w.do(&recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(strings.Replace(road, "applies_to: [tiny]\n", "", 1))}}})
		for _, file := range []string{c.before, c.after} {
			if file != tiny && w.newest(record.Definitions, "other").GetSha256() == "" {
				w.do(&recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(file)}}})
			}
			if c.before == c.after {
				break
			}
		}
		w.do(w.open("A", "", ""))
		im := w.image(c.found)
		if c.found == nil {
			elsewhere := image.Whole(0x2000, picture("FRAME001", 110))
			w.put(elsewhere.Bytes)
			im = elsewhere.Message()
		}
		w.do(w.read(1, im, "FRAME001"))
		a := w.open("A", "", "")
		if c.before != c.after {
			a.GetJob().Definition = w.newest(record.Definitions, "other")
		}
		w.do(a)
		w.do(w.read(2, w.image(picture("FRAME001", 120)), "FRAME001"))
		if got := w.asFoundOf(2, 140); got != c.want {
			t.Errorf("%s: as found %d; want %d", c.what, got, c.want)
		}
	}
}

// TestAsFoundIsAnInput: what the car first came with is among the things that a judgement names; where it
// is another now, signing and collecting compare again.
func TestAsFoundIsAnInput(t *testing.T) {
	w := newWorld(t)
	w.visit("A", picture("FRAME001", 110))
	n := w.visit("A", picture("FRAME001", 120))
	w.do(w.submit(n, w.image(picture("FRAME001", 150))))
	w.do(w.sign(n, 1))
	before := w.job(n).GetSubmissions()[0].GetSignOff().GetJudgement()
	w.do(&recordv1.Action{Body: &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: 1, Read: 1, Because: "of another day"}}})
	c := w.collect(n, 1)
	w.do(c)
	now := c.GetCollect().GetJudgement()
	if before.GetAsFoundSha256() == "" || now.GetAsFoundSha256() != "" || record.SameInputs(before, now) || before.GetReportSha256() == now.GetReportSha256() {
		t.Errorf("signed by %v, collected by %v", before, now)
	}
	wrong := proto.CloneOf(c)
	wrong.GetCollect().Judgement = proto.CloneOf(before)
	_, err := w.c.Check(w, wrong, nil)
	if reason, at := refused(t, err); reason != ReasonClaim || at != "collect.judgement.as_found_sha256" {
		t.Errorf("the older judgement: %v", err)
	}
}

// TestDrift: a limit on the way from what the car first came with. Where that becomes another read, a
// release that was signed as clear may be a warning: it needs a new sign-off then, and gets one.
func TestDrift(t *testing.T) {
	w := newWorld(t)
	drift := strings.Replace(road, "range: {unit: kPa, max: 200}", "change: {unit: kPa, max_up: 30, max_down: 30, since: as-found}", 1)
	w.do(&recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(drift)}}})
	w.visit("A", picture("FRAME001", 140))
	w.visit("A", picture("FRAME001", 120))
	n := w.visit("A", picture("FRAME001", 145))
	w.do(w.submit(n, w.image(picture("FRAME001", 160))))
	w.do(w.sign(n, 1))
	signed := w.job(n).GetSubmissions()[0].GetSignOff().GetJudgement()
	w.do(&recordv1.Action{Body: &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: 1, Read: 1, Because: "of another day"}}})
	c := w.collect(n, 1)
	_, _, err := w.fill(c)
	w.ok(err)
	now := c.GetCollect().GetJudgement()
	if signed.GetVerdict() != "clear" || now.GetVerdict() != "warning" || record.Worse(signed, now) == "" {
		t.Fatalf("signed %v, now %v", signed, now)
	}
	w.do(w.sign(n, 1, "high:boost"))
	w.do(w.collect(n, 1))
}

// counted is a source that counts what it is asked for.
type counted struct {
	*world
	views, blobs int
}

func (c *counted) View(fn func(*record.State) error) error { c.views++; return c.world.View(fn) }
func (c *counted) Blob(what string, sha image.Hash) ([]byte, error) {
	c.blobs++
	return c.world.Blob(what, sha)
}

// TestAsFoundIsOneLook: a car's fortieth visit asks the source for what its third does.
func TestAsFoundIsOneLook(t *testing.T) {
	w := newWorld(t)
	var views, blobs int
	for i := range byte(40) {
		n := w.visit("A", picture("FRAME001", 100+i))
		src := &counted{world: w}
		if _, err := New().Fill(src, w.submit(n, w.image(picture("FRAME001", 180))), w.sealed); err != nil {
			t.Fatal(err)
		}
		w.sealed = nil
		if i == 2 {
			views, blobs = src.views, src.blobs
		}
		if i > 2 && (src.views != views || src.blobs != blobs) {
			t.Fatalf("visit %d: %d looks and %d files, the third %d and %d", i+1, src.views, src.blobs, views, blobs)
		}
	}
}

// TestRuleSinceAsFoundOnTheFirstVisit: what a car came with is known in its first job too.
func TestRuleSinceAsFoundOnTheFirstVisit(t *testing.T) {
	w := newWorld(t)
	since := strings.Replace(road, "range: {unit: kPa, max: 200}", "change: {unit: kPa, max_up: 15, since: as-found}", 1)
	w.do(&recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(since)}}})
	for job, want := range []string{"warning", "clear"} { // in another visit the first one counts
		n := w.visit("A", picture("FRAME001", byte(110+10*job)))
		a := w.submit(n, w.image(picture("FRAME001", byte(126-2*job))))
		_, made, err := w.fill(a)
		w.ok(err)
		if got := a.GetSubmission().GetJudgement().GetVerdict(); got != want || len(made.Report.GetUnjudged()) > 0 {
			t.Errorf("visit %d: %s, unjudged %v", job+1, got, made.Report.GetUnjudged())
		}
	}
}
