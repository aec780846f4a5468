package server

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/record"
)

// copied is a copy of the server's folder, made while it serves.
func (w *workshop) copied() string {
	w.Helper()
	dir := w.TempDir()
	for _, name := range []string{keyFile, checkpointFile} {
		if err := os.WriteFile(filepath.Join(dir, name), fileBytes(w, filepath.Join(w.dir, name)), 0o600); err != nil {
			w.Fatal(err)
		}
	}
	f, err := os.Create(filepath.Join(dir, storeFile))
	if err != nil {
		w.Fatal(err)
	}
	if err := errors.Join(w.srv.home.engine.Snapshot(f), f.Close()); err != nil {
		w.Fatal(err)
	}
	return dir
}

// damaged is such a copy, written to behind the record's back.
func (w *workshop) damaged(damage func(store.WriteTx) error) string {
	w.Helper()
	dir := w.copied()
	spoil(w, dir, damage)
	return dir
}

// spoil writes to the store in a folder that nobody serves.
func spoil(t testing.TB, dir string, damage func(store.WriteTx) error) {
	t.Helper()
	e, err := bolt.Open(filepath.Join(dir, storeFile))
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(e.Update(damage), e.Close()); err != nil {
		t.Fatal(err)
	}
}

// flip changes one bit of the first document of a kind.
func flip(kind string) func(store.WriteTx) error {
	return func(tx store.WriteTx) error {
		return first(tx, kind, func(key string, value []byte) error {
			value[len(value)/2] ^= 1
			return tx.PutDocument(kind, key, value)
		})
	}
}

func first(tx store.WriteTx, kind string, fn func(key string, value []byte) error) error {
	var name string
	var found []byte
	err := tx.Scan(kind, "", func(key string, value []byte) (bool, error) {
		name, found = key, value
		return false, nil
	})
	if err == nil && found == nil {
		err = errors.New("there is no document of kind " + kind)
	}
	if err != nil {
		return err
	}
	return fn(name, found)
}

// TestCheckFinds: each damage to the store is found, and said without a plate or a frame number, and
// a backup that has it is not restored.
func TestCheckFinds(t *testing.T) {
	b := newSmallBench(t)
	b.smallReleased(1)
	found := hashOf(smallRead(1))
	size := b.size()
	for name, c := range map[string]struct {
		damage func(tx store.WriteTx) error
		say    string
	}{
		"a tree hash":     {func(tx store.WriteTx) error { return tx.PutHash(2, tlog.Hash{1}) }, "tree hash 2 "},
		"a damaged blob":  {func(tx store.WriteTx) error { return tx.PutBlob(found, []byte("damaged")) }, found},
		"no blob":         {func(tx store.WriteTx) error { return tx.DeleteBlob(found) }, found},
		"a blob too many": {func(tx store.WriteTx) error { _, err := store.PutBlob(tx, []byte("of nobody"), ""); return err }, "named by no entry"},
		"a flipped job":   {flip("job"), "documents of kind job: 1 are not"},
		"a flipped plate": {flip("plate"), "documents of kind plate: 1 are not"},
		"a missing document": {func(tx store.WriteTx) error {
			return first(tx, "plate", func(key string, _ []byte) error { return tx.DeleteDocument("plate", key) })
		}, "documents of kind plate: 1 are missing"},
		"a document too many": {func(tx store.WriteTx) error { return tx.PutDocument("plate", "HC 11", nil) }, "documents of kind plate: 1 are not"},
		"no opening": {func(tx store.WriteTx) error {
			return first(tx, "opening", func(key string, _ []byte) error { return tx.DeleteDocument("opening", key) })
		}, "opening"},
		"an entry": {func(tx store.WriteTx) error { return tx.PutEntry(size, []byte("no entry")) }, "entry "},
	} {
		t.Run(name, func(t *testing.T) {
			dir := b.damaged(c.damage)
			out, err := in(dir).Check()
			if err != nil {
				t.Fatal(err)
			}
			said := strings.Join(out.Found, "\n")
			if !strings.Contains(said, c.say) {
				t.Errorf("found %q, want %q", out.Found, c.say)
			}
			if strings.Contains(said, "HC 1") || strings.Contains(said, "HC1") {
				t.Errorf("it says the plate: %q", said)
			}
			again := filepath.Join(t.TempDir(), "again")
			if _, err := in(again).Restore(filepath.Join(dir, storeFile), b.srv.home.key); err == nil || !strings.Contains(err.Error(), "fault") {
				t.Errorf("restored: %v", err)
			}
			if _, err := os.Stat(again); err == nil {
				t.Error("a refused restore left a folder")
			}
		})
	}
	if out, err := in(b.copied()).Check(); err != nil || len(out.Found) > 0 || out.Blobs < 6 {
		t.Errorf("a copy that nobody touched: %+v %v", out, err)
	}
	dir := b.copied()
	if err := os.WriteFile(filepath.Join(dir, checkpointFile), []byte("not a note"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := in(dir).Check(); err != nil || !strings.Contains(strings.Join(out.Found, "\n"), "kept checkpoint") {
		t.Errorf("another checkpoint: %+v %v", out, err)
	}
	if out, err := checkStore(otherSum{b.srv.home.engine}); err != nil || len(out.Found) != 1 || !strings.Contains(out.Found[0], "damaged") {
		t.Errorf("another sum: %+v %v", out, err)
	}
	if out, err := checkStore(newOwn()); err != nil || len(out.Found) != 1 {
		t.Errorf("an empty store: %+v %v", out, err)
	}
}

// TestEachPartOfCheck: without any one of what is looked at, some damage would not be found.
func TestEachPartOfCheck(t *testing.T) {
	b := newSmallBench(t)
	b.smallReleased(1)
	damages := map[string]func(store.WriteTx) error{
		"tree":            func(tx store.WriteTx) error { return tx.PutHash(2, tlog.Hash{1}) },
		"blobs":           func(tx store.WriteTx) error { return tx.DeleteBlob(string(b.reportOf(1, 1))) },
		"blobs of nobody": func(tx store.WriteTx) error { _, err := store.PutBlob(tx, []byte("of nobody"), ""); return err },
		"documents":       flip("plate"),
		"missing documents": func(tx store.WriteTx) error {
			return first(tx, "plate", func(key string, _ []byte) error { return tx.DeleteDocument("plate", key) })
		},
		"sum": nil,
	}
	for name := range parts {
		damage, ok := damages[name]
		if !ok {
			t.Fatalf("nothing is damaged that %s would find", name)
		}
		engine := store.Engine(otherSum{b.srv.home.engine})
		if damage != nil {
			e, err := bolt.OpenReadOnly(filepath.Join(b.damaged(damage), storeFile))
			if err != nil {
				t.Fatal(err)
			}
			defer e.Close()
			engine = e
		}
		others := maps.Clone(parts)
		delete(others, name)
		if out, err := checkStore(engine); err != nil || len(out.Found) != 1 {
			t.Errorf("%s: %+v %v, want it found", name, out, err)
		}
		if out, err := checkParts(engine, others); err != nil || len(out.Found) != 0 {
			t.Errorf("without %s: %+v %v", name, out, err)
		}
	}
}

// TestCheckFindsWhatIsNotErased: bytes of an erased job that are still there.
func TestCheckFindsWhatIsNotErased(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	film := []byte("what the camera in the footwell saw")
	note, o := b.note(1, "the film", film)
	b.do("technician", note, o)
	b.closeAndErase(1, false)
	dir := b.damaged(func(tx store.WriteTx) error { _, err := store.PutBlob(tx, film, ""); return err })
	out, err := in(dir).Check()
	if err != nil || !strings.Contains(strings.Join(out.Found, "\n"), "still there") {
		t.Errorf("found %+v %v", out, err)
	}
	if out := b.well(); out.Passed == 0 {
		t.Error("the claims of what was erased were made again")
	}
}

// TestCheckRemakesClaims: an action that the rules allow, and whose claim is not so, is found; the
// server would not have let it in.
func TestCheckRemakesClaims(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	a, o := b.read(1, demoFile(t, "asfound.bin"))
	b.filled(a, o...).GetRead().GetCheck().Verdict = "caution"
	env := b.seal("technician", a)
	b.damage(func(tx store.WriteTx) error {
		s := record.Write(tx)
		if _, err := s.Admit(record.MakeEntry(env, a.GetTime()), o); err != nil {
			return err
		}
		for _, data := range [][]byte{demoFile(t, "asfound.bin"), b.files[a.GetRead().GetCheck().GetReportSha256()]} {
			if _, err := store.PutBlob(tx, data, ""); err != nil {
				return err
			}
		}
		return s.Finish()
	})
	out, err := checkStore(b.srv.home.engine)
	if err != nil || len(out.Found) != 1 || !strings.Contains(out.Found[0], "entry 6: read.check.verdict") {
		t.Errorf("found %+v %v, want the verdict of entry 6", out, err)
	}
}

// TestBackup: what Backup streams is a store that Restore makes a server of, with the server's key,
// which is not in it; clients of the old one go on with the new one.
func TestBackup(t *testing.T) {
	b := newBench(t)
	b.released("AB 12 CD")
	copied := b.backup()
	if strings.Contains(string(copied), string(b.srv.home.key.Seed())) {
		t.Error("the backup holds the server's key")
	}
	b.leavesNothing()
	folder := t.TempDir()
	file := filepath.Join(folder, "backup")
	if err := os.WriteFile(file, copied, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := in(filepath.Join(folder, "wrong")).Restore(file, testKey("another server")); err == nil || !strings.Contains(err.Error(), "key given") {
		t.Errorf("restored with another server's key: %v", err)
	}
	if left, err := os.ReadDir(folder); err != nil || len(left) != 1 {
		t.Errorf("a refused restore left %v (%v)", left, err)
	}
	out, err := in(filepath.Join(folder, "data")).Restore(file, b.srv.home.key)
	if err != nil || out.Entries != b.size() || !strings.HasPrefix(out.Head, fmt.Sprint(b.size(), ":")) {
		t.Fatalf("restore: %+v, %v; want %d entries", out, err, b.size())
	}
	b.stop()
	b.dir = filepath.Join(folder, "data")
	b.start()
	b.act("technician", b.collect(1, 1, hashOf(demoFile(t, "submission-2.bin"))))
	b.leavesNothing()

	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{file, filepath.Join(folder, "nowhere")} {
		if _, err := in(filepath.Join(folder, "bad")).Restore(bad, b.srv.home.key); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("restored from %s: %v", bad, err)
		}
	}
}

// TestBackupOfAStoppedServer writes a new file and never over one.
func TestBackupOfAStoppedServer(t *testing.T) {
	w := staffed(t)
	w.stop()
	out := filepath.Join(t.TempDir(), "copy")
	if err := in(w.dir).Backup(out); err != nil {
		t.Fatal(err)
	}
	before := fileBytes(t, out)
	if err := in(w.dir).Backup(out); err == nil {
		t.Error("it wrote over a file")
	}
	if string(fileBytes(t, out)) != string(before) {
		t.Error("a refused backup changed the file")
	}
	if err := in(filepath.Join(w.dir, "nowhere")).Backup(out + "2"); err == nil {
		t.Error("a backup of nothing")
	}
	e, err := bolt.OpenReadOnly(out)
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if found, err := checkStore(e); err != nil || found.Entries != 3 || len(found.Found) != 0 {
		t.Errorf("the copy: %+v %v", found, err)
	}
}

// TestInit: a folder that holds anything is left alone, a failure leaves nothing, and files
// are their owner's alone.
func TestInit(t *testing.T) {
	base := t.TempDir()
	dir := filepath.Join(base, "data")
	print1, err := in(dir).Init("lead", publicOf(testKey("lead")), false)
	if err != nil || !strings.HasPrefix(print1, "SHA256:") {
		t.Fatalf("%q %v", print1, err)
	}
	err = filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		info, _ := d.Info()
		if info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s has mode %v", path, info.Mode())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := in(dir).Init("lead", publicOf(testKey("lead")), false); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("a second init: %v", err)
	}
	for _, bad := range []string{"two\nlines", "", strings.Repeat("x", 65)} {
		if _, err := in(filepath.Join(base, "bad")).Init(bad, publicOf(testKey("lead")), false); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("the name %q: %v", bad, err)
		}
	}
	if _, err := in(filepath.Join(base, "bad")).Init("lead", append([]byte{1}, make([]byte, 31)...), false); err == nil {
		t.Error("a key of small order was accepted")
	}
	if _, err := in("").Init("lead", publicOf(testKey("lead")), false); err == nil {
		t.Error("a folder without a name")
	}
	names, err := os.ReadDir(base)
	if err != nil || len(names) != 1 {
		t.Errorf("left behind: %v %v", names, err)
	}
	other, err := in(filepath.Join(base, "other")).Init("lead", publicOf(testKey("lead")), false)
	if err != nil || other == print1 {
		t.Errorf("two ledgers share the fingerprint %s (%v)", other, err)
	}
}
