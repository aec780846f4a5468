package client

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/store/record"
	"witnessmark/tables/changed/changedtest"
)

func TestHowBad(t *testing.T) {
	f := func(severity, origin string, excess float64, count uint32) *calibrationv1.Finding {
		return &calibrationv1.Finding{Severity: severity, Origin: origin, Count: count, Worst: &calibrationv1.Worst{Excess: excess}}
	}
	// From better to worse; what comes first decides, however much the rest says otherwise.
	order := []*calibrationv1.Finding{
		f("notice", "introduced", 9, 9), f("caution", "inherited", 9, 9), f("caution", "introduced", 1, 1), f("caution", "introduced", 1, 2),
		f("caution", "introduced", 2, 1), f("warning", "inherited", 0, 1), f("danger", "inherited", 0, 0), f("danger", "", 0, 0),
	}
	for i, a := range order {
		for j, b := range order {
			want := 0
			if i != j {
				want = (i - j) / max(i-j, j-i)
			}
			if got := howBad(a, b); got != want {
				t.Errorf("%v against %v: %d, want %d", a, b, got, want)
			}
		}
	}
}

func said(list []FindingSince) string {
	var keys []string
	for _, f := range list {
		keys = append(keys, fmt.Sprintf("%s %v→%v", f.Key, f.Was.GetWorst().GetExcess(), f.Is.GetWorst().GetExcess()))
	}
	return strings.Join(keys, ", ")
}

// The rules are 0 to 30 deg as a warning, and to 60 as a danger.
func TestSince(t *testing.T) {
	w := newWorld(t)
	for _, cells := range []string{"\x0a\x0b\x0c\x50", "\x0a\x0b\x0c\x20", "\x0a\x0b\x0d\x20"} {
		w.submit(cells)
	}
	name := func(n uint32) record.Name { return record.Name{Job: 1, Part: record.ASubmission, N: n} }
	for _, c := range []struct {
		is, was                        uint32
		gone, new, worse, better, same string
		changed                        string
	}{
		{2, 1, "advance-stop:ignition.base 20→0", "", "", key + " 50→2", "", "0,3 80→32"},
		{1, 2, "", "advance-stop:ignition.base 0→20", key + " 2→50", "", "", "0,3 32→80"},
		{3, 2, "", "", "", "", key + " 2→2", "0,2 12→13"},
	} {
		s, err := w.cal.Since(ctx, name(c.is), name(c.was))
		w.must(nil, err)
		for what, pair := range map[string][2]string{"gone": {said(s.Gone), c.gone}, "new": {said(s.New), c.new},
			"worse": {said(s.Worse), c.worse}, "better": {said(s.Better), c.better}, "same": {said(s.Same), c.same}} {
			if pair[0] != pair[1] {
				t.Errorf("1.%d since 1.%d: %s are %q, want %q", c.is, c.was, what, pair[0], pair[1])
			}
		}
		var cells []string
		for _, table := range s.Changed.GetTables() {
			for _, ch := range changedtest.Objects(table) {
				cells = append(cells, fmt.Sprintf("%d,%d %v→%v", ch.Row, ch.Column, ch.Base.AsInterface(), ch.Candidate.AsInterface()))
			}
		}
		if got := strings.Join(cells, "; "); got != c.changed {
			t.Errorf("1.%d since 1.%d: cells %q, want %q", c.is, c.was, got, c.changed)
		}
	}
	_, err := w.cal.Since(ctx, name(2), name(2))
	w.refusedAs(err, Usage, "two submissions of one job")
	_, err = w.cal.Since(ctx, name(2), record.Name{Job: 2, Part: record.ASubmission, N: 1})
	w.refusedAs(err, Usage, "two submissions of one job")
	_, err = w.cal.Since(ctx, record.Name{Job: 1, Part: record.ARead, N: 1}, name(2))
	w.refusedAs(err, Usage, "1.read1 is no submission")
}

// answered is what a submission's sheet says of returns, newest first: each with its keys, + for gone.
func (w *world) answered(n uint32) string {
	w.Helper()
	r, err := w.cal.Review(ctx, 1, n)
	w.must(nil, err)
	var out []string
	for _, a := range r.Asked() {
		text := Name(a.Returned)
		for _, f := range a.Findings {
			text += map[bool]string{true: " +", false: " -"}[f.Gone] + f.Key
		}
		if a.Open() {
			text += " open"
		}
		out = append(out, text)
	}
	return strings.Join(out, "; ")
}

func TestAsked(t *testing.T) {
	w := newWorld(t)
	w.newKey("cal2")
	w.must(w.lead.Enrol(ctx, "cal2", []string{"calibrator"}, w.path("cal2.pub")))
	other := w.login("cal2", "cal2")
	submit := func(c *Client, cells string, from uint32) {
		w.Helper()
		_, _, err := c.Submit(ctx, NewSubmission{Job: 1, Path: w.write("sub.bin", testImage(cells)), Note: "x", From: from})
		w.must(nil, err)
	}
	sendBack := func(n uint32, why string) {
		w.Helper()
		w.must(w.lead.ReturnSubmission(ctx, 1, n, why))
	}
	want := func(n uint32, text string) {
		w.Helper()
		w.must(nil, w.cal.Sync(ctx))
		if got := w.answered(n); got != text {
			t.Errorf("1.%d answers %q, want %q", n, got, text)
		}
	}
	submit(w.cal, "\x0a\x0b\x0c\x50", 0)
	want(1, "")
	sendBack(1, "advance-stop:ignition.base. And advance-warn:ignition.base: see (no-such:table, 3:2)")
	submit(w.cal, "\x0a\x0b\x0c\x20", 0)
	want(2, "1.1 +advance-stop:ignition.base -"+key+" open")
	// Another's is another's, unless one started from it.
	submit(other, "\x0a\x0b\x0c\x0e", 0)
	want(3, "")
	submit(other, "\x0a\x0b\x0c\x0f", 1)
	want(4, "1.1 +advance-stop:ignition.base +"+key)
	sendBack(2, "the cold start is rough")
	submit(w.cal, "\x0a\x0b\x0c\x1f", 0)
	want(5, "1.2 open; 1.1 +advance-stop:ignition.base -"+key+" open")
	// What was released answered it; a recall asks anew.
	w.sign(5)
	submit(w.cal, "\x0a\x0b\x0c\x1e", 0)
	want(6, "")
	sendBack(5, "it knocks at "+key)
	want(6, "1.5 +"+key+"; 1.2 open; 1.1 +advance-stop:ignition.base +"+key)
}

// The reports that were entered with a read and a read-back are there for whoever looks later.
func TestEntered(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	differs := testImage("\x0a\x0b\x0c\x21")
	_, err := w.tech.Readback(ctx, 1, w.write("back.bin", differs), "")
	w.must(nil, err)
	_, err = w.tech.NotPossible(ctx, 1, "locked")
	w.must(nil, err)
	w.must(w.open("HC 18"))
	w.read(2, testImage("\x0a\x0b\x0d\x0d"))
	w.must(nil, w.cal.Sync(ctx))

	b, err := w.cal.ReadbackReport(ctx, 1, 1)
	w.must(nil, err)
	if r := b.Report; r == nil || r.Report.GetTables()[0].GetId() != "ignition.base" || !slices.Equal(r.Candidate, differs) || r.Base[0x43] != 0x20 || r.Layout.ByID["ignition.base"] == nil {
		t.Errorf("the read-back shows %+v", r)
	}
	if b, err = w.cal.ReadbackReport(ctx, 1, 2); err != nil || b.Report != nil || b.Readback.GetNotPossible() != "locked" {
		t.Errorf("%+v, %v", b, err)
	}
	_, err = w.cal.ReadbackReport(ctx, 1, 3)
	w.refusedAs(err, Usage, "job 1 has no read-back 3; it has 2")
	first, err := w.cal.ReadReport(ctx, 1, 1)
	w.must(nil, err)
	if first.Check == nil || first.Check.Base != nil || first.Changed != nil {
		t.Errorf("the first read shows %+v", first)
	}
	_, err = w.cal.ReadReport(ctx, 3, 1)
	w.refusedAs(err, Usage, "no job 3")
	// Bytes that the ledger does not name are the server's doing.
	sum := b.Job.GetReadBacks()[0].GetReportSha256()
	fresh := w.login("fresh", "cal")
	w.fake.tell(lie{blob: func(sha string, b []byte) []byte {
		if sha == sum {
			b[0]++
		}
		return b
	}})
	_, err = fresh.ReadbackReport(ctx, 1, 1)
	w.refusedAs(err, Distrust, "not those that the ledger names")
}
