package server

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/postgres/pgtest"
)

// toDatabase is where a stopped server's folder is to go.
func (w *workshop) toDatabase() Place {
	w.Helper()
	return Place{Dir: w.dir, Database: pgtest.URL(w)}
}

// nobodyServes wants every way into a folder refused, in one line that says what.
func nobodyServes(t *testing.T, dir, say string) {
	t.Helper()
	p, out := in(dir), filepath.Join(t.TempDir(), "out")
	_, err := Start(Options{Place: in(dir), Listen: "127.0.0.1:0"})
	wantOneLine(t, "serve", err, say)
	wantOneLine(t, "backup", p.Backup(out), say)
	_, err = p.Check()
	wantOneLine(t, "check", err, say)
	_, err = p.Rebuild(out, true)
	wantOneLine(t, "rebuild", err, say)
	_, err = p.Recover(out, Recovery{Lead: "lead", LeadKey: publicOf(testKey("lead")), WithLosses: true})
	wantOneLine(t, "recover", err, say)
	wantOneLine(t, "get", p.Extract("1.read1", out), say)
	if _, err := os.Stat(out); !errors.Is(err, os.ErrNotExist) {
		t.Error("something was written")
	}
}

// TestMove: a ledger that was moved is the same one, with the same history behind it: whoever has a copy goes on
// from there. The folder is of no use any more but for its key.
func TestMove(t *testing.T) {
	b := newBench(t)
	job := b.released("AB 12 CD")
	b.closeAndErase(job, true)
	second := b.released("EF 34 GH")
	b.sync()
	want, size := b.documents(), b.size()
	p := b.toDatabase()
	_, err := p.Move()
	wantOneLine(t, "while it is served", err, "another process holds it")
	b.stop()
	out, err := p.Move()
	if err != nil || out.Entries != size || out.Blobs == 0 || out.Documents == 0 || out.GoneOn {
		t.Fatalf("%+v %v", out, err)
	}
	nobodyServes(t, b.dir, "was moved to ")
	_, err = p.Move()
	wantOneLine(t, "again", err, "was moved to ")

	b.place = p
	b.start()
	if b.documents() != want {
		t.Error("other documents")
	}
	if err := fetch(within(t), b.own, servicev1.NewRecordClient(b.as("calibrator"))); err != nil {
		t.Fatal(err)
	}
	b.act("technician", b.collect(second, 1, hashOf(demoFile(t, "submission-2.bin"))))
	b.sync()
	b.leavesNothing()
	if out, err := p.Check(); err != nil || len(out.Found) > 0 || out.Entries != size+1 {
		t.Errorf("check: %+v %v", out, err)
	}
}

// TestMoveKilled kills a move before each of its steps. The folder is served as before, or by nobody; and another
// move comes to its end, also where the database has gone on meanwhile.
func TestMoveKilled(t *testing.T) {
	for _, c := range []struct {
		step          string
		marked, there bool
	}{{"look", false, false}, {"moving", false, false}, {"copy", true, false}, {"commit", true, false}, {"compare", true, true}, {"moved", true, true}} {
		t.Run(c.step, func(t *testing.T) {
			b := newSmallBench(t)
			b.smallJob(1)
			want, size := b.documents(), b.size()
			p := b.toDatabase()
			b.stop()
			move := exec.Command(os.Args[0])
			move.Env = append(os.Environ(), servedDir+"="+p.Dir, servedDatabase+"="+p.Database, onlyMoved+"=yes", killAt+"="+c.step+":1")
			if said, err := move.CombinedOutput(); err == nil || move.ProcessState.ExitCode() != -1 {
				t.Fatalf("it did not come to %s: %v\n%s", c.step, err, said)
			}
			if c.marked {
				nobodyServes(t, b.dir, "is on its way to ")
				_, err := Start(Options{Place: Place{Dir: b.dir, Database: p.Database}, Listen: "127.0.0.1:0"})
				wantOneLine(t, "serve of the database", err, "is on its way to ")
				_, err = (Place{Dir: b.dir, Database: pgtest.URL(t)}).Move()
				wantOneLine(t, "a move to elsewhere", err, "and not to ")
			} else {
				b.start()
				b.stop()
			}
			if out, err := (Place{Database: p.Database}).Check(); (err == nil && out.Entries > 0) != c.there {
				t.Errorf("check of the database: %+v %v", out, err)
			}
			gone := c.step == "moved"
			if gone { // somebody with the key serves it already
				other := &workshop{TB: t, place: p, dir: b.dir, files: b.files, keys: b.keys}
				*b.workshop = *other.beside()
				b.enrol("another", "technician")
				want, size = b.documents(), size+1
				b.stop()
				b.dir = p.Dir
			}
			out, err := p.Move()
			if err != nil || out.Entries != size || out.GoneOn != gone {
				t.Fatalf("%+v %v", out, err)
			}
			b.place = p
			b.start()
			if b.documents() != want {
				t.Error("other documents")
			}
			b.leavesNothing()
		})
	}
}

// TestMoveRefuses: what is damaged is not moved, and a database that holds something else is left alone. The
// folder stays as it is.
func TestMoveRefuses(t *testing.T) {
	b := newSmallBench(t)
	b.smallReleased(1)
	size := b.size()
	b.stop()
	moved := func(dir string) (*Moved, error) { return Place{Dir: dir, Database: pgtest.URL(t)}.Move() }
	document, blob := b.spoiled(nil), b.spoiled(func(w store.WriteTx) error {
		return w.PutBlob(hashOf(smallRead(1)), []byte("damaged"))
	})
	file := fileBytes(t, filepath.Join(document, storeFile))
	file = bytes.ReplaceAll(file, []byte("HC 1"), []byte("HC 2"))
	if err := os.WriteFile(filepath.Join(document, storeFile), file, 0o600); err != nil {
		t.Fatal(err)
	}
	tree := b.spoiled(func(w store.WriteTx) error { return w.PutHash(tlog.StoredHashIndex(0, int64(size-1)), tlog.Hash{1}) })
	for dir, say := range map[string]string{document: "damaged", blob: "damaged", tree: "disagree about the first"} {
		_, err := moved(dir)
		what := "what is " + say
		wantOneLine(t, what, err, say)
		if _, err := os.Stat(filepath.Join(dir, movedFile)); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s: the folder is marked", what)
		}
	}
	other := newWorkshopIn(t, newDatabasePlace(t))
	p := Place{Dir: b.dir, Database: other.place.Database}
	_, err := p.Move()
	wantOneLine(t, "another ledger", err, "holds another ledger")
	if other.size() != 1 {
		t.Error("another ledger was changed")
	}
	// An older state of the same ledger, and one that went another way.
	older := Place{Dir: b.spoiled(nil), Database: pgtest.URL(t)}
	if _, err := older.Move(); err != nil {
		t.Fatal(err)
	}
	fork := &bench{workshop: &workshop{TB: t, place: in(b.spoiled(nil)), logs: b.logs, files: b.files, keys: b.keys}, own: newOwn(), claims: b.claims}
	fork.dir = fork.place.Dir
	fork.start()
	fork.enrol("another", "technician")
	fork.stop()
	p = Place{Dir: fork.dir, Database: older.Database}
	_, err = p.Move()
	wantOneLine(t, "an older state", err, "holds an older state of this ledger")
	at := &workshop{TB: t, place: older, dir: older.Dir, logs: b.logs, files: b.files, keys: b.keys}
	at.start()
	at.enrol("somebody else", "technician")
	at.stop()
	_, err = p.Move()
	wantOneLine(t, "a fork", err, "disagree about the first")
	for _, dir := range []string{b.dir, fork.dir} {
		if out, err := in(dir).Check(); err != nil || len(out.Found) > 0 {
			t.Errorf("what was not moved: %+v %v", out, err)
		}
	}
}
