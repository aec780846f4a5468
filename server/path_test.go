package server

import (
	"bytes"
	"errors"
	"io"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// TestThePath takes the demo's files from the read to the read-back over the network, by people who
// work on their own copies, then restarts and checks the whole store. Each envelope is opened once,
// and no comparison is made while writing.
func TestThePath(t *testing.T) {
	b := newBench(t)
	found, first, second, back := demoFile(t, "asfound.bin"), demoFile(t, "submission-1.bin"), demoFile(t, "submission-2.bin"), demoFile(t, "readback.bin")
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	read, o := b.read(1, found)
	b.do("technician", read, o)
	one, o := b.submit(1, first)
	b.do("calibrator", one, o)
	if v := one.GetSubmission().GetJudgement().GetVerdict(); v != "danger" {
		t.Fatalf("the first submission is %s, want danger", v)
	}
	_, err := b.bring("lead", b.seal("lead", b.filled(b.sign(1, 1))))
	wantFault(t, err, codes.FailedPrecondition, record.ReasonDanger)
	two, o := b.submit(1, second)
	b.do("calibrator", two, o)
	if v := two.GetSubmission().GetJudgement().GetVerdict(); v != "warning" {
		t.Fatalf("the second submission is %s, want warning", v)
	}
	_, err = b.bring("calibrator", b.seal("calibrator", b.filled(b.sign(1, 2))))
	wantFault(t, err, codes.PermissionDenied, record.ReasonAuthor)
	b.act("lead", b.sign(1, 2))
	b.act("technician", b.collect(1, 2, hashOf(second)))
	b.have(back)
	b.act("technician", &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: 1, Image: wholeImage(back)}}})

	got, err := servicev1.NewJobsClient(b.as("calibrator")).Get(within(t), &servicev1.JobsGetRequest{Number: 1})
	if err != nil {
		t.Fatal(err)
	}
	job := got.GetJob()
	if s := job.GetSubmissions(); len(s) != 2 || s[0].GetState() != record.Replaced || s[1].GetState() != record.InCar {
		t.Errorf("submissions: %v", s)
	}
	if job.GetPlate().GetText() != "AB 12 CD" || job.GetSubmissions()[1].GetNote().GetText() != "more boost for the larger wheel" {
		t.Errorf("plate %v, note %v", job.GetPlate(), job.GetSubmissions()[1].GetNote())
	}
	for _, data := range [][]byte{found, first, second, back} {
		if got, err := download(t, servicev1.NewBlobsClient(b.as("lead")), hashOf(data)); err != nil || !bytes.Equal(got, data) {
			t.Errorf("image %s: %d bytes, %v", hashOf(data)[:8], len(got), err)
		}
	}
	b.packedAgainst(found, second)
	// Two refused and ten admitted: of those the two enrolments and the two files as well.
	if n, want := b.srv.core.opened.Load(), uint64(b.size()-1+2); n != want {
		t.Errorf("%d envelopes were opened, want %d: each that was brought, once", n, want)
	}
	b.leavesNothing()
	before, _, _ := b.srv.core.head()
	size := b.size()
	b.restart()
	if after, _, _ := b.srv.core.head(); !bytes.Equal(before, after) {
		t.Error("the restarted server has another checkpoint")
	}
	b.stop()
	whole := fileBytes(t, b.dir+"/"+storeFile)
	out, err := in(b.dir).Check()
	if err != nil || len(out.Found) != 0 || out.Entries != size || out.Passed != 0 {
		t.Errorf("check: %+v %v, want %d entries and nothing found", out, err, size)
	}
	if !bytes.Equal(whole, fileBytes(t, b.dir+"/"+storeFile)) {
		t.Error("check changed the store's file")
	}
}

// packedAgainst: a submission is kept as its difference from the read.
func (b *bench) packedAgainst(base, cand []byte) {
	b.Helper()
	var whole, diff []byte
	err := b.srv.home.engine.View(func(tx store.ReadTx) (err error) {
		whole, err = tx.Blob(hashOf(base))
		if err == nil {
			diff, err = tx.Blob(hashOf(cand))
		}
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	if len(diff)*4 > len(whole) {
		b.Errorf("the submission takes %d bytes, the read %d: it is not kept as a difference", len(diff), len(whole))
	}
}

// small is a definition of another controller.
const small = `name: small
byte_order: big
image: {start: 0, size: 0x100}
tables:
  - {id: idle.speed, title: Idle speed, quantity: engine_speed, unit: 1/min, stored: {address: 0x10, type: u16}}
`

// TestCompare: the parts that come merge to the report that is made here from the same bytes.
func TestCompare(t *testing.T) {
	b := newBench(t)
	b.released("AB 12 CD")
	found, second := demoFile(t, "asfound.bin"), demoFile(t, "submission-2.bin")
	req := &servicev1.CompareRequest{
		BaseSha256: hashOf(found), CandidateSha256: hashOf(second),
		DefinitionSha256: b.revision(record.Definitions, definitionName).GetSha256(),
		LimitsSha256:     b.revision(record.Limits, limitsName).GetSha256(),
	}
	ask := func(r *servicev1.CompareRequest) (*calibrationv1.Report, error) {
		s, err := servicev1.NewComparisonsClient(b.as("technician")).Compare(within(t), r)
		if err != nil {
			return nil, err
		}
		merged := &calibrationv1.Report{}
		for {
			m, err := s.Recv()
			if errors.Is(err, io.EOF) {
				return merged, nil
			}
			if err != nil {
				return nil, err
			}
			proto.Merge(merged, m.GetPart())
		}
	}
	b.act("lead", &recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{
		Revision: &recordv1.Revision{Name: "small", Sha256: b.have([]byte(small))}}}})
	merged, err := ask(req)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := b.Blob("report", b.reportOf(1, 1))
	if err != nil {
		t.Fatal(err)
	}
	report := &calibrationv1.Report{}
	if err := proto.Unmarshal(kept, report); err != nil {
		t.Fatal(err)
	}
	// The submission's is made with the job's fuel; without one the limits' rules for it do not hold.
	if len(merged.GetTables()) == 0 || len(merged.GetTables()) != len(report.GetTables()) {
		t.Errorf("%d tables differ, in the submission's report %d", len(merged.GetTables()), len(report.GetTables()))
	}
	since := proto.CloneOf(req) // the submission against itself, and against what the car first came with
	since.BaseSha256, since.AsFoundSha256 = since.CandidateSha256, since.BaseSha256
	if r, err := ask(since); err != nil || r.GetAsFound().GetSha256() != hashOf(found) {
		t.Errorf("as found %v, %v", r.GetAsFound(), err)
	}
	for name, c := range map[string]struct {
		change func(r *servicev1.CompareRequest)
		code   codes.Code
		reason string
	}{
		"no such base":       {func(r *servicev1.CompareRequest) { r.BaseSha256 = hashOf(nil) }, codes.NotFound, "not-found"},
		"a report as image":  {func(r *servicev1.CompareRequest) { r.CandidateSha256 = string(b.reportOf(1, 1)) }, codes.NotFound, "not-found"},
		"no such as found":   {func(r *servicev1.CompareRequest) { r.AsFoundSha256 = hashOf(nil) }, codes.NotFound, "not-found"},
		"no such definition": {func(r *servicev1.CompareRequest) { r.DefinitionSha256 = r.LimitsSha256 }, codes.NotFound, "not-found"},
		"other limits":       {func(r *servicev1.CompareRequest) { r.DefinitionSha256 = hashOf([]byte(small)) }, codes.InvalidArgument, "cannot-compare"},
		"another controller": {func(r *servicev1.CompareRequest) { r.DefinitionSha256, r.LimitsSha256 = hashOf([]byte(small)), "" }, codes.InvalidArgument, "cannot-compare"},
		"meant nothing":      {func(r *servicev1.CompareRequest) { r.MeantGiven, r.Meant = true, []string{"no.such.table"} }, codes.InvalidArgument, "cannot-compare"},
		"no such limits":     {func(r *servicev1.CompareRequest) { r.LimitsSha256 = "x" }, codes.NotFound, "not-found"},
	} {
		bad := proto.CloneOf(req)
		c.change(bad)
		_, err := ask(bad)
		if err == nil {
			t.Errorf("%s: answered", name)
			continue
		}
		wantFault(t, err, c.code, c.reason)
	}
}

func (b *bench) reportOf(job, n uint32) (sha image.Hash) {
	b.look(func(s *record.State) {
		sub, _ := s.Submission(job, n)
		sha = image.Hash(sub.GetJudgement().GetReportSha256())
	})
	return sha
}
