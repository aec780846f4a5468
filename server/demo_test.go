package server

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/claims"
	"witnessmark/store/memory"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/tables/image"
)

// bench is a workshop with the demo's files, whose people work as a client does: on a copy of the
// ledger that they fetched and judged themselves, and with the bytes that they have or download.
type bench struct {
	*workshop
	own    *memory.Engine
	claims *claims.Computer
}

func demoFile(t testing.TB, name string) []byte {
	t.Helper()
	return fileBytes(t, "../testdata/demo/"+name)
}

func newBench(t testing.TB) *bench {
	t.Helper()
	return newBenchIn(t, newFolderPlace(t))
}

func newBenchIn(t testing.TB, p Place) *bench {
	t.Helper()
	b := &bench{workshop: staffedIn(t, p), own: newOwn(), claims: claims.New()}
	b.act("lead", &recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{
		Revision: &recordv1.Revision{Name: definitionName, Sha256: b.have(demoFile(t, "dx1-1.8t.yaml"))}}}})
	b.act("lead", &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{
		Revision: &recordv1.Revision{Name: limitsName, Sha256: b.have(demoFile(t, "dx1-road-98.yaml"))}}}})
	return b
}

const definitionName, limitsName = "dx1-1.8t", "dx1-road-98"

func newOwn() *memory.Engine { return memory.New() }

// have puts bytes on people's machines.
func (w *workshop) have(data []byte) string {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.files[hashOf(data)] = data
	return hashOf(data)
}

// sync fetches the entries that are new.
func (b *bench) sync() {
	b.Helper()
	if err := fetch(within(b), b.own, servicev1.NewRecordClient(b.as("technician"))); err != nil {
		b.Fatal(err)
	}
}

// fetch adds the entries that a copy lacks, and judges each.
func fetch(ctx context.Context, own *memory.Engine, c servicev1.RecordClient) error {
	var size uint64
	_ = record.View(own, func(s *record.State) error { size = s.Size(); return nil })
	stream, err := c.Entries(ctx, &servicev1.EntriesRequest{First: size})
	if err != nil {
		return err
	}
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		err = own.Update(func(w store.WriteTx) error {
			s := record.Write(w)
			for _, told := range m.GetEntries() {
				if _, err := s.Admit(told.GetEntry(), told.GetOpenings()); err != nil {
					return err
				}
			}
			return s.Finish()
		})
		if err != nil {
			return fmt.Errorf("an entry that the server admitted: %w", err)
		}
	}
}

func (b *bench) View(fn func(*record.State) error) error { return record.View(b.own, fn) }

func (b *bench) Blob(_ string, sha image.Hash) ([]byte, error) {
	b.mu.Lock()
	data, ok := b.files[string(sha)]
	b.mu.Unlock()
	if ok {
		return data, nil
	}
	return download(b.TB, servicev1.NewBlobsClient(b.as("technician")), string(sha))
}

func download(t testing.TB, c servicev1.BlobsClient, sha string) ([]byte, error) {
	t.Helper()
	s, err := c.Download(within(t), &servicev1.DownloadRequest{Sha256: sha})
	if err != nil {
		return nil, err
	}
	var out []byte
	for i := 0; ; i++ {
		m, err := s.Recv()
		if errors.Is(err, io.EOF) {
			if hashOf(out) != sha {
				t.Errorf("%s was downloaded as other bytes", sha)
			}
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		if (m.GetSize() != 0) != (i == 0) {
			t.Errorf("message %d says size %d", i, m.GetSize())
		}
		out = append(out, m.GetChunk()...)
	}
}

// filled completes an action as a client does: claims computed on its own copy.
func (b *bench) filled(a *recordv1.Action, openings ...*recordv1.Opening) *recordv1.Action {
	b.Helper()
	b.sync()
	made, err := b.claims.Fill(b, a, openings)
	if err != nil {
		b.Fatalf("fill %s: %v", signoff.Kind(a), err)
	}
	for _, report := range made.Reports {
		b.have(report)
	}
	if err := b.View(func(s *record.State) error { carry(s, a); return nil }); err != nil {
		b.Fatal(err)
	}
	return a
}

// act completes, signs and brings an action.
func (b *bench) act(name string, a *recordv1.Action, openings ...*recordv1.Opening) *servicev1.Admitted {
	b.Helper()
	got, err := b.bring(name, b.seal(name, b.filled(a, openings...)), openings...)
	if err != nil {
		b.Fatalf("%s by %s: %v (%s)", signoff.Kind(a), name, err, faultOf(err))
	}
	return got
}

func sealed(o *recordv1.Opening) *recordv1.Sealed {
	return &recordv1.Sealed{Commitment: o.GetCommitment()}
}

func (b *bench) revision(kind, name string) (r *recordv1.Revision) {
	b.look(func(s *record.State) {
		f, _ := s.Newest(kind, name)
		r = &recordv1.Revision{Name: f.GetName(), Sha256: f.GetSha256()}
	})
	return r
}

// openJob is the action that opens a job for a car, and its openings.
func (b *bench) openJob(plate string) (*recordv1.Action, []*recordv1.Opening) {
	p := signoff.NewOpening("plate", plate, rand.Reader)
	n := signoff.NewOpening("note", "the car for the hill on Sunday", rand.Reader)
	return &recordv1.Action{Body: &recordv1.Action_Job{Job: &recordv1.OpenJob{
		Definition: b.revision(record.Definitions, definitionName),
		Details:    &recordv1.JobDetails{Plate: sealed(p), Note: sealed(n), Fuel: "98 RON", Limits: b.revision(record.Limits, limitsName)},
	}}}, []*recordv1.Opening{p, n}
}

func wholeImage(data []byte) *recordv1.Image { return image.Whole(0, data).Message() }

// read is the action that adds a read, and its openings.
func (b *bench) read(job uint32, data []byte) (*recordv1.Action, []*recordv1.Opening) {
	b.have(data)
	name := signoff.NewOpening("file_name", fmt.Sprintf("read-of-job-%d.bin", job), rand.Reader)
	frame := signoff.NewOpening("frame", b.frameOf(data), rand.Reader)
	return &recordv1.Action{Body: &recordv1.Action_Read{Read: &recordv1.AddRead{
		Job: job, Image: wholeImage(data), FileName: sealed(name), Frame: sealed(frame)}}}, []*recordv1.Opening{name, frame}
}

// frameOf is the frame number in one of the demo's images.
func (b *bench) frameOf(data []byte) string {
	b.Helper()
	lay, err := b.claims.Layout(b, b.revision(record.Definitions, definitionName))
	if err != nil {
		b.Fatal(err)
	}
	frame, ok := claims.FrameOf(lay, image.Whole(0, data), "")
	if !ok {
		b.Fatal("the image has no frame number")
	}
	return frame
}

func (b *bench) submit(job uint32, data []byte) (*recordv1.Action, []*recordv1.Opening) {
	b.have(data)
	note := signoff.NewOpening("note", "more boost for the larger wheel", rand.Reader)
	return &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{Job: job, Image: wholeImage(data), Note: sealed(note)}}}, []*recordv1.Opening{note}
}

func (b *bench) sign(job, n uint32) *recordv1.Action {
	s := &recordv1.SignOff{Job: job, Submission: n, Reason: "fits the parts", Because: map[string]string{}}
	b.look(func(st *record.State) {
		sub, _ := st.Submission(job, n)
		s.ImageSha256 = sub.GetImage().GetSha256()
		for _, k := range sub.GetJudgement().GetWarnings() {
			s.Because[k] = "seen on the rolling road at part load, and watched there"
		}
	})
	return &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: s}}
}

func (b *bench) collect(job, n uint32, sha string) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Collect{Collect: &recordv1.Collect{Job: job, Submission: n, ImageSha256: sha, CarCheckedBy: "fresh-read"}}}
}

func (b *bench) note(job uint32, text string, files ...[]byte) (*recordv1.Action, []*recordv1.Opening) {
	o := []*recordv1.Opening{signoff.NewOpening("text", text, rand.Reader)}
	n := &recordv1.AddNote{Job: job, Text: sealed(o[0])}
	for i, f := range files {
		name := signoff.NewOpening("name", fmt.Sprintf("file %d", i+1), rand.Reader)
		o = append(o, name)
		n.Files = append(n.Files, &recordv1.NoteFile{Sha256: b.have(f), Size: uint32(len(f)), Name: sealed(name)})
	}
	return &recordv1.Action{Body: &recordv1.Action_Note{Note: n}}, o
}

// do acts with an action and its openings as the helpers above make them.
func (b *bench) do(name string, a *recordv1.Action, openings []*recordv1.Opening) *servicev1.Admitted {
	b.Helper()
	return b.act(name, a, openings...)
}

func closing(job uint32) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Close{Close: &recordv1.CloseJob{Job: job, Outcome: "done", Because: "the car was sold"}}}
}

func erasing(job uint32, images bool) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Erase{Erase: &recordv1.Erase{Job: job, Images: images, Because: "its owner asked"}}}
}

// closeAndErase ends a job and erases it.
func (b *bench) closeAndErase(job uint32, images bool) {
	b.Helper()
	b.act("technician", closing(job))
	b.act("lead", erasing(job, images))
}

// released takes a job to a release of the demo's second submission.
func (b *bench) released(plate string) (job uint32) {
	b.Helper()
	open, o := b.openJob(plate)
	b.do("technician", open, o)
	b.look(func(s *record.State) { job = s.Head().GetJobs() })
	read, o := b.read(job, demoFile(b, "asfound.bin"))
	b.do("technician", read, o)
	sub, o := b.submit(job, demoFile(b, "submission-2.bin"))
	b.do("calibrator", sub, o)
	b.act("lead", b.sign(job, 1))
	return job
}

func contains(t testing.TB, haystack []byte, needle string) bool {
	t.Helper()
	if len(needle) < 4 {
		t.Fatalf("%q is too short to be looked for", needle)
	}
	return bytes.Contains(haystack, []byte(needle))
}
