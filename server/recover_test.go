package server

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/store"
	"witnessmark/store/record"
)

// TestRecover: after the keys are lost a new ledger begins that names the old one's head. The old one can be
// looked at, and nobody can add to it; the new one knows nobody of it, and takes its definitions again.
func TestRecover(t *testing.T) {
	b := lived(t)
	if err := os.Remove(filepath.Join(b.dir, keyFile)); err != nil {
		t.Fatal(err)
	}
	old, err := in(b.dir).Check()
	if err != nil || len(old.Found) > 0 || !old.NoKey {
		t.Fatalf("a folder without its key: %+v %v", old, err)
	}
	b.refusesToStart("is not a server's folder")
	to := filepath.Join(t.TempDir(), "new")
	out, err := in(b.dir).Recover(to, Recovery{Lead: "a new lead", LeadKey: publicOf(testKey("a new lead"))})
	if err != nil || len(out.Old.Found) > 0 || out.Old.Head != old.Head || out.Fingerprint == old.Fingerprint {
		t.Fatalf("%+v %v", out, err)
	}
	if archive, err := in(filepath.Join(to, archiveFolder)).Check(); err != nil || len(archive.Found) > 0 || !archive.NoKey || archive.Head != old.Head {
		t.Errorf("the archive: %+v %v", archive, err)
	}
	image := filepath.Join(t.TempDir(), "asfound.bin")
	if err := in(filepath.Join(to, archiveFolder)).Extract("1.read1", image); err != nil || !bytes.Equal(fileBytes(t, image), smallRead(1)) {
		t.Errorf("the read as found: %v", err)
	}
	for name, say := range map[string]string{"1.read1": "file exists", "1.read2": "there is no 1.read2", "7.1": "there is no 7.1", "1": "has no bytes", "3.read1": "not found", "x": "is no name"} {
		file := image
		if name != "1.read1" {
			file += "2"
		}
		if err := in(filepath.Join(to, archiveFolder)).Extract(name, file); err == nil || !strings.Contains(err.Error(), say) {
			t.Errorf("%s: %v, want %q", name, err, say)
		}
	}
	if len(out.Files) != 2 {
		t.Fatalf("files %v", out.Files)
	}

	served := b.dir
	b.dir = filepath.Join(to, archiveFolder)
	b.refusesToStart("is not a server's folder")
	b.dir = to
	b.start()
	b.look(func(s *record.State) {
		c := s.Genesis().GetContinues()
		print, err := fingerprintOf(c.GetGenesis())
		if err != nil || print != old.Fingerprint || old.Head != fmt.Sprintf("%d:%s", c.GetSize(), c.GetRoot()) || s.Size() != 1 {
			t.Errorf("it goes on from %v, want %s of %s", c, old.Head, old.Fingerprint)
		}
	})
	if err := b.try("lead", retireAction("technician")); err == nil {
		t.Error("the old lead still rules")
	}
	b.keys["a new lead"] = testKey("a new lead")
	b.must("a new lead", enrolAction("technician", testKey("technician"), "technician")) // with the key that they have
	b.stop()
	if again, err := in(served).Check(); err != nil || again.Head != old.Head {
		t.Errorf("the old folder: %+v %v", again, err)
	}
}

// TestRecoverRefuses, and leaves nothing.
func TestRecoverRefuses(t *testing.T) {
	b := lived(t)
	who := Recovery{Lead: "a new lead", LeadKey: publicOf(testKey("a new lead"))}
	folder := t.TempDir()
	to := filepath.Join(folder, "new")
	small := who
	small.LeadKey = append([]byte{1}, make([]byte, 31)...)
	nameless := who
	nameless.Lead = "two\nlines"
	dir := b.dir
	lossy := b.spoiled(func(tx store.WriteTx) error { return tx.DeleteBlob(hashOf(smallRead(1))) })
	for what, c := range map[string]struct {
		dir string
		r   Recovery
		say string
	}{
		"a key of small order": {dir, small, "small order"}, "a name": {dir, nameless, "genesis.lead_name"},
		"no ledger": {filepath.Join(dir, "nowhere"), who, "not a server's folder"}, "faults": {lossy, who, "faults"},
	} {
		if _, err := in(c.dir).Recover(to, c.r); err == nil || !strings.Contains(err.Error(), c.say) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %q", what, err, c.say)
		}
		if left, err := os.ReadDir(folder); err != nil || len(left) > 0 {
			t.Errorf("%s: left behind: %v %v", what, left, err)
		}
	}
	who.WithLosses = true
	if out, err := in(lossy).Recover(to, who); err != nil || len(out.Old.Found) == 0 {
		t.Errorf("with losses: %+v %v", out, err)
	}
	if _, err := in(dir).Recover(to, who); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("over a folder: %v", err)
	}
}
