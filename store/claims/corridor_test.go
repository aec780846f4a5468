package claims

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
)

// wide is tiny with two more tables, one of labels.
var wide = strings.Replace(tiny, "checksums:", `  - {id: trim, unit: "%", stored: {address: 0x1030, type: u8}, conversion: {factor: 0.1}}
  - {id: mode, stored: {address: 0x1031, type: u8}, conversion: {labels: {0: "off", 1: "on"}}}
checksums:`, 1)

// corridor is one of ten maps for the world's one person, from the read as found or a release.
func (w *world) corridor(job, from uint32, tables ...*recordv1.CorridorTable) *recordv1.Action {
	j := w.job(job)
	o := &recordv1.OpenCorridor{Job: job, From: from, FromSha256: record.AsFound(j).GetImage().GetSha256(), Authors: []string{"L"}, Tables: tables,
		Most: "caution", Maps: 10, Definition: w.newest(record.Definitions, "tiny"), Limits: w.newest(record.Limits, "road"),
		Fuel: j.GetFuel(), Numbers: j.GetNumbers(), Reason: "I am alone today", ByAuthor: true}
	if from != 0 {
		o.FromSha256 = j.GetSubmissions()[from-1].GetImage().GetSha256()
	}
	return &recordv1.Action{Body: &recordv1.Action_Corridor{Corridor: o}}
}

func upTo(table, up, down string) *recordv1.CorridorTable {
	return &recordv1.CorridorTable{Table: table, Up: up, Down: down}
}

// rolling is a job with a read at 110 kPa, by the wide definition.
func rolling(t *testing.T) *world {
	w := newWorld(t)
	w.do(&recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(wide)}}})
	w.do(w.open("AB-1", "", ""))
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	return w
}

// TestOpenCorridor: what it says of its tables is written in one way, and refused in any other.
func TestOpenCorridor(t *testing.T) {
	w := rolling(t)
	a := w.corridor(1, 0, upTo("trim", "2.50", "0"), upTo("boost", "010", "5.0"))
	openings, _, err := w.fill(a)
	w.ok(err)
	want := []*recordv1.CorridorTable{{Table: "boost", Up: "10", Down: "5", Unit: "kPa"}, {Table: "trim", Up: "2.5", Down: "0", Unit: "%"}}
	if got := a.GetCorridor().GetTables(); !slices.EqualFunc(got, want, func(a, b *recordv1.CorridorTable) bool { return proto.Equal(a, b) }) {
		t.Fatalf("filled: %v", got)
	}
	for _, c := range []struct {
		what, reason, at, says string
		spoil                  func(o *recordv1.OpenCorridor)
	}{
		{"another program's order", ReasonClaim, "corridor.tables[0].table", "the action says trim; right is boost", func(o *recordv1.OpenCorridor) { slices.Reverse(o.Tables) }},
		{"another unit", ReasonClaim, "corridor.tables[1].unit", "the action says bar; right is %", func(o *recordv1.OpenCorridor) { o.Tables[1].Unit = "bar" }},
		{"no unit", ReasonClaim, "corridor.tables[0].unit", "right is kPa", func(o *recordv1.OpenCorridor) { o.Tables[0].Unit = "" }},
		{"digits too many", ReasonClaim, "corridor.tables[1].up", "the action says 2.50; right is 2.5", func(o *recordv1.OpenCorridor) { o.Tables[1].Up = "2.50" }},
		{"an exponent", ReasonClaim, "corridor.tables[0].down", "right is 50", func(o *recordv1.OpenCorridor) { o.Tables[0].Down = "5e1" }},
		{"no number", record.ReasonBadValue, "corridor.tables", "allowed: decimal numbers", func(o *recordv1.OpenCorridor) { o.Tables[0].Down = "much" }},
		{"below 0", record.ReasonBadValue, "corridor.tables", "table boost: -1 up", func(o *recordv1.OpenCorridor) { o.Tables[0].Up = "-1" }},
		{"not finite", record.ReasonBadValue, "corridor.tables", "table boost: +Inf up", func(o *recordv1.OpenCorridor) { o.Tables[0].Up = "inf" }},
		{"no table", record.ReasonBadValue, "corridor.tables", "allowed: boost, trim, mode", func(o *recordv1.OpenCorridor) { o.Tables[0].Table = "none" }},
		{"labels", record.ReasonBadValue, "corridor.tables", "table mode holds no numbers", func(o *recordv1.OpenCorridor) { o.Tables[1].Table = "mode" }},
		{"no job", record.ReasonNotFound, "corridor.job", "", func(o *recordv1.OpenCorridor) { o.Job = 9 }},
	} {
		wrong := proto.CloneOf(a)
		c.spoil(wrong.GetCorridor())
		_, err := New().Check(w, wrong, openings)
		if reason, at := refused(t, err); reason != c.reason || at != c.at || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %s at %s: %v", c.what, reason, at, err)
		}
	}
	w.do(a)
}

// TestInCorridor: while a corridor covers, each submission says how it lies to it, and nothing else passes.
func TestInCorridor(t *testing.T) {
	w := rolling(t)
	trimmed := func(boost, trim byte) []byte { return edited(picture("FRAME001", boost), 0x30, trim) }
	before := w.submit(1, w.image(trimmed(110, 7)))
	if made := w.do(before); made.Corridor != nil || before.GetSubmission().GetCorridor() != nil {
		t.Error("no corridor is open, and the submission speaks of one")
	}
	w.do(w.sign(1, 1))
	w.do(w.corridor(1, 1, upTo("boost", "20", "10")))
	for i, c := range []struct {
		what        string
		bytes       []byte
		want        []*recordv1.Outside
		says, state string
	}{
		{"inside", trimmed(130, 7), nil, "", record.Released},
		{"beyond", trimmed(131, 7), []*recordv1.Outside{{What: "cell", Table: "boost", At: []uint32{0, 0, 1}, Address: 0x1021}},
			"boost at 2000 1/min: 131 kPa, 21 above the start; the corridor allows 20 up", record.Waiting},
		{"as the read was, where the release was not", trimmed(120, 0), []*recordv1.Outside{{What: "table", Table: "trim", At: []uint32{0, 0, 0}, Address: 0x1030}},
			"trim: 0 %, 0.7 % at the start; the corridor leaves this table as it is", record.Waiting},
		{"learned", edited(trimmed(120, 7), 0x61, 9), []*recordv1.Outside{{What: "bytes", Address: 0x1061}},
			"what lies at 0x1061, where the controller keeps what it learned, differs from the start; the corridor leaves it as it is", record.Waiting},
	} {
		a := w.submit(1, w.image(c.bytes))
		a.GetSubmission().MeantGiven, a.GetSubmission().Meant = false, nil
		made := w.do(a)
		if got := a.GetSubmission().GetCorridor(); !proto.Equal(got, &recordv1.InCorridor{Corridor: 1, Outside: c.want}) {
			t.Errorf("%s: %v", c.what, got)
		}
		if says := strings.Join(made.Corridor.Outside, "\n"); says != c.says {
			t.Errorf("%s: says %q", c.what, says)
		}
		n := uint32(i + 2)
		if sub := w.job(1).GetSubmissions()[n-1]; sub.GetState() != c.state {
			t.Errorf("%s: is %s", c.what, sub.GetState())
		}
		if again, err := New().Corridor(w, 1, n); err != nil || strings.Join(again.Outside, "\n") != c.says || !proto.Equal(again.In, made.Corridor.In) {
			t.Errorf("%s, later: %v, %v", c.what, again, err)
		}
	}
	if l, err := New().Corridor(w, 1, 1); l != nil || err != nil {
		t.Errorf("of a submission that speaks of none: %v, %v", l, err)
	}
	w.do(&recordv1.Action{Body: &recordv1.Action_CorridorClose{CorridorClose: &recordv1.CloseCorridor{Job: 1, Corridor: 1, Because: "done"}}})
	after := w.submit(1, w.image(trimmed(125, 7)))
	if made := w.do(after); made.Corridor != nil || after.GetSubmission().GetCorridor() != nil {
		t.Error("the corridor is closed, and the submission speaks of it")
	}
}

// TestManyPlaces: eight are named, and the others counted.
func TestManyPlaces(t *testing.T) {
	w := rolling(t)
	w.do(w.corridor(1, 0, upTo("boost", "20", "10")))
	b := picture("FRAME001", 110)
	for i := 0x40; i < 0x60; i += 2 {
		b[i] = 1
	}
	a := w.submit(1, w.image(b))
	made := w.do(a)
	in := a.GetSubmission().GetCorridor()
	if len(in.GetOutside()) != 8 || in.GetMore() != 8 || len(made.Corridor.Outside) != 9 || made.Corridor.Outside[8] != "and 8 more places" {
		t.Errorf("%v, %q", in, made.Corridor.Outside)
	}
}

// TestLiesAboutACorridor: whatever a submission says of its corridor that is not so is refused: coming in, looked back at, and
// where a report is by earlier rules.
func TestLiesAboutACorridor(t *testing.T) {
	w := rolling(t)
	w.do(w.corridor(1, 0, upTo("boost", "20", "10")))
	w.do(w.submit(1, w.image(picture("FRAME001", 135))))
	e := w.entered[len(w.entered)-1]
	older := proto.CloneOf(e.action)
	w.earlierReport(older.GetSubmission().GetJudgement())
	lookBack := func(a *recordv1.Action) error {
		var p *Past
		w.ok(record.View(e.before, func(s *record.State) error { p = LookBack(past{w, e.before}, s); return nil }))
		p.Next(a)
		_, err := w.c.Check(p, a, e.openings)
		return err
	}
	w.ok(lookBack(e.action))
	w.ok(lookBack(older))
	for _, c := range []struct {
		at    string
		spoil func(s *recordv1.Submit)
	}{
		{"submission.corridor", func(s *recordv1.Submit) { s.Corridor = nil }},
		{"submission.corridor.corridor", func(s *recordv1.Submit) { s.Corridor.Corridor = 2 }},
		{"submission.corridor.outside", func(s *recordv1.Submit) { s.Corridor.Outside = nil }},
		{"submission.corridor.outside", func(s *recordv1.Submit) { s.Corridor.Outside = append(s.Corridor.Outside, s.Corridor.Outside[0]) }},
		{"submission.corridor.more", func(s *recordv1.Submit) { s.Corridor.More = 1 }},
		{"submission.corridor.outside[0].what", func(s *recordv1.Submit) { s.Corridor.Outside[0].What = "table" }},
		{"submission.corridor.outside[0].table", func(s *recordv1.Submit) { s.Corridor.Outside[0].Table = "trim" }},
		{"submission.corridor.outside[0].at", func(s *recordv1.Submit) { s.Corridor.Outside[0].At[2]++ }},
		{"submission.corridor.outside[0].address", func(s *recordv1.Submit) { s.Corridor.Outside[0].Address++ }},
	} {
		for what, check := range map[string]func(*recordv1.Action) error{
			"coming in": func(a *recordv1.Action) error { _, err := w.c.Check(past{w, e.before}, a, e.openings); return err }, "looked back at": lookBack,
		} {
			wrong := proto.CloneOf(e.action)
			c.spoil(wrong.GetSubmission())
			if reason, at := refused(t, check(wrong)); reason != ReasonClaim || at != c.at {
				t.Errorf("%s, %s: %s at %s", what, c.at, reason, at)
			}
		}
		wrong := proto.CloneOf(older)
		c.spoil(wrong.GetSubmission())
		if reason, at := refused(t, lookBack(wrong)); reason != ReasonClaim || at != c.at {
			t.Errorf("by earlier rules, %s: %s at %s", c.at, reason, at)
		}
	}
}

// earlierReport has a judgement name its report as earlier rules of comparing made it.
func (w *world) earlierReport(j *recordv1.Judgement) {
	r := w.reportOf(j)
	r.Semantics = compare.Semantics - 1
	b, err := proto.Marshal(r)
	w.ok(err)
	j.ReportSha256 = w.put(b)
}

// TestCollectHoldsAgainstTheCorridor: what is collected by a corridor's word alone is held against it once more, so that a server
// that let in a lie is found out; a sign-off of its own makes that nobody's affair.
func TestCollectHoldsAgainstTheCorridor(t *testing.T) {
	w := rolling(t)
	w.do(w.corridor(1, 0, upTo("boost", "20", "10")))
	lie := w.submit(1, w.image(picture("FRAME001", 150)))
	openings, made, err := w.fill(lie)
	w.ok(err)
	lie.GetSubmission().Corridor.Outside = nil // admitted without being checked
	for sha, b := range made.Reports {
		w.blobs[string(sha)] = b
	}
	w.enter(lie, openings)
	if sub := w.job(1).GetSubmissions()[0]; sub.GetState() != record.Released {
		t.Fatalf("the rules take no word of it: %v", sub)
	}
	_, err = w.c.Fill(w, w.collect(1, 1), nil)
	if reason, at := refused(t, err); reason != ReasonClaim || at != "submission.corridor.outside" {
		t.Errorf("%s at %s: %v", reason, at, err)
	}
	if _, err := w.c.Corridor(w, 1, 1); err == nil {
		t.Error("it is shown as inside")
	}
	w.do(w.sign(1, 1))
	w.do(w.collect(1, 1))

	w.do(w.submit(1, w.image(picture("FRAME001", 130))))
	if made := w.do(w.collect(1, 2)); made.Corridor == nil || len(made.Corridor.Outside) > 0 {
		t.Errorf("%v", made.Corridor)
	}
}

// TestCorridorOfAVoidedRead: a corridor from a read that was voided covers nothing, and no submission speaks of it.
func TestCorridorOfAVoidedRead(t *testing.T) {
	w := rolling(t)
	w.do(w.corridor(1, 0, upTo("boost", "20", "10")))
	w.do(&recordv1.Action{Body: &recordv1.Action_Void{Void: &recordv1.VoidRead{Job: 1, Read: 1, Because: "low battery"}}})
	w.do(w.read(1, w.image(picture("FRAME001", 140)), "FRAME001"))
	a := w.submit(1, w.image(picture("FRAME001", 145)))
	if made := w.do(a); made.Corridor != nil || a.GetSubmission().GetCorridor() != nil {
		t.Error("it speaks of the corridor")
	}
}

// TestARunOfWhatWasInTheCar: a run is held against the image of the job that it names.
func TestARunOfWhatWasInTheCar(t *testing.T) {
	w := observedWorld(t)
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	w.do(w.submit(1, w.image(picture("FRAME001", 150))))
	w.do(w.sign(1, 1))
	w.do(w.collect(1, 1))
	for _, c := range []struct {
		of      string
		boost   int
		verdict string
	}{{"", 110, "clear"}, {"1.read1", 110, "clear"}, {"1.read1", 150, "danger"}, {"1.1", 150, "clear"}, {"1.1", 190, "danger"}} {
		a := w.run(1, "after", logged(c.boost))
		a.GetRun().Of = c.of
		if made := w.do(a); made.Run.Verdict != c.verdict || a.GetRun().GetDanger() != (c.verdict == "danger") {
			t.Errorf("%d kPa with %q in the car: %s", c.boost, c.of, made.Run.Verdict)
		}
	}
	for _, of := range []string{"1.2", "1.read2", "1.run1", "1", "2.1", "the newest\x1b"} {
		a := w.run(1, "after", logged(150))
		a.GetRun().Of = of
		_, _, err := w.fill(a)
		if reason, at := refused(t, err); reason != record.ReasonNotFound || at != "run.of" || strings.Contains(err.Error(), "\x1b") {
			t.Errorf("%q: %v", of, err)
		}
	}
}

// TestReleasesOfACorridorJudgedWorse: what a corridor released is held to what that covered when limits get a revision.
func TestReleasesOfACorridorJudgedWorse(t *testing.T) {
	cautious := strings.NewReplacer("severity: warning", "severity: caution", "max: 200", "max: 120").Replace(road)
	w := rolling(t)
	limits := func(text string) *recordv1.AddLimits {
		a := &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(text)}}}
		w.do(a)
		return a.GetLimits()
	}
	limits(cautious)
	w.do(w.corridor(1, 0, upTo("boost", "20", "10")))
	w.do(w.submit(1, w.image(picture("FRAME001", 119))))
	w.do(w.submit(1, w.image(picture("FRAME001", 125))))
	for i, want := range []string{"clear", "caution"} {
		if sub := w.job(1).GetSubmissions()[i]; sub.GetState() != record.Released || sub.GetJudgement().GetVerdict() != want {
			t.Fatalf("%v", sub)
		}
	}
	if worse := limits(cautious + "# as before\n").GetJudgedWorse(); worse != nil {
		t.Errorf("no stricter: %v", worse)
	}
	if worse := limits(strings.Replace(cautious, "max: 120", "max: 118", 1)).GetJudgedWorse(); len(worse) != 1 || worse[0].GetSubmission() != 1 || worse[0].GetVerdict() != "caution" {
		t.Errorf("stricter: %v", worse)
	}
}
