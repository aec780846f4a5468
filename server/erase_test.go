package server

import (
	"bytes"
	"crypto/rand"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/record"
)

// patched is a demo image with another frame number, and bytes of its own in the program.
func (b *bench) patched(frame string, marker []byte) []byte {
	b.Helper()
	data := bytes.Clone(demoFile(b, "asfound.bin"))
	lay, err := b.claims.Layout(b, b.revision(record.Definitions, definitionName))
	if err != nil {
		b.Fatal(err)
	}
	for _, f := range lay.Identity {
		if f.Vehicle {
			field := data[f.Range.Start:f.Range.End]
			if n := copy(field, frame); n < len(frame) {
				b.Fatalf("the frame number has room for %d characters", n)
			}
			for i := len(frame); i < len(field); i++ {
				field[i] = ' '
			}
			break
		}
	}
	copy(data[0x800:], marker)
	return data
}

func (b *bench) backup() []byte {
	b.Helper()
	s, err := servicev1.NewAdminClient(b.as("lead")).Backup(within(b), &servicev1.BackupRequest{})
	if err != nil {
		b.Fatal(err)
	}
	var out []byte
	for {
		m, err := s.Recv()
		if err != nil {
			return out
		}
		out = append(out, m.GetChunk()...)
	}
}

// TestErase looks for what identifies a car in the raw file and in a backup, before and after. What
// another job names stays, also where it was packed against what is gone.
func TestErase(t *testing.T) { onBoth(t, testErase) }

func testErase(t *testing.T, p Place) {
	b := newBenchIn(t, p)
	job := b.released("AB 12 CD") // job 1: its release is packed against its read
	second := bytes.Clone(demoFile(t, "asfound.bin"))
	second[0x3E010] ^= 1 // a learned value: another read of the same car
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	read, o := b.read(2, second)
	b.do("technician", read, o)
	sub, o := b.submit(2, demoFile(t, "submission-2.bin")) // the same bytes as in job 1
	b.do("calibrator", sub, o)
	b.act("lead", b.sign(2, 1))

	marker, film := make([]byte, 64), make([]byte, 512)
	_, _ = rand.Read(marker)
	_, _ = rand.Read(film)
	other := b.patched("ZZZDX1ERASE000042", marker)
	open, o = b.openJob("XY 98 ZZ")
	b.do("technician", open, o)
	read, o = b.read(3, other)
	b.do("technician", read, o)
	note, o := b.note(3, "the owner of this one is a neighbour", film)
	b.do("technician", note, o)

	needles := map[string]string{
		"plate": "XY 98 ZZ", "plate as looked up": "XY98ZZ", "frame": "ZZZDX1ERASE000042", "note": "is a neighbour", "note of the job": o[0].GetSalt(),
		"file of a note": string(film[100:140]), "image": string(marker),
	}
	files := func() []byte { // of a database its engine's own tests look at the files
		if p.Database != "" {
			return b.backup()
		}
		return fileBytes(t, filepath.Join(b.dir, storeFile))
	}
	file := files()
	for what, needle := range needles {
		if !contains(t, file, needle) {
			t.Errorf("%s is not in the file before it is erased", what)
		}
	}
	b.closeAndErase(3, true)
	b.closeAndErase(job, true)
	file, copied := files(), b.backup()
	for what, needle := range needles {
		if contains(t, file, needle) {
			t.Errorf("%s is still in the file", what)
		}
		if contains(t, copied, needle) {
			t.Errorf("%s is in a backup made afterwards", what)
		}
	}
	blobs := servicev1.NewBlobsClient(b.as("lead"))
	if got, err := download(t, blobs, hashOf(demoFile(t, "submission-2.bin"))); err != nil || !bytes.Equal(got, demoFile(t, "submission-2.bin")) {
		t.Errorf("the release of job 1 that is job 2's too: %v", err)
	}
	for what, sha := range map[string]string{"job 3's image": hashOf(other), "its film": hashOf(film), "job 1's read": hashOf(demoFile(t, "asfound.bin"))} {
		if _, err := download(t, blobs, sha); status.Code(err) != codes.NotFound {
			t.Errorf("%s: %v, want not found", what, err)
		}
	}
	got, err := servicev1.NewJobsClient(b.as("lead")).Get(within(t), &servicev1.JobsGetRequest{Number: 3})
	if err != nil || !got.GetJob().GetPlate().GetErased() || got.GetJob().GetPlate().GetText() != "" {
		t.Errorf("job 3 shows %v (%v)", got.GetJob().GetPlate(), err)
	}
	for _, needle := range []string{"XY 98 ZZ", "ZZZDX1ERASE000042", "neighbour"} {
		if contains(t, []byte(b.logs.String()), needle) {
			t.Errorf("the log holds %q", needle)
		}
	}
	if _, err := os.Stat(filepath.Join(b.dir, erasingFile)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the note that something is to be erased: %v", err)
	}
	b.leavesNothing()
	if out := b.well(); out.Passed == 0 {
		t.Error("check says that it could make every claim again")
	}
	// Whoever begins now comes to the same record.
	fresh := &bench{workshop: b.workshop, own: newOwn(), claims: b.claims}
	fresh.sync()
	if err := fresh.View(func(s *record.State) error {
		if s.Size() != b.size() || s.Lacking() != 0 {
			t.Errorf("%d entries, %d texts are lacking", s.Size(), s.Lacking())
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}

// TestEraseSurvivesACrash: what was erased and not compacted yet is compacted at the next start.
func TestEraseSurvivesACrash(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("XY 98 ZZ")
	b.do("technician", open, o)
	b.tune = func(o *Options) { o.wrap = func(e store.Engine) store.Engine { return uncompacted{e} } }
	b.restart()
	a := b.filled(closing(1))
	if _, err := b.bring("technician", b.seal("technician", a)); err != nil {
		t.Fatal(err)
	}
	env := b.seal("lead", b.filled(erasing(1, false)))
	_, err := b.bring("lead", env)
	wantFault(t, err, codes.Unavailable, "store-broken")
	if !contains(t, fileBytes(t, filepath.Join(b.dir, storeFile)), "XY 98 ZZ") {
		t.Fatal("the plate is gone already")
	}
	b.tune = nil
	b.restart()
	if contains(t, fileBytes(t, filepath.Join(b.dir, storeFile)), "XY 98 ZZ") {
		t.Error("the plate is still in the file")
	}
	if _, err := b.bring("lead", env); err != nil {
		t.Errorf("the same action again: %v", err)
	}
	b.leavesNothing()
}

// uncompacted is an engine whose disk is full when it is compacted.
type uncompacted struct{ store.Engine }

func (uncompacted) Compact() error { return errors.New("no space left on the disk") }
