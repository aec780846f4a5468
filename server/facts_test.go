package server

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
)

// identityOf finds an identity field of the demo's definition.
func (b *bench) identityText(id string, data []byte) string {
	b.t.Helper()
	for _, f := range b.lay.Identity {
		if f.ID == id {
			return f.Text(data)
		}
	}
	b.t.Fatalf("no identity field %s", id)
	return ""
}

func changed(data []byte, offset int) []byte {
	c := bytes.Clone(data)
	c[offset] ^= 0xFF
	return c
}

// TestReadsAreRecomputed alters one claim of a read at a time; each is refused for its own
// reason, and nothing of them gets into the ledger.
func TestReadsAreRecomputed(t *testing.T) {
	b := newBench(t)
	original := demoFile(t, "original.bin")
	frame := b.identityText("frame", original)
	b.must("technician", b.openJob("AB 12 CD", frame))
	b.must("technician", b.openJob("EF 34 GH", "another car's number"))
	size := b.size()
	for name, c := range map[string]struct {
		tweak  func(*recordv1.AddRead)
		reason string
	}{
		"bytes that were not uploaded": {func(r *recordv1.AddRead) { r.Image.Sha256 = hashOf([]byte("elsewhere")) }, "no-blob"},
		"size":                         {func(r *recordv1.AddRead) { r.Image.Size++ }, "image-size"},
		"another size": {func(r *recordv1.AddRead) {
			r.Image.Sha256, r.Image.Size = b.upload("technician", original[1:]), uint32(len(original)-1)
			r.Image.Ranges[0].Start++
		}, "image-size"},
		"a gap that is not 0xFF": {func(r *recordv1.AddRead) { r.Image.Ranges[0].End -= 0x1000 }, "ranges"},
		"ranges outside":         {func(r *recordv1.AddRead) { r.Image.Ranges[0].Start += 16; r.Image.Ranges[0].End += 16 }, "ranges"},
		"identity": {func(r *recordv1.AddRead) {
			r.Image.Sha256 = b.upload("technician", changed(original, int(b.lay.Identity[0].Range.Start)))
		}, "identity"},
		"another car": {func(r *recordv1.AddRead) { r.Job = 2 }, "frame"},
		"report of another image": {func(r *recordv1.AddRead) {
			r.Check.ReportSha256 = b.uploadMessage("technician", b.checkOf(changed(original, 0x10100)))
		}, "report-differs"},
		"report that is none": {func(r *recordv1.AddRead) { r.Check.ReportSha256 = b.upload("technician", []byte("\xff\xff")) }, "bad-report"},
		"report of another semantics": {func(r *recordv1.AddRead) {
			other := b.checkOf(original)
			other.Semantics = compare.Semantics + 1
			r.Check.ReportSha256 = b.uploadMessage("technician", other)
		}, "upgrade"},
		"report left elsewhere": {func(r *recordv1.AddRead) { r.Check.ReportSha256 = hashOf([]byte("x")) }, "no-blob"},
		"verdict":               {func(r *recordv1.AddRead) { r.Check.Verdict = "caution" }, "verdict-differs"},
	} {
		r := b.read(1, original)
		c.tweak(r)
		err := b.try("technician", readAction(r))
		if err == nil || faultOf(err).GetReason() != c.reason {
			t.Errorf("%s: %v (%q), want %s", name, err, faultOf(err).GetReason(), c.reason)
			continue
		}
		wantFault(t, err, codes.FailedPrecondition, c.reason)
		if strings.Contains(err.Error(), frame) {
			t.Errorf("%s: the refusal prints a private field", name)
		}
	}
	if b.size() != size {
		t.Errorf("%d entries, want %d", b.size(), size)
	}
	b.must("technician", readAction(b.read(1, original)))
	if strings.Contains(b.logs.String(), frame) {
		t.Error("the log holds a private field")
	}
}

// TestSubmissionsAreRecomputed does the same to a submission, a sign-off and a collection.
func TestSubmissionsAreRecomputed(t *testing.T) {
	b := newBench(t)
	original, first, second := demoFile(t, "original.bin"), demoFile(t, "submission-1.bin"), demoFile(t, "submission-2.bin")
	b.must("technician", b.openJob("AB 12 CD", ""))
	b.must("technician", readAction(b.read(1, original)))
	other := b.judge("calibrator", b.compared(original, first))
	silent := b.compared(original, second)
	silent.Findings = silent.GetFindings()[1:]
	for name, c := range map[string]struct {
		tweak  func(*recordv1.Submit)
		reason string
	}{
		"report of another image":     {func(s *recordv1.Submit) { s.Judgement = proto.CloneOf(other) }, "report-differs"},
		"report without a finding":    {func(s *recordv1.Submit) { s.Judgement.ReportSha256 = b.uploadMessage("calibrator", silent) }, "report-differs"},
		"a warning that is not there": {func(s *recordv1.Submit) { s.Judgement.Warnings = append(s.Judgement.Warnings, "zz:zz") }, "warnings-differ"},
		"a warning of another table":  {func(s *recordv1.Submit) { s.Judgement.Warnings[0] = "advance-ceiling:no.such.table" }, "warnings-differ"},
		"a lesser verdict":            {func(s *recordv1.Submit) { s.Judgement.Verdict, s.Judgement.Warnings = "caution", nil }, "verdict-differs"},
		"meant, in the action alone":  {func(s *recordv1.Submit) { s.MeantGiven, s.Meant = true, []string{silent.GetTables()[0].GetId()} }, "report-differs"},
		"an unknown table":            {func(s *recordv1.Submit) { s.MeantGiven, s.Meant = true, []string{"no.such.table"} }, "cannot-compare"},
	} {
		s := b.submission(1, original, second)
		c.tweak(s)
		if err := b.try("calibrator", submitAction(s)); err == nil || faultOf(err).GetReason() != c.reason {
			t.Errorf("%s: %v (%q), want %s", name, err, faultOf(err).GetReason(), c.reason)
		}
	}
	s := b.submission(1, original, second)
	b.must("calibrator", submitAction(s))
	signed := signOffFor(1, 1, s)
	signed.Judgement.ReportSha256 = other.GetReportSha256()
	wantFaultIn(t, "a sign-off by another report", b.try("lead", signAction(signed)), "report-differs", record.ReasonDiffers)
	b.must("lead", signAction(signOffFor(1, 1, s)))
	c := b.collectFor(1, s)
	c.GetCollect().Judgement.ReportSha256 = other.GetReportSha256()
	wantFaultIn(t, "a collection by another report", b.try("technician", c), "report-differs", record.ReasonDiffers)
	b.must("technician", b.collectFor(1, s))
}

// wantFaultIn accepts any of several reasons: who finds the fault first does not matter.
func wantFaultIn(t *testing.T, name string, err error, reasons ...string) {
	t.Helper()
	for _, r := range reasons {
		if err != nil && faultOf(err).GetReason() == r {
			return
		}
	}
	t.Errorf("%s: %v (%q), want one of %q", name, err, faultOf(err).GetReason(), reasons)
}

// TestNewerLimitsAreAskedFor: after a newer revision of the limits, signing and collecting
// need a judgement by it, and a worse one needs a new sign-off.
func TestNewerLimitsAreAskedFor(t *testing.T) {
	b := newBench(t)
	original, second := demoFile(t, "original.bin"), demoFile(t, "submission-2.bin")
	s := b.released(original, second)
	newer := append(demoFile(t, "dx1-road-98.yaml"), []byte("\n# a newer revision\n")...)
	rev := &recordv1.Revision{Name: b.lrv.GetName(), Sha256: b.upload("lead", newer)}
	b.must("lead", &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: rev}}})
	if err := b.try("technician", b.collectFor(1, s)); err == nil {
		t.Fatal("collected by an older revision")
	}
	again := b.compared(original, second)
	again.Limits.Sha256 = rev.GetSha256()
	c := b.collectFor(1, s)
	c.GetCollect().Judgement.Limits = rev
	c.GetCollect().Judgement.ReportSha256 = b.uploadMessage("technician", again)
	b.must("technician", c)
}

// TestReadBacksAreRecomputed: whether a read-back matches is not the technician's to say.
func TestReadBacksAreRecomputed(t *testing.T) {
	b := newBench(t)
	original, second, back := demoFile(t, "original.bin"), demoFile(t, "submission-2.bin"), demoFile(t, "readback.bin")
	s := b.released(original, second)
	b.must("technician", b.collectFor(1, s))
	act := func(data []byte, matches bool, report *calibrationv1.Report) *recordv1.Action {
		b.upload("technician", data)
		r := &recordv1.AddReadback{Job: 1, Submission: 1, Image: b.image(data), Matches: matches}
		if report != nil {
			r.ReportSha256 = b.uploadMessage("technician", report)
		}
		return &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: r}}
	}
	wrong := changed(back, 0x10100)
	wantFaultIn(t, "says no", b.try("technician", act(back, false, nil)), "match-differs")
	wantFaultIn(t, "says yes", b.try("technician", act(wrong, true, nil)), "match-differs")
	wantFaultIn(t, "no report", b.try("technician", act(wrong, false, nil)), "no-report")
	wantFaultIn(t, "another report", b.try("technician", act(wrong, false, b.compared(original, second))), "report-differs")
	b.must("technician", act(wrong, false, b.compared(second, wrong)))
	b.must("technician", act(back, true, nil))
}

// TestCarMemory: a car that comes back is compared with what was last in it.
func TestCarMemory(t *testing.T) {
	b := newBench(t)
	original, second, back := demoFile(t, "original.bin"), demoFile(t, "submission-2.bin"), demoFile(t, "readback.bin")
	s := b.released(original, second)
	b.must("technician", b.collectFor(1, s))
	b.upload("technician", back)
	b.must("technician", &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: 1, Submission: 1, Image: b.image(back), Matches: true}}})
	b.must("technician", b.openJob("ab12cd", ""))
	var in *recordv1.InCar
	b.srv.core.read(func(h *history) { in, _ = h.state.InCar("AB 12 CD") })
	last := func(same bool) *recordv1.LastKnown {
		return &recordv1.LastKnown{Job: in.GetJob(), Submission: in.GetSubmission(), ImageSha256: in.GetImageSha256(), Same: same}
	}
	was := second
	if in.GetImageSha256() == hashOf(back) {
		was = back
	}
	changedSince := changed(back, 0x10100)
	for name, c := range map[string]struct {
		data   []byte
		last   *recordv1.LastKnown
		report *calibrationv1.Report
		reason string
	}{
		"left out":                     {back, nil, nil, "last-known"},
		"said to differ":               {back, last(false), nil, "last-known"},
		"said to be the same":          {changedSince, last(true), nil, "last-known"},
		"no report":                    {changedSince, last(false), nil, "no-report"},
		"a report of something else":   {changedSince, last(false), b.compared(original, second), "report-differs"},
		"what was in it before, in it": {back, &recordv1.LastKnown{Job: 1, ImageSha256: hashOf(original), Same: true}, nil, "last-known"},
	} {
		r := b.read(2, c.data)
		r.LastKnown = c.last
		if c.report != nil {
			r.LastKnown.ReportSha256 = b.uploadMessage("technician", c.report)
		}
		wantFaultIn(t, name, b.try("technician", readAction(r)), c.reason)
	}
	r := b.read(2, changedSince)
	r.LastKnown = last(false)
	r.LastKnown.ReportSha256 = b.uploadMessage("technician", b.compared(was, changedSince))
	b.must("technician", readAction(r))
	second2 := b.read(2, back)
	second2.Check = nil // not the first
	b.srv.core.read(func(h *history) { in, _ = h.state.InCar("AB 12 CD") })
	second2.LastKnown = last(false)
	second2.LastKnown.ReportSha256 = b.uploadMessage("technician", b.compared(changedSince, back))
	if in.GetImageSha256() != hashOf(changedSince) { // the ledger says what is in the car
		t.Fatalf("in the car is %s", in.GetImageSha256())
	}
	b.must("technician", readAction(second2))
}

// TestDocumentsAreCompiled: what a lead adds has to load, bear its name and fit.
func TestDocumentsAreCompiled(t *testing.T) {
	b := newBench(t)
	def, lim := string(demoFile(t, "dx1-1.8t.yaml")), string(demoFile(t, "dx1-road-98.yaml"))
	add := func(kind, name, file string) error {
		rev := &recordv1.Revision{Name: name, Sha256: b.upload("lead", []byte(file))}
		a := &recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: rev}}}
		if kind == kindLimits {
			a = &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: rev}}}
		}
		return b.try("lead", a)
	}
	for _, c := range []struct{ kind, name, file, reason string }{
		{kindDefinition, "dx2", def + "# another file\n", "name-differs"},
		{kindDefinition, "dx2", "name: dx2\nnonsense: 1\n", "bad-definition"},
		{kindLimits, "other", lim + "# another file\n", "name-differs"},
		{kindLimits, "dx1-road-98", lim + "nonsense: 1\n", "bad-limits"},
		{kindLimits, "dx1-road-98", strings.Replace(lim, "quantity: ignition_advance, role: target", "quantity: no_such_quantity", 1), "limits-do-not-fit"},
	} {
		wantFaultIn(t, fmt.Sprint(c.kind, " ", c.name), add(c.kind, c.name, c.file), c.reason)
	}
	if err := add(kindDefinition, "dx2", strings.Replace(def, "name: dx1-1.8t", "name: dx2", 1)); err != nil {
		t.Fatal(err)
	}
	a := b.openJob("AB 12 CD", "")
	var doc *recordv1.Document
	b.srv.core.read(func(h *history) { doc, _ = h.state.Newest(kindDefinition, "dx2") })
	a.GetJob().Definition = &recordv1.Revision{Name: "dx2", Sha256: doc.GetSha256()}
	wantFaultIn(t, "limits of another definition", b.try("technician", a), "limits-do-not-apply")
	a = b.openJob("AB 12 CD", "")
	a.GetJob().LimitsFuel = append(a.GetJob().LimitsFuel, "E85")
	wantFaultIn(t, "fuels that the file does not have", b.try("technician", a), "fuel-differs")
	a = b.openJob("AB 12 CD", "")
	a.GetJob().Numbers = map[string]string{"crank_pulley_mm": "180", "blower_pulley_mm": "0", "engine_speed_max": "6500"}
	wantFaultIn(t, "numbers that cannot be reckoned", b.try("technician", a), "bad-numbers")
}

// TestGapsAreFacts: an image that holds less than the definition's range is judged with its
// gaps, and a report that hides them is refused.
func TestGapsAreFacts(t *testing.T) {
	b := newBench(t)
	data := demoFile(t, "original.bin")
	start, end := uint64(0x2F000), uint64(0x2F100)
	for i := start; i < end; i++ {
		data[i] = 0xFF
	}
	b.must("technician", b.openJob("AB 12 CD", ""))
	gaps := []definition.Range{{Start: start, End: end}}
	honest, err := compare.Check(compare.Side{Bytes: data, Gaps: gaps}, b.lay, b.lim, b.facts())
	if err != nil {
		t.Fatal(err)
	}
	if len(honest.GetGaps()) != 1 {
		t.Fatalf("the check reports %d gaps, want 1", len(honest.GetGaps()))
	}
	r := b.read(1, data) // its report knows of no gap
	r.Image.Ranges = []*calibrationv1.AddressRange{{Start: 0, End: uint32(start)}, {Start: uint32(end), End: uint32(b.lay.Size)}}
	wantFaultIn(t, "a report that hides a gap", b.try("technician", readAction(r)), "report-differs")
	r.Check = b.judge("technician", honest)
	b.must("technician", readAction(r))
}
