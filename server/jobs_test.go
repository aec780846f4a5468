package server

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
)

// TestOtherWays: a submission is withdrawn, returned or recalled, the original goes back to
// the bay, and a controller cannot be read back.
func TestOtherWays(t *testing.T) {
	b := newBench(t)
	original, second := demoFile(t, "original.bin"), demoFile(t, "submission-2.bin")
	b.must("technician", b.openJob("AB 12 CD", ""))
	early := &recordv1.Submit{Job: 1, Image: b.image(second), BaseSha256: hashOf(original), Judgement: &recordv1.Judgement{Definition: b.def, Limits: b.lrv}}
	wantFault(t, b.try("calibrator", submitAction(early)), codes.FailedPrecondition, record.ReasonNoOriginal)
	b.must("technician", readAction(b.read(1, original)))
	s := b.submission(1, original, second)
	withdraw := func(n uint32) *recordv1.Action {
		return &recordv1.Action{Body: &recordv1.Action_Withdraw{Withdraw: &recordv1.Withdraw{Job: 1, Submission: n}}}
	}
	back := func(n uint32) *recordv1.Action {
		return &recordv1.Action{Body: &recordv1.Action_Return{Return: &recordv1.Return{Job: 1, Submission: n,
			ImageSha256: hashOf(second), Reason: "too much advance at 3000 for a warm day"}}}
	}
	b.must("calibrator", submitAction(s))
	wantFault(t, b.try("lead", withdraw(1)), codes.PermissionDenied, record.ReasonNotAuthor)
	b.must("calibrator", withdraw(1))
	b.must("calibrator", submitAction(s))
	b.must("technician", back(2))
	b.must("calibrator", submitAction(s))
	b.must("lead", signAction(signOffFor(1, 3, s)))
	b.must("technician", back(3)) // a recall
	if err := b.try("technician", b.collectFor(3, s)); err == nil {
		t.Fatal("a recalled release was collected")
	}
	b.must("technician", &recordv1.Action{Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{Job: 1, ImageSha256: hashOf(original)}}})
	b.must("technician", &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: 1, NotPossible: "its boot mode is locked"}}})
	got, err := servicev1.NewJobsClient(b.as("lead")).List(within(t), &servicev1.JobsListRequest{Car: "ab12 cd"})
	if err != nil || len(got.GetJobs()) != 1 {
		t.Fatalf("%d jobs, %v", len(got.GetJobs()), err)
	}
	var states []string
	for _, s := range got.GetJobs()[0].GetSubmissions() {
		states = append(states, s.GetState())
	}
	if want := "[withdrawn returned returned]"; fmt.Sprint(states) != want {
		t.Errorf("submissions are %v, want %s", states, want)
	}
}

// TestWhatIsNotThere: looking for what is not there says what was looked for.
func TestWhatIsNotThere(t *testing.T) {
	b := newBench(t)
	ctx := within(t)
	jobs, catalog := servicev1.NewJobsClient(b.as("lead")), servicev1.NewCatalogClient(b.as("lead"))
	comparisons := servicev1.NewComparisonsClient(b.as("lead"))
	for name, look := range map[string]func() error{
		"job": func() error { _, err := jobs.Get(ctx, &servicev1.JobsGetRequest{Number: 7}); return err },
		"car": func() error { _, err := jobs.History(ctx, &servicev1.HistoryRequest{Car: "ZZ 9"}); return err },
		"definition": func() error {
			_, err := catalog.GetDefinition(ctx, &servicev1.GetDefinitionRequest{Name: "x"})
			return err
		},
		"limits's revision": func() error {
			_, err := catalog.GetLimits(ctx, &servicev1.GetLimitsRequest{Name: b.lim.Name, Revision: 2})
			return err
		},
		"report": func() error {
			s, err := comparisons.GetReport(ctx, &servicev1.GetReportRequest{Job: 7})
			if err == nil {
				_, err = s.Recv()
			}
			return err
		},
		"definition to compare by": func() error {
			s, err := comparisons.Compare(ctx, &servicev1.CompareRequest{DefinitionSha256: "x"})
			if err == nil {
				_, err = s.Recv()
			}
			return err
		},
	} {
		t.Run(name, func(t *testing.T) { wantFault(t, look(), codes.NotFound, "not-found") })
	}
	s, err := comparisons.Compare(ctx, &servicev1.CompareRequest{DefinitionSha256: b.def.GetSha256(), BaseSha256: hashOf(nil), CandidateSha256: hashOf(nil)})
	if err == nil {
		_, err = s.Recv()
	}
	wantFault(t, err, codes.FailedPrecondition, "no-image")
	list, err := catalog.ListLimits(ctx, &servicev1.ListLimitsRequest{})
	if err != nil || len(list.GetDocuments()) != 1 || list.GetDocuments()[0].GetName() != b.lim.Name {
		t.Errorf("limits: %v %v", list, err)
	}
	defs, err := catalog.ListDefinitions(ctx, &servicev1.ListDefinitionsRequest{})
	if err != nil || len(defs.GetDocuments()) != 1 || defs.GetDocuments()[0].GetSha256() != b.def.GetSha256() {
		t.Errorf("definitions: %v %v", defs, err)
	}
}

// TestPartsMerge: whatever the sizes of its tables, the parts of a report merge to it, none
// is larger than it may be unless it is a single table, and the report itself stays whole.
func TestPartsMerge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		report := &calibrationv1.Report{Verdict: "clear", Base: &calibrationv1.ImageRef{Size: 1}}
		for i := range rapid.IntRange(0, 12).Draw(t, "tables") {
			size := rapid.SampledFrom([]int{0, 10, partSize / 3, partSize - 100, partSize, 2 * partSize}).Draw(t, "size")
			report.Tables = append(report.Tables, &calibrationv1.TableReport{Id: fmt.Sprint(i), Unit: strings.Repeat("u", size)})
		}
		whole, merged := proto.CloneOf(report), &calibrationv1.Report{}
		err := inParts(report, func(part *calibrationv1.Report) error {
			if proto.Size(part) > partSize+100 && len(part.GetTables()) != 1 {
				t.Fatalf("a part of %d tables has %d bytes", len(part.GetTables()), proto.Size(part))
			}
			proto.Merge(merged, part)
			return nil
		})
		if err != nil || !proto.Equal(merged, whole) || !proto.Equal(report, whole) {
			t.Fatalf("%v: merged %d tables, want %d", err, len(merged.GetTables()), len(whole.GetTables()))
		}
	})
}

// TestChunks: chunks are the bytes, in order, and there is always one.
func TestChunks(t *testing.T) {
	for _, n := range []int{0, 1, chunkSize - 1, chunkSize, chunkSize + 1, 3 * chunkSize} {
		data, got, times := bytes.Repeat([]byte{7}, n), []byte{}, 0
		if err := inChunks(data, func(c []byte) error { got = append(got, c...); times++; return nil }); err != nil {
			t.Fatal(err)
		}
		if want := max(1, (n+chunkSize-1)/chunkSize); !bytes.Equal(got, data) || times != want {
			t.Errorf("%d bytes came as %d in %d chunks, want %d", n, len(got), times, want)
		}
	}
	if err := inChunks([]byte{1}, func([]byte) error { return io.ErrClosedPipe }); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("an error of the stream became %v", err)
	}
}

// TestPanicsAreErrors: a panic in a call is an internal error to the caller, with the stack
// in the log alone.
func TestPanicsAreErrors(t *testing.T) {
	logs := &lockedBuffer{}
	_, err := guarded(slog.New(slog.NewTextHandler(logs, nil)), func() (any, error) { panic("a private thing") })
	st := toStatus(err)
	if st.Code() != codes.Internal || strings.Contains(st.Message(), "private") {
		t.Errorf("the caller is told %v", st)
	}
	if !strings.Contains(logs.String(), "a private thing") || !strings.Contains(logs.String(), "jobs_test.go") {
		t.Errorf("the log lacks the panic or its stack: %s", logs)
	}
}

// TestPanicWhileDecidingStopsWriting: the state ahead may be half changed then, so nothing
// more is decided on it; the server goes on showing what is on disk.
func TestPanicWhileDecidingStopsWriting(t *testing.T) {
	w := newWorkshop(t)
	w.enrol("technician", "technician")
	env := w.seal("lead", w.action(enrolAction("calibrator", testKey("calibrator"), "calibrator")))
	w.srv.core.ahead.joined = nil // apply will panic
	for range 2 {
		_, err := w.bring("lead", "enrol", env)
		wantFault(t, err, codes.Unavailable, "store-broken")
	}
	if w.size() != 2 {
		t.Errorf("%d entries, want 2", w.size())
	}
	w.restart()
	if _, err := w.bring("lead", "enrol", env); err != nil {
		t.Errorf("after a restart: %v", err)
	}
}

// TestPagesAreBoundedByBytes: large elements make short pages, and one always comes.
func TestPagesAreBoundedByBytes(t *testing.T) {
	var rows []row[*recordv1.Job]
	for i := range 5 {
		rows = append(rows, row[*recordv1.Job]{fmt.Sprint(i), 0, &recordv1.Job{Number: uint32(i), Note: strings.Repeat("n", maxPageBytes*3/4)}})
	}
	p, got := newPager([]byte("seed")), 0
	for token, i := "", 0; i == 0 || token != ""; i++ {
		some, next, err := page(p, "jobs", "", token, 0, 1, rows)
		if err != nil || len(some) != 1 {
			t.Fatalf("page %d has %d jobs, %v", i, len(some), err)
		}
		got, token = got+1, next
	}
	if got != 5 {
		t.Errorf("%d jobs came, want 5", got)
	}
}
