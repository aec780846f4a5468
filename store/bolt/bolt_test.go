package bolt_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.etcd.io/bbolt"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/storetest"
)

func create(t *testing.T) (*bolt.Engine, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "ledger.db")
	e, err := bolt.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { e.Close() })
	return e, path
}

func open(t *testing.T, path string) *bolt.Engine {
	t.Helper()
	e, err := bolt.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { e.Close() })
	return e
}

func TestEngine(t *testing.T) {
	storetest.Run(t, storetest.Maker{
		New: func(t *testing.T) store.Engine { e, _ := create(t); return e },
		Open: func(t *testing.T, snapshot []byte) store.Engine {
			path := filepath.Join(t.TempDir(), "copy.db")
			if err := os.WriteFile(path, snapshot, 0o600); err != nil {
				t.Fatal(err)
			}
			return open(t, path)
		},
	})
}

func TestReopened(t *testing.T) {
	e, path := create(t)
	put(t, e, "kept")
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	again := open(t, path)
	if got := entries(t, again); len(got) != 1 || got[0] != "kept" {
		t.Errorf("reopened with %q", got)
	}
	if err := again.Close(); err != nil {
		t.Fatal(err)
	}
	names, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(names) != 1 {
		t.Errorf("beside the store lie %v, %v", names, err)
	}
}

func TestHeld(t *testing.T) {
	_, path := create(t)
	_, err := bolt.Open(path)
	if !errors.Is(err, bolt.ErrHeld) || !strings.HasSuffix(err.Error(), fmt.Sprintf("another process holds it, most likely %d", os.Getpid())) {
		t.Errorf("second open: %v", err)
	}
	if err := os.WriteFile(path+".pid", []byte("4194305\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := bolt.OpenReadOnly(path); err == nil || !strings.Contains(err.Error(), "another process holds it, most likely 4194305") {
		t.Errorf("read-only open: %v", err)
	}
}

func TestReadOnlyChangesNoByte(t *testing.T) {
	e, path := create(t)
	put(t, e, "kept")
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	one, err := bolt.OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	two, err := bolt.OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	if got := entries(t, two); len(got) != 1 {
		t.Errorf("entries %q", got)
	}
	if err := one.Update(func(store.WriteTx) error { return nil }); !errors.Is(err, store.ErrInvalid) {
		t.Errorf("update: %v", err)
	}
	if err := errors.Join(one.Close(), two.Close()); err != nil {
		t.Error(err)
	}
	if after, err := os.ReadFile(path); err != nil || string(after) != string(before) {
		t.Errorf("the file changed, %v", err)
	}
}

func TestOpenRefusals(t *testing.T) {
	folder := t.TempDir()
	empty, text, foreign, newer := filepath.Join(folder, "empty"), filepath.Join(folder, "text"), filepath.Join(folder, "foreign"), filepath.Join(folder, "newer")
	for path, content := range map[string]string{empty: "", text: strings.Repeat("no store\n", 2000)} {
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for path, version := range map[string]string{foreign: "", newer: "3"} {
		db, err := bbolt.Open(path, 0o600, nil)
		if err != nil {
			t.Fatal(err)
		}
		err = db.Update(func(tx *bbolt.Tx) error {
			if version == "" {
				return nil
			}
			b, err := tx.CreateBucket([]byte("meta"))
			if err != nil {
				return err
			}
			return b.Put([]byte("format"), []byte(version))
		})
		if err := errors.Join(err, db.Close()); err != nil {
			t.Fatal(err)
		}
	}
	for path, says := range map[string]string{
		filepath.Join(folder, "missing"): "no such file", folder: "is a directory", empty: "empty",
		text: "damaged", foreign: "no store of this project", newer: "take the version that made it",
	} {
		e, err := bolt.Open(path)
		if err == nil {
			e.Close()
			t.Errorf("%s opened", path)
			continue
		}
		if !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), path) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %q", path, err, says)
		}
	}
	_, path := create(t)
	if _, err := bolt.Create(path); !errors.Is(err, os.ErrExist) {
		t.Errorf("created over a store: %v", err)
	}
}
