package server

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/testdata/demo"
)

// bench is a workshop with the demo's definition and limits, and what is computed from them
// here, apart from the server.
type bench struct {
	*workshop
	lay      *definition.Layout
	lim      *limits.Limits
	def, lrv *recordv1.Revision
}

func demoFile(t *testing.T, name string) []byte {
	t.Helper()
	b, err := demo.Files.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func newBench(t *testing.T) *bench {
	t.Helper()
	b := &bench{workshop: staffed(t)}
	def, lim := demoFile(t, "dx1-1.8t.yaml"), demoFile(t, "dx1-road-98.yaml")
	var err error
	if b.lay, err = definition.Load("dx1-1.8t.yaml", def); err != nil {
		t.Fatal(err)
	}
	if b.lim, err = limits.Load("dx1-road-98.yaml", lim); err != nil {
		t.Fatal(err)
	}
	b.def = &recordv1.Revision{Name: b.lay.Name, Sha256: b.upload("lead", def)}
	b.lrv = &recordv1.Revision{Name: b.lim.Name, Sha256: b.upload("lead", lim)}
	b.must("lead", &recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: b.def}}})
	b.must("lead", &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: b.lrv}}})
	return b
}

func (b *bench) openJob(plate, frame string) *recordv1.Action {
	o := &recordv1.OpenJob{Car: plate, Definition: b.def, Limits: b.lrv, Fuel: "98 RON", LimitsFuel: b.lim.Source.GetFuel()}
	if frame != "" {
		o.FrameDigest = record.FrameDigest(b.srv.core.genesis, frame)
	}
	return &recordv1.Action{Body: &recordv1.Action_Job{Job: o}}
}

func (b *bench) image(data []byte) *recordv1.Image {
	return &recordv1.Image{Sha256: hashOf(data), Size: uint32(len(data)), FileFormat: "raw", Ranges: wholeRange(uint32(b.lay.Start), uint32(b.lay.Size))}
}

func (b *bench) facts() *calibrationv1.JobFacts { return &calibrationv1.JobFacts{Fuel: "98 RON"} }

// judge uploads a report and makes the judgement that names it.
func (b *bench) judge(name string, r *calibrationv1.Report) *recordv1.Judgement {
	return &recordv1.Judgement{Definition: b.def, Limits: b.lrv, ReportSha256: b.uploadMessage(name, r), Verdict: r.GetVerdict(), Warnings: compare.Warnings(r)}
}

func (b *bench) checkOf(data []byte) *calibrationv1.Report {
	b.t.Helper()
	r, err := compare.Check(compare.Side{Bytes: data}, b.lay, b.lim, b.facts())
	if err != nil {
		b.t.Fatal(err)
	}
	return r
}

func (b *bench) compared(base, cand []byte, meant ...string) *calibrationv1.Report {
	b.t.Helper()
	r, err := compare.Compare(compare.Input{Base: compare.Side{Bytes: base}, Candidate: compare.Side{Bytes: cand},
		Layout: b.lay, Limits: b.lim, Job: b.facts(), MeantGiven: meant != nil, Meant: meant})
	if err != nil {
		b.t.Fatal(err)
	}
	return r
}

func (b *bench) read(job uint32, data []byte) *recordv1.AddRead {
	b.upload("technician", data)
	return &recordv1.AddRead{Job: job, Image: b.image(data), Check: b.judge("technician", b.checkOf(data))}
}

func (b *bench) submission(job uint32, base, cand []byte, meant ...string) *recordv1.Submit {
	b.upload("calibrator", cand)
	return &recordv1.Submit{Job: job, Image: b.image(cand), BaseSha256: hashOf(base), Note: "more boost for the larger wheel",
		Judgement: b.judge("calibrator", b.compared(base, cand, meant...)), MeantGiven: meant != nil, Meant: meant}
}

func readAction(a *recordv1.AddRead) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Read{Read: a}}
}

func submitAction(a *recordv1.Submit) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Submission{Submission: a}}
}

func signOffFor(job, n uint32, s *recordv1.Submit) *recordv1.SignOff {
	because := map[string]string{}
	for _, k := range s.GetJudgement().GetWarnings() {
		because[k] = "seen on the rolling road at part load, and watched there"
	}
	return &recordv1.SignOff{Job: job, Submission: n, ImageSha256: s.GetImage().GetSha256(), BaseSha256: s.GetBaseSha256(),
		Judgement: proto.CloneOf(s.GetJudgement()), Reason: "fits the parts", Because: because}
}

func signAction(a *recordv1.SignOff) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: a}}
}

// released takes job 1 to a release of the demo's second submission.
func (b *bench) released(original, second []byte) *recordv1.Submit {
	b.t.Helper()
	b.must("technician", b.openJob("AB 12 CD", ""))
	b.must("technician", readAction(b.read(1, original)))
	s := b.submission(1, original, second)
	b.must("calibrator", submitAction(s))
	b.must("lead", signAction(signOffFor(1, 1, s)))
	return s
}

func (b *bench) collectFor(n uint32, s *recordv1.Submit) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{Job: 1, Submission: n,
		ImageSha256: s.GetImage().GetSha256(), Judgement: proto.CloneOf(s.GetJudgement()), CarCheckedBy: "fresh-read"}}}
}

// TestThePath takes the demo's files from the read to the read-back over the network, then
// restarts and checks the whole store.
func TestThePath(t *testing.T) {
	b := newBench(t)
	original, first, second, back := demoFile(t, "original.bin"), demoFile(t, "submission-1.bin"), demoFile(t, "submission-2.bin"), demoFile(t, "readback.bin")
	b.must("technician", b.openJob("AB 12 CD", ""))
	b.must("technician", readAction(b.read(1, original)))
	one := b.submission(1, original, first)
	if v := one.GetJudgement().GetVerdict(); v != "danger" {
		t.Fatalf("the first submission is %s, want danger", v)
	}
	b.must("calibrator", submitAction(one))
	wantFault(t, b.try("lead", signAction(signOffFor(1, 1, one))), codes.FailedPrecondition, record.ReasonDanger)
	two := b.submission(1, original, second)
	if v := two.GetJudgement().GetVerdict(); v != "warning" {
		t.Fatalf("the second submission is %s, want warning", v)
	}
	b.must("calibrator", submitAction(two))
	wantFault(t, b.try("calibrator", signAction(signOffFor(1, 2, two))), codes.PermissionDenied, record.ReasonAuthor)
	b.must("lead", signAction(signOffFor(1, 2, two)))
	b.must("technician", b.collectFor(2, two))
	b.upload("technician", back)
	b.must("technician", &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: 1, Submission: 2, Image: b.image(back), Matches: true}}})

	got, err := servicev1.NewJobsClient(b.as("calibrator")).Get(within(t), &servicev1.JobsGetRequest{Number: 1})
	if err != nil {
		t.Fatal(err)
	}
	if s := got.GetJob().GetSubmissions(); len(s) != 2 || s[0].GetState() != "replaced" || s[1].GetState() != "in car" {
		t.Errorf("submissions: %v", s)
	}
	for _, data := range [][]byte{original, first, second, back} {
		if got := b.download(hashOf(data)); !bytes.Equal(got, data) {
			t.Errorf("image %s came back as %d other bytes", hashOf(data)[:8], len(got))
		}
	}
	if left := stagedNames(t, b.workshop); len(left) != 0 {
		t.Errorf("still staged: %v", left)
	}
	b.packedAgainstOriginal(original, second)
	before, _ := b.srv.core.head()
	shown := b.everything()
	b.restart()
	if again := b.everything(); again != shown {
		t.Errorf("after a restart the record shows\n%s\nbefore it showed\n%s", again, shown)
	}
	if after, _ := b.srv.core.head(); !bytes.Equal(before, after) {
		t.Error("the restarted server has another checkpoint")
	}
	size := b.size()
	b.stop()
	whole := fileBytes(t, filepath.Join(b.dir, storeFile))
	out, err := Check(b.dir)
	if err != nil || len(out.Found) != 0 || out.Entries != size {
		t.Errorf("check: %+v %v, want %d entries and nothing found", out, err, size)
	}
	if !bytes.Equal(whole, fileBytes(t, filepath.Join(b.dir, storeFile))) {
		t.Error("check changed the store's file")
	}
}

// everything is all that the committed state shows, as text.
func (b *bench) everything() string {
	var out strings.Builder
	show := func(m proto.Message) {
		raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
		if err != nil {
			b.t.Fatal(err)
		}
		fmt.Fprintf(&out, "%s %s\n", m.ProtoReflect().Descriptor().Name(), hashOf(raw))
	}
	b.srv.core.read(func(h *history) {
		for _, p := range h.state.People() {
			show(p)
		}
		for _, j := range h.state.Jobs() {
			show(j)
			show(h.state.CarHistory(j.GetCar()))
		}
		for _, kind := range []string{kindDefinition, kindLimits} {
			for _, d := range h.state.Documents(kind) {
				show(d)
			}
		}
		fmt.Fprint(&out, len(h.images), h.frames, h.joined, h.jobs)
	})
	return out.String()
}

func fileBytes(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *bench) download(sha string) []byte {
	b.t.Helper()
	s, err := servicev1.NewBlobsClient(b.as("technician")).Download(within(b.t), &servicev1.DownloadRequest{Sha256: sha})
	if err != nil {
		b.t.Fatal(err)
	}
	var out []byte
	for i := 0; ; i++ {
		m, err := s.Recv()
		if err == io.EOF {
			return out
		}
		if err != nil {
			b.t.Fatalf("download: %v", err)
		}
		if (m.GetSize() != 0) != (i == 0) {
			b.t.Errorf("message %d says size %d", i, m.GetSize())
		}
		out = append(out, m.GetChunk()...)
	}
}

// packedAgainstOriginal: a submission is kept as its difference from the read.
func (b *bench) packedAgainstOriginal(original, cand []byte) {
	b.t.Helper()
	var whole, diff []byte
	err := b.srv.core.engine.View(func(tx store.ReadTx) (err error) {
		if whole, err = tx.Blob(hashOf(original)); err != nil {
			return err
		}
		diff, err = tx.Blob(hashOf(cand))
		return err
	})
	if err != nil {
		b.t.Fatal(err)
	}
	if len(diff)*4 > len(whole) {
		b.t.Errorf("the submission takes %d bytes, the original %d: it is not kept as a difference", len(diff), len(whole))
	}
}

// TestServicesThatShow compares what the services for looking answer with what was done.
func TestServicesThatShow(t *testing.T) {
	b := newBench(t)
	original, second := demoFile(t, "original.bin"), demoFile(t, "submission-2.bin")
	s := b.released(original, second)
	comparisons := servicev1.NewComparisonsClient(b.as("technician"))
	kept, err := comparisons.GetReport(within(t), &servicev1.GetReportRequest{Job: 1, Submission: 1})
	if err != nil {
		t.Fatal(err)
	}
	var raw []byte
	for {
		m, err := kept.Recv()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		raw = append(raw, m.GetChunk()...)
	}
	if hashOf(raw) != s.GetJudgement().GetReportSha256() {
		t.Error("GetReport sent other bytes than the submission names")
	}
	parts, err := comparisons.Compare(within(t), &servicev1.CompareRequest{BaseSha256: hashOf(original), CandidateSha256: hashOf(second),
		DefinitionSha256: b.def.GetSha256(), LimitsSha256: b.lrv.GetSha256()})
	if err != nil {
		t.Fatal(err)
	}
	merged := &calibrationv1.Report{}
	for {
		m, err := parts.Recv()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		proto.Merge(merged, m.GetPart())
	}
	want, err := compare.Compare(compare.Input{Base: compare.Side{Bytes: original}, Candidate: compare.Side{Bytes: second}, Layout: b.lay, Limits: b.lim})
	if err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(merged, want) {
		t.Error("the merged parts are not the report")
	}
	history, err := servicev1.NewJobsClient(b.as("technician")).History(within(t), &servicev1.HistoryRequest{Car: "ab-12-cd"})
	if err != nil {
		t.Fatal(err)
	}
	changed := want.GetTables()[0].GetId()
	found := slices.ContainsFunc(history.GetHistory().GetEvents(), func(e *recordv1.CarEvent) bool { return slices.Contains(e.GetTables(), changed) })
	if !found {
		t.Errorf("the history names no submission that changed %s", changed)
	}
	only, err := servicev1.NewJobsClient(b.as("technician")).History(within(t), &servicev1.HistoryRequest{Car: "AB12CD", Table: changed})
	if err != nil || len(only.GetHistory().GetEvents()) != 1 {
		t.Errorf("the history of one table has %d events (%v), want the submission alone", len(only.GetHistory().GetEvents()), err)
	}
	doc, err := servicev1.NewCatalogClient(b.as("calibrator")).GetDefinition(within(t), &servicev1.GetDefinitionRequest{Name: b.lay.Name})
	if err != nil || hashOf(doc.GetFile()) != b.def.GetSha256() || doc.GetDocument().GetRevision() != 1 {
		t.Errorf("the definition came back as %v %v", doc.GetDocument(), err)
	}
}

// TestRetiredDownloadEnds: a download is cut off too, even one whose reader keeps the server
// waiting.
func TestRetiredDownloadEnds(t *testing.T) {
	b := newBench(t)
	large := append(demoFile(t, "dx1-road-98.yaml"), bytes.Repeat([]byte("# why these limits are as they are\n"), 200_000)...) // 6.7 MiB
	rev := &recordv1.Revision{Name: b.lim.Name, Sha256: b.upload("lead", large)}
	b.must("lead", &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: rev}}})
	_, err := servicev1.NewCatalogClient(b.as("technician")).GetLimits(within(t), &servicev1.GetLimitsRequest{Name: b.lim.Name})
	wantFault(t, err, codes.ResourceExhausted, "too-large")
	s, err := servicev1.NewBlobsClient(b.as("technician")).Download(within(t), &servicev1.DownloadRequest{Sha256: hashOf(large)})
	if err != nil {
		t.Fatal(err)
	}
	m, err := s.Recv()
	if err != nil || m.GetSize() != uint64(len(large)) {
		t.Fatalf("the first message says %d bytes, %v", m.GetSize(), err)
	}
	got := len(m.GetChunk())
	b.must("lead", retireAction("technician"))
	for err == nil {
		if m, err = s.Recv(); err == nil {
			got += len(m.GetChunk())
		}
	}
	wantFault(t, err, codes.Unauthenticated, "not-enrolled")
	if got >= len(large) {
		t.Errorf("all %d bytes came", got)
	}
}
