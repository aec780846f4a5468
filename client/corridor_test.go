package client

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

func (w *world) plan(tables ...string) CorridorPlan {
	return CorridorPlan{Job: 1, Authors: []string{"cal"}, Tables: tables, Most: "caution", Maps: 2}
}

// A draft says what will be signed, and is signed as it was shown or not at all.
func TestCorridorDraft(t *testing.T) {
	w := newWorld(t)
	p := w.plan("ignition.base=2.50:0")
	p.Reason = " away until five "
	d, err := w.lead.DraftCorridor(ctx, p)
	w.must(nil, err)
	rows, err := w.lead.CorridorRows(w.job(), d.Corridor)
	w.must(nil, err)
	var said []string
	for _, row := range rows {
		said = append(said, strings.Join(row, ": "))
	}
	want := "starts from: the read as found (1.read1)|for maps of: cal|may change: ignition.base at most 2.5 deg up and 0 deg down|" +
		"verdict: at most caution|maps: 2|definition: bench, revision 1|limits: bench-98, revision 1|fuel: |because: away until five"
	if got := strings.Join(said, "|"); got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
	if len(w.job().GetCorridors()) != 0 {
		t.Error("a draft was signed")
	}
	w.document(Limits, strings.ReplaceAll(testLimits, "max: 60", "max: 50"))
	_, err = w.lead.SignCorridor(ctx, d)
	w.refusedAs(err, Refused, "is not the newest revision of bench-98")
	if d, err = w.lead.DraftCorridor(ctx, p); err != nil || d.Corridor.GetNumber() != 1 {
		t.Fatal(d, err)
	}
	opened, err := w.lead.SignCorridor(ctx, d)
	if err != nil || record.CorridorName(opened) != "1.corridor1" || opened.GetOpened().GetPerson() != "lead" || !proto.Equal(opened.GetAsked(), d.Corridor.GetAsked()) {
		t.Errorf("%v, %v", opened, err)
	}
}

// What the command takes is refused in one line that says what is right, before anything is signed.
func TestCorridorRefusals(t *testing.T) {
	w := newWorld(t)
	for _, c := range []struct {
		words  string
		kind   Kind
		change func(*CorridorPlan)
	}{
		{"allowed is ID=UP:DOWN", Usage, func(p *CorridorPlan) { p.Tables = []string{"ignition.base"} }},
		{"allowed is ID=UP:DOWN", Usage, func(p *CorridorPlan) { p.Tables = []string{"ignition.base=1:-1"} }},
		{"allowed is ID=UP:DOWN", Usage, func(p *CorridorPlan) { p.Tables = []string{"ignition.base=NaN:1"} }},
		{"allowed is ID=UP:DOWN", Usage, func(p *CorridorPlan) { p.Tables = []string{"ignition.base=1:1e999"} }},
		{"no such table; it has ignition.base", Usage, func(p *CorridorPlan) { p.Tables = []string{"boost=1:1"} }},
		{"given twice", Usage, func(p *CorridorPlan) { p.Tables = []string{bounds, bounds} }},
		{"not both 0", Refused, func(p *CorridorPlan) { p.Tables = []string{"ignition.base=0:0"} }},
		{"1 to 10000 tables", Refused, func(p *CorridorPlan) { p.Tables = nil }},
		{"1 to 100 people", Refused, func(p *CorridorPlan) { p.Authors = nil }},
		{"may not sign what they submit themselves", Refused, func(p *CorridorPlan) { p.Authors = []string{"lead"} }},
		{"notice, caution", Refused, func(p *CorridorPlan) { p.Most = "warning" }},
		{"1 to 1000", Refused, func(p *CorridorPlan) { p.Maps = 1001 }},
		{"starts from a release of its job", Usage, func(p *CorridorPlan) { p.From = "1.read2" }},
		{"not of job 1", Usage, func(p *CorridorPlan) { p.From = "2.1" }},
		{"job 1 has no submission 3", Usage, func(p *CorridorPlan) { p.From = "1.3" }},
		{"no job 7", Refused, func(p *CorridorPlan) { p.Job = 7 }},
	} {
		p := w.plan(bounds)
		c.change(&p)
		_, err := w.lead.OpenCorridor(ctx, p)
		if c.words == "no job 7" { // which the copy says, or the rules
			c.kind = KindOf(err)
		}
		w.refusedAs(err, c.kind, c.words)
	}
	if len(w.job().GetCorridors()) != 0 {
		t.Error("something was opened")
	}
	_, err := w.tech.CloseCorridor(ctx, 1, "", "")
	w.refusedAs(err, Usage, "no open corridor")
}

// From the start through what stays to a lead's own sign-off; and what each of its maps is said to be.
func TestCorridorDay(t *testing.T) {
	w := newWorld(t)
	w.must(w.lead.OpenCorridor(ctx, w.plan(bounds)))
	says := func(n uint32, want string) *Review {
		t.Helper()
		w.must(nil, w.tech.Sync(ctx))
		r, err := w.tech.Review(ctx, 1, n)
		w.must(nil, err)
		if got := r.Corridor.Says(); got != want {
			t.Errorf("1.%d: %s\nwant %s", n, got, want)
		}
		return r
	}
	w.submit("\x0a\x0b\x0c\x0e")
	first := says(1, "released by corridor 1 (1 of 2)")
	if first.Corridor.Before() != nil {
		t.Error("something is before the first")
	}
	w.submit("\x0a\x0b\x08\x11")
	says(2, "waits for a sign-off: outside corridor 1: ignition.base at 3000 1/min: 8 deg, 4 below the start; the corridor allows 2 down (and 1 more cell)")
	w.submit("\x0a\x0b\x0c\x20") // 32 deg
	says(3, "waits for a sign-off: it is warning, and corridor 1 covers at most caution")
	says(2, "was not released at once: outside corridor 1: ignition.base at 3000 1/min: 8 deg, 4 below the start; the corridor allows 2 down (and 1 more cell)")
	w.submit("\x09\x0b\x0c\x0f")
	last := says(4, "released by corridor 1 (2 of 2)")
	start, err := last.Corridor.FromStart()
	w.must(nil, err)
	before, err := w.tech.FromBefore(ctx, last.Corridor)
	w.must(nil, err)
	if s, b := start.GetTables()[0], before.GetTables()[0]; s.GetChanged() != 2 || s.GetDelta().GetMax() != 2 || s.GetDelta().GetMin() != -1 || b.GetDelta().GetMax() != 1 || Name(last.Corridor.Before()) != "1.1" {
		t.Errorf("from the start %v, from the one before %v", s, b)
	}
	// Its maps are used up: what comes now carries nothing, and waits.
	w.submit("\x0a\x0b\x0c\x0e")
	if r, err := w.cal.Review(ctx, 1, 5); err != nil || r.Corridor != nil || r.Submission.GetState() != record.Waiting {
		t.Errorf("after the last: %v, %v", r.Submission, err)
	}
	w.must(w.tech.Collect(ctx, Collecting{Job: 1, Out: w.path("out.bin"), Frame: frame}))
	closed, err := w.tech.CloseCorridor(ctx, 1, "1.4", "the day is over")
	w.must(nil, err)
	if closed.GetKept() != 4 || CorridorState(closed) != "closed, 2 of 2 maps" {
		t.Error(closed)
	}
	alone := func(c *Client) (list []Alarm) {
		alarms, err := c.AlarmsNow(1)
		w.must(nil, err)
		return slices.DeleteFunc(alarms, func(a Alarm) bool { return a.Alarm != record.CorridorOnly })
	}
	if list := alone(w.tech); len(list) != 1 || list[0].About != "1.4" || list[0].Submission != "1.4" {
		t.Errorf("%v", list)
	}
	w.must(nil, w.lead.Sync(ctx))
	tray, err := w.lead.Tray(ctx, 0)
	w.must(nil, err)
	if !slices.ContainsFunc(tray.Waits, func(wait Wait) bool {
		return wait.Name == "1.4" && wait.Waits == record.ToSign && wait.Says == "by cal, released by corridor 1 alone and kept: waits for a lead's sign-off"
	}) {
		t.Errorf("%+v", tray.Waits)
	}
	r, err := w.lead.Review(ctx, 1, 4)
	w.must(nil, err)
	signed, err := w.lead.SignOff(ctx, r, nil, nil)
	w.must(nil, err)
	if y := YesTo(w.job(), signed); y.Corridor != nil || !strings.HasPrefix(y.Says(), "signed by lead, ") {
		t.Error(y)
	}
	if list := alone(w.lead); len(list) != 0 {
		t.Errorf("%v", list)
	}
}

// Proofs of a corridor's release: by a newer definition too, and no start where a lead signed it by itself since. What is
// replaced is none any more, for whoever's copy knows.
func TestCorridorProofs(t *testing.T) {
	w := newWorld(t).onRollingRoad()
	nobody, print := &Home{Dir: w.path("nobody")}, w.tech.Fingerprint()
	holds := func(out string, start, definition bool) *Verified {
		t.Helper()
		raw, err := os.ReadFile(w.path(out + ".proof.zip"))
		w.must(nil, err)
		files, err := unpack("proof", raw)
		w.must(nil, err)
		if (files[proofStart] != nil) != start || (files[proofCorridor] != nil) != definition {
			t.Errorf("%s: start %v, definition %v", out, files[proofStart] != nil, files[proofCorridor] != nil)
		}
		v, err := VerifyProof(nobody, w.path(out+".proof.zip"), print)
		w.must(nil, err)
		return v
	}
	collect := func(n uint32, out string) {
		t.Helper()
		w.must(w.tech.Collect(ctx, Collecting{Job: 1, Submission: n, Out: w.path(out), Frame: frame}))
	}
	v := holds("out.bin", true, false)
	if v.Yes.By.GetPerson() != "lead" || record.CorridorName(v.Yes.Corridor) != "1.corridor1" || CorridorStart(v.Job, v.Yes.Corridor.GetAsked()).String() != "1.read1" {
		t.Errorf("%+v", v.Yes)
	}
	w.submit("\x0a\x0b\x0c\x0f")
	w.document(Definitions, testDefinition+"# a word more\n")
	collect(2, "newer.bin")
	holds("newer.bin", true, true)
	w.must(w.tech.CloseCorridor(ctx, 1, "1.2", ""))
	w.must(nil, w.lead.Sync(ctx))
	r, err := w.lead.Review(ctx, 1, 2)
	w.must(nil, err)
	w.must(w.lead.SignOff(ctx, r, nil, nil))
	collect(2, "signed.bin")
	if v := holds("signed.bin", false, false); v.Yes.Corridor != nil {
		t.Errorf("%+v", v.Yes)
	}
	_, err = VerifyProof(w.tech.own.home, w.path("out.bin.proof.zip"), "")
	w.refusedAs(err, Distrust, "1.1 is replaced")
	_, err = VerifyProof(w.tech.own.home, w.path("newer.bin.proof.zip"), "")
	w.must(nil, err)
}

// A lead signs a map off in the moment in which it is collected: the proof is of the yes that it was collected by.
func TestProofOfTheYesThen(t *testing.T) {
	w := newWorld(t).onRollingRoad()
	taken := w.job().GetCollections()[0].GetCollected().GetEntry()
	w.must(nil, w.lead.Sync(ctx))
	w.signClear(1)
	w.must(nil, w.tech.Sync(ctx))
	r, err := w.tech.Review(ctx, 1, 1)
	w.must(nil, err)
	proof, err := w.tech.proof(ctx, r, w.job().GetCorridors()[0].GetAsked(), uint64(taken))
	w.must(nil, err)
	v, err := VerifyProof(w.tech.own.home, w.write("then.proof.zip", proof), "")
	if err != nil || v.Yes.Corridor == nil {
		t.Errorf("%+v, %v", v, err)
	}
}

// A calibrator says of a map that lies outside that it lies inside, and a server that was taken over admits it: nobody
// writes, signs or starts from it.
func TestFalseCorridorClaim(t *testing.T) {
	w := newWorld(t)
	w.must(w.lead.OpenCorridor(ctx, w.plan(bounds)))
	w.submit("\x0a\x0b\x0c\x11") // 4 deg above
	outside := w.sub()
	w.raw(w.cal, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{Job: 1, Image: outside.GetImage(),
		Judgement: outside.GetJudgement(), Corridor: &recordv1.InCorridor{Corridor: 1}}}})
	if s := w.job().GetSubmissions()[1]; s.GetState() != record.Released || s.GetByCorridor() != 1 {
		t.Fatalf("%v", s)
	}
	w.must(nil, w.tech.Sync(ctx))
	for _, c := range []*Client{w.tech, w.login("fresh", "tech")} {
		w.refusedAs(w.collect(c), Distrust, "1.2 is not to its corridor as it says")
		w.nothingWritten()
	}
	w.must(nil, w.lead.Sync(ctx))
	_, err := w.lead.Review(ctx, 1, 2)
	w.refusedAs(err, Distrust, "1.2 is not to its corridor as it says")
	w.must(w.tech.CloseCorridor(ctx, 1, "", ""))
	p := w.plan(bounds)
	p.From = "1.2"
	_, err = w.lead.OpenCorridor(ctx, p)
	w.refusedAs(err, Distrust, "1.2 is not to its corridor as it says")
	_, err = w.tech.VerifyLedger(ctx, true)
	w.refusedAs(err, Distrust, "says of its bytes what is not so")
}

// What somebody signed for their own maps is against the rules, whoever admitted it; and so is one map more than was signed.
func TestCorridorAgainstTheRules(t *testing.T) {
	for _, c := range []struct {
		words string
		lie   func(w *world)
	}{
		{"may not sign what they submit themselves", func(w *world) {
			o := w.job().GetCorridors()[0].GetAsked()
			o.Authors = []string{"lead"}
			w.must(w.tech.CloseCorridor(ctx, 1, "", ""))
			w.raw(w.lead, &recordv1.Action{Body: &recordv1.Action_Corridor{Corridor: o}})
		}},
		{"covers nothing more", func(w *world) {
			w.submit("\x0a\x0b\x0c\x0f")
			sub := w.sub()
			w.raw(w.cal, &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{Job: 1, Image: sub.GetImage(), Judgement: sub.GetJudgement(),
				Corridor: &recordv1.InCorridor{Corridor: 1}}}})
		}},
	} {
		w := newWorld(t)
		w.must(w.lead.OpenCorridor(ctx, w.plan(bounds)))
		w.submit("\x0a\x0b\x0c\x0e")
		w.must(nil, w.tech.Sync(ctx))
		c.lie(w)
		w.refusedAs(w.collect(w.tech), Distrust, "against the rules")
		w.nothingWritten()
		_, err := w.tryLogin("fresh", "tech")
		w.refusedAs(err, Distrust, c.words)
	}
}

// In a one-person workshop the lead signs for their own maps, with a reason, and everything says so.
func TestOnePersonsCorridor(t *testing.T) {
	w := &world{TB: t, dir: t.TempDir()}
	w.fake = startFake(t, w.newKey("lead"), true)
	w.lead = w.login("lead", "lead")
	w.tech, w.cal = w.lead, w.lead
	w.document(Definitions, testDefinition)
	w.document(Limits, testLimits)
	w.must(w.open("HC 18"))
	w.read(1, testImage("\x0a\x0b\x0c\x0d"))
	p := w.plan(bounds)
	p.Authors = []string{"lead"}
	_, err := w.lead.OpenCorridor(ctx, p)
	w.refusedAs(err, Refused, "corridor.reason")
	p.Reason = "nobody else is here"
	w.must(w.lead.OpenCorridor(ctx, p))
	w.submit("\x0a\x0b\x0c\x0e")
	w.must(nil, w.collect(w.lead))
	sheet, err := os.ReadFile(w.path("out.bin.sheet.txt"))
	w.must(nil, err)
	if !strings.Contains(string(sheet), "; signed by its author: nobody else is here") {
		t.Errorf("%s", sheet)
	}
	v, err := VerifyProof(&Home{Dir: w.path("nobody")}, w.path("out.bin.proof.zip"), w.lead.Fingerprint())
	if err != nil || !v.Yes.ByAuthor {
		t.Errorf("%+v, %v", v, err)
	}
}

// What a corridor starts from is recalled in the middle of the day: what it released before that is still one, and its proof holds.
func TestCorridorStartRecalled(t *testing.T) {
	w := newWorld(t)
	w.submit("\x0a\x0b\x0c\x0e")
	w.must(nil, w.lead.Sync(ctx))
	w.signClear(1)
	p := w.plan(bounds)
	p.From = "1.1"
	w.must(w.lead.OpenCorridor(ctx, p))
	w.submit("\x0a\x0b\x0c\x0f")
	w.must(w.tech.ReturnSubmission(ctx, 1, 1, "it knocks"))
	w.must(nil, w.collect(w.tech))
	v, err := VerifyProof(&Home{Dir: w.path("nobody")}, w.path("out.bin.proof.zip"), w.tech.Fingerprint())
	w.must(nil, err)
	if Name(v.Submission) != "1.2" || CorridorStart(v.Job, v.Yes.Corridor.GetAsked()).String() != "1.1" {
		t.Errorf("%v", v.Submission)
	}
}

// A map is recalled in the middle of the day, and its author goes back to it: that one waits for somebody to look.
func TestCorridorTakesNothingBack(t *testing.T) {
	w := newWorld(t).onRollingRoad()
	w.must(w.tech.ReturnSubmission(ctx, 1, 1, "it knocks"))
	w.must(nil, w.cal.Sync(ctx))
	w.submit("\x0a\x0b\x0c\x0e")
	w.must(nil, w.lead.Sync(ctx))
	r, err := w.lead.Review(ctx, 1, 2)
	w.must(nil, err)
	if got, want := r.Corridor.Says(), "waits for a sign-off: it is the same file as 1.1, which tech returned"; got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
	_, err = w.tech.Collect(ctx, Collecting{Job: 1, Out: w.path("again.bin"), Frame: frame})
	w.refusedAs(err, Refused, "job 1 has no release: 1.2 is waiting")
	w.signClear(2)
	w.must(w.tech.Collect(ctx, Collecting{Job: 1, Out: w.path("again.bin"), Frame: frame}))
	_, err = VerifyProof(&Home{Dir: w.path("nobody")}, w.path("again.bin.proof.zip"), w.tech.Fingerprint())
	w.must(nil, err)
}

// An author's key is in other hands: what it submitted into the corridor waits, and what was collected of it verifies no more.
func TestCorridorOfACompromisedAuthor(t *testing.T) {
	w := newWorld(t).onRollingRoad()
	w.submit("\x0a\x0b\x0c\x0f")
	w.must(nil, w.lead.Sync(ctx))
	ends, err := w.lead.Retiring("cal")
	if err != nil || !slices.Equal(ends.Void, []string{"1.2"}) {
		t.Errorf("%+v, %v", ends, err)
	}
	w.must(w.lead.Retire(ctx, "cal", true))
	_, err = w.tech.Collect(ctx, Collecting{Job: 1, Submission: 2, Out: w.path("other.bin"), Frame: frame})
	w.refusedAs(err, Refused, "1.2 is waiting")
	_, err = VerifyProof(w.tech.own.home, w.path("out.bin.proof.zip"), "")
	w.refusedAs(err, Distrust, "1.1 was submitted by cal, whose key was compromised since")
}

// A run is of what was in the car: what was read, then what was collected, and what somebody says.
func TestRunOf(t *testing.T) {
	w := newWorld(t)
	torque := 200
	add := func(when, of string) (string, error) {
		torque++
		path := w.write("run.csv", fmt.Appendf(nil, "time [s],engine_speed [1/min],torque [N.m]\n0,1500,%d\n1,3000,%d\n", torque, torque))
		r, err := w.tech.AddRunOf(ctx, 1, path, "", when, of)
		return r.GetOf(), err
	}
	is := func(when, of, want string) {
		t.Helper()
		if got, err := add(when, of); err != nil || got != want {
			t.Errorf("of %q, want %q: %v", got, want, err)
		}
	}
	is("before", "", "1.read1")
	w.onRollingRoad()
	is("after", "", "1.1")
	is("after", "1.read1", "1.read1")
	_, err := add("after", "1.2")
	w.refusedAs(err, Refused, "a read, or a submission that was collected")
	_, err = add("during", "")
	w.refusedAs(err, Usage, "before and after")
	// Read back, it is what is known; something else, and nothing is.
	_, err = w.tech.Readback(ctx, 1, w.write("back.bin", testImage("\x0a\x0b\x0c\x0e")), "")
	w.must(nil, err)
	is("after", "", "1.1")
	_, err = w.tech.Readback(ctx, 1, w.write("back.bin", testImage("\x0a\x0b\x0c\x01")), "")
	w.must(nil, err)
	is("after", "", "")
}
