package server

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/storetest"
)

// documentsIn are all documents of a folder's store, one a line.
func documentsIn(t *testing.T, dir string) string {
	t.Helper()
	e, err := bolt.OpenReadOnly(filepath.Join(dir, storeFile))
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	return documentsOf(t, e)
}

// spoiled is a copy of a stopped server's folder that was written to behind the record's back.
func (b *bench) spoiled(damage func(store.WriteTx) error) string {
	b.Helper()
	dir := filepath.Join(b.TempDir(), "data")
	if err := os.CopyFS(dir, os.DirFS(b.dir)); err != nil {
		b.Fatal(err)
	}
	if damage != nil {
		spoil(b, dir, damage)
	}
	return dir
}

// TestRebuild: what is made of entries, blobs and sealed texts alone is what was there, whatever happened
// to the documents, and goes on as the same server.
func TestRebuild(t *testing.T) {
	b := lived(t)
	want := documentsIn(t, b.dir)
	e, err := bolt.Open(filepath.Join(b.dir, storeFile))
	if err != nil {
		t.Fatal(err)
	}
	err = e.Update(func(tx store.WriteTx) error {
		for _, damage := range []func(store.WriteTx) error{flip("job"), flip("plate"), flip("head"), flip("genesis"), flip("mark")} {
			if err := damage(tx); err != nil {
				return err
			}
		}
		return tx.PutDocument("plate", "of nobody", nil)
	})
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "again")
	if _, err := in(b.dir).Rebuild(to, false); err == nil || !strings.Contains(err.Error(), "another process holds it") {
		t.Errorf("while it is held: %v", err)
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	before := fileBytes(t, filepath.Join(b.dir, storeFile))
	out, err := in(b.dir).Rebuild(to, false)
	if err != nil || len(out.Found) > 0 {
		t.Fatalf("%+v %v", out, err)
	}
	if documentsIn(t, to) != want {
		t.Error("other documents")
	}
	if string(before) != string(fileBytes(t, filepath.Join(b.dir, storeFile))) {
		t.Error("the old store was changed")
	}
	if _, err := in(b.dir).Rebuild(to, true); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("over a folder: %v", err)
	}
	b.dir = to
	b.start()
	b.act("technician", b.collect(1, 1, hashOf(smallMap(1))))
	b.leavesNothing()
}

// TestRebuildRefuses what would be less than was signed: and leaves nothing then.
func TestRebuildRefuses(t *testing.T) {
	b := lived(t)
	found := hashOf(smallRead(1))
	for name, c := range map[string]struct {
		damage func(store.WriteTx) error
		beside func(dir string) error
		say    string
		losses bool
	}{
		"a damaged blob": {damage: func(tx store.WriteTx) error { return tx.PutBlob(found, []byte("damaged")) }, say: found, losses: true},
		"a lost text":    {damage: flip("opening"), say: "sealed text", losses: true},
		"a wrong entry":  {damage: func(tx store.WriteTx) error { n, _ := tx.Entries(); return tx.PutEntry(n, []byte("no entry")) }, say: "entry "},
		"a newer head": {beside: func(dir string) error {
			note := strings.Replace(string(fileBytes(t, filepath.Join(dir, checkpointFile))), "\n", "\n1", 1)
			return os.WriteFile(filepath.Join(dir, checkpointFile), []byte(note), 0o600)
		}, say: "kept checkpoint"},
		"no checkpoint": {beside: func(dir string) error { return os.Remove(filepath.Join(dir, checkpointFile)) }, say: "kept checkpoint"},
		"no store":      {beside: func(dir string) error { return os.Remove(filepath.Join(dir, storeFile)) }, say: "no such file"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := b.spoiled(c.damage)
			if c.beside != nil {
				if err := c.beside(dir); err != nil {
					t.Fatal(err)
				}
			}
			folder := t.TempDir()
			to := filepath.Join(folder, "again")
			if _, err := in(dir).Rebuild(to, false); err == nil || !strings.Contains(err.Error(), c.say) || strings.Contains(err.Error(), "HC 2") {
				t.Errorf("rebuilt: %v, want %q", err, c.say)
			}
			out, err := in(dir).Rebuild(to, true)
			if (err == nil) != c.losses || err == nil && !strings.Contains(strings.Join(out.Found, "\n"), c.say) {
				t.Errorf("with losses: %+v %v", out, err)
			}
			if left, err := os.ReadDir(folder); err != nil || len(left) > 0 && !c.losses {
				t.Errorf("left behind: %v %v", left, err)
			}
		})
	}
}

// TestRebuildOfDamagedPages spoils pages of a store at random. Either all is as it was, or it is said what
// was lost, or nothing is made: never is there a store that says something else.
func TestRebuildOfDamagedPages(t *testing.T) {
	b := lived(t)
	r := storetest.Rand(t)
	want := documentsIn(t, b.dir)
	file, page := inUse(fileBytes(t, filepath.Join(b.dir, storeFile))), os.Getpagesize()
	whole, refused := 0, 0
	storetest.During(t, 2*time.Second, func() {
		bad := append([]byte{}, file...)
		at := (2 + r.IntN(len(bad)/page-2)) * page
		for range 1 + r.IntN(8) {
			bad[at+r.IntN(page)] ^= byte(1 + r.IntN(255))
		}
		if r.IntN(2) == 0 {
			bad[at+8] ^= byte(1 + r.IntN(3))
		}
		dir := b.spoiled(nil)
		if err := os.WriteFile(filepath.Join(dir, storeFile), bad, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := in(dir).Rebuild(dir+"2", false); err != nil {
			refused++
			return
		}
		whole++
		if documentsIn(t, dir+"2") != want {
			t.Errorf("page %d: other documents", at/page)
		}
		_ = os.RemoveAll(dir)
		_ = os.RemoveAll(dir + "2")
	})
	t.Logf("%d pages spoiled: %d rebuilt as they were, %d refused", whole+refused, whole, refused)
	if whole+refused > 30 && refused == 0 {
		t.Error("the test spoils nothing that is needed")
	}
}
