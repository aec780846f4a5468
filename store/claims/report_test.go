package claims

import (
	"bytes"
	"sync"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// TestAnotherEncoding: a report is what it says, not how its bytes lie.
func TestAnotherEncoding(t *testing.T) {
	w := story(t)
	e := w.entered[4]
	sum := e.action.GetSubmission().GetJudgement().GetReportSha256()
	ours := w.blobs[sum]
	early := protowire.AppendString(protowire.AppendTag(nil, 10, protowire.BytesType), "clear") // the verdict, twice
	altered := &calibrationv1.Report{}
	w.ok(proto.Unmarshal(ours, altered))
	altered.Bytes.Differing++
	newer := proto.CloneOf(altered)
	newer.Semantics++
	for name, c := range map[string]struct {
		bytes  []byte
		reason string
	}{
		"another encoding":  {append(bytes.Clone(early), ours...), ""},
		"something unknown": {protowire.AppendVarint(protowire.AppendTag(bytes.Clone(ours), 999, protowire.VarintType), 1), ReasonReport},
		"altered":           {marshalled(t, altered), ReasonReport},
		"other semantics":   {marshalled(t, newer), ReasonUpgrade},
		"no report":         {[]byte{0xFF}, ReasonReport},
		"too large":         {append(bytes.Repeat(early, 1<<14), ours...), ReasonReport},
		"not there":         {nil, ReasonReport},
	} {
		a := proto.CloneOf(e.action)
		claimed := image.HashOf(c.bytes)
		if c.bytes != nil {
			w.put(c.bytes)
		}
		a.GetSubmission().Judgement.ReportSha256 = string(claimed)
		made, err := w.c.Check(past{w, e.before}, a, e.openings)
		if c.reason != "" {
			if reason, at := refused(t, err); reason != c.reason || at != "submission.judgement.report_sha256" {
				t.Errorf("%s: %v", name, err)
			}
			continue
		}
		if err != nil || len(made.Reports) != 1 || !bytes.Equal(made.Reports[claimed], c.bytes) {
			t.Errorf("%s: %v", name, err)
		}
	}
	delete(w.blobs, sum) // ours is made here: nobody has to bring it
	if _, err := New().Check(past{w, e.before}, e.action, e.openings); err != nil {
		t.Errorf("a report of ours that is not there: %v", err)
	}
}

func marshalled(t *testing.T, m proto.Message) []byte {
	b, err := proto.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestReportsAreMadeOnce: signing, admitting and collecting the same thing compares once, and what
// is kept stays within bounds.
func TestReportsAreMadeOnce(t *testing.T) {
	w := newWorld(t)
	w.do(w.open("AB-1", "", ""))
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	w.do(w.submit(1, w.image(picture("FRAME001", 150))))
	before := w.c.Comparisons()
	w.do(w.sign(1, 1))
	w.do(w.collect(1, 1))
	if n := w.c.Comparisons(); n != before || before == 0 {
		t.Errorf("%d comparisons, then %d", before, n)
	}
}

// TestTogether: one computer, many at once.
func TestTogether(t *testing.T) {
	w := story(t)
	c := New()
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			for _, e := range w.entered {
				if _, err := c.Check(past{w, e.before}, e.action, e.openings); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	alone := New()
	for _, e := range w.entered {
		if _, err := alone.Check(past{w, e.before}, e.action, e.openings); err != nil {
			t.Error(err)
		}
	}
	if c.Comparisons() < alone.Comparisons() {
		t.Errorf("%d comparisons, alone %d", c.Comparisons(), alone.Comparisons())
	}
}

// TestNothingFromAnotherQuestion: whatever a report depends on makes it another question.
func TestNothingFromAnotherQuestion(t *testing.T) {
	w := newWorld(t)
	w.do(w.open("AB-1", "", ""))
	w.do(w.read(1, w.image(picture("FRAME001", 110), image.Range{Start: 0x1078, End: 0x1080}), "FRAME001"))
	j := w.job(1)
	reports := map[string]bool{}
	try := func(what string, change func(m *making, meant *bool)) {
		j, meant := proto.CloneOf(j), true
		m := w.c.making(w)
		var err error
		m.Rules, err = w.c.Rules(w, 1)
		w.ok(err)
		m.Base, err = m.image("base", record.AsFound(j).GetImage())
		w.ok(err)
		m.Candidate, err = m.image("candidate", w.image(picture("FRAME001", 150)))
		w.ok(err)
		change(m, &meant)
		jd, err := m.judge(j, meant, nil)
		w.ok(err)
		fresh := *m
		fresh.c = New()
		again, err := fresh.judge(j, meant, nil)
		w.ok(err)
		if jd.GetReportSha256() != again.GetReportSha256() || reports[jd.GetReportSha256()] {
			t.Errorf("%s: another question's report", what)
		}
		reports[jd.GetReportSha256()] = true
	}
	other := func(b byte) *image.Image { return image.Whole(0x1000, picture("FRAME001", b)) }
	try("as it is", func(*making, *bool) {})
	try("candidate", func(m *making, _ *bool) { m.Candidate = other(151) })
	try("its gaps", func(m *making, _ *bool) { m.Base = image.Whole(0x1000, m.Base.Bytes) })
	try("no base", func(m *making, _ *bool) { m.Base = nil })
	try("meant", func(_ *making, meant *bool) { *meant = false })
	try("limits", func(m *making, _ *bool) {
		l, err := w.c.limitsFile(w, w.file(strict))
		w.ok(err)
		m.Limits = l
	})
	try("definition", func(m *making, _ *bool) {
		l, err := w.c.Layout(w, w.file(tiny+"# again\n"))
		w.ok(err)
		m.Layout = l
	})
	j.Fuel = "100 RON"
	try("fuel", func(*making, *bool) {})
	j.Numbers["wheel"] = "60"
	try("numbers", func(*making, *bool) {})
}
