package store_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"witnessmark/store"
	"witnessmark/store/memory"
)

// putBlob stores one blob in an update of its own.
func putBlob(t *testing.T, e store.Engine, data []byte, base string) string {
	t.Helper()
	var sha string
	err := e.Update(func(tx store.WriteTx) (err error) {
		sha, err = store.PutBlob(tx, data, base)
		return err
	})
	if err != nil || sha != name(data) {
		t.Fatalf("put: %q, %v", sha, err)
	}
	return sha
}

func getBlob(e store.Engine, sha string) (data []byte, err error) {
	err = e.View(func(tx store.ReadTx) (err error) {
		data, err = store.GetBlob(tx, sha)
		return err
	})
	return data, err
}

func packedBlob(t *testing.T, e store.Engine, sha string) (packed []byte) {
	t.Helper()
	err := e.View(func(tx store.ReadTx) (err error) {
		packed, err = tx.Blob(sha)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return packed
}

func setPacked(t *testing.T, e store.Engine, sha string, packed []byte) {
	t.Helper()
	if err := e.Update(func(tx store.WriteTx) error { return tx.PutBlob(sha, packed) }); err != nil {
		t.Fatal(err)
	}
}

func wantBlob(t *testing.T, e store.Engine, data []byte) {
	t.Helper()
	if got, err := getBlob(e, name(data)); err != nil || !bytes.Equal(got, data) {
		t.Errorf("blob %s: %d bytes, %v", name(data), len(got), err)
	}
}

// TestOneStepDeep: however submissions name their bases, a blob stands on a whole one at most.
func TestOneStepDeep(t *testing.T) {
	e := memory.New()
	read := image(1, 1<<16)
	first, second := edited(read), edited(edited(read))
	a := putBlob(t, e, read, "")
	b := putBlob(t, e, first, a)
	c := putBlob(t, e, second, b) // names a difference
	for _, sha := range []string{b, c} {
		packed := packedBlob(t, e, sha)
		if packed[0] != 3 || !bytes.Contains(packed[:40], unhexed(t, a)) {
			t.Errorf("blob %s: way %d, not on the read", sha, packed[0])
		}
	}
	// The read submitted again as its own submission's difference must not stand on itself.
	before := packedBlob(t, e, a)
	putBlob(t, e, read, b)
	if !bytes.Equal(packedBlob(t, e, a), before) {
		t.Error("a blob that others stand on was packed again")
	}
	for _, data := range [][]byte{read, first, second} {
		wantBlob(t, e, data)
	}
}

func unhexed(t *testing.T, sha string) []byte {
	t.Helper()
	h, err := store.ParseHash(sha)
	if err != nil {
		t.Fatal(err)
	}
	return h[:]
}

func TestDamagedBlobs(t *testing.T) {
	e := memory.New()
	read := image(1, 1<<16)
	a := putBlob(t, e, read, "")
	b := putBlob(t, e, edited(read), a)
	whole, difference := packedBlob(t, e, a), packedBlob(t, e, b)
	for what, damage := range map[string]func(){
		"a flipped bit in it":      func() { setPacked(t, e, b, flipped(difference, len(difference)-1)) },
		"a flipped bit in base":    func() { setPacked(t, e, a, flipped(whole, len(whole)/2)) },
		"cut":                      func() { setPacked(t, e, b, difference[:10]) },
		"another's bytes":          func() { setPacked(t, e, b, whole) },
		"a base that stands on it": func() { setPacked(t, e, a, store.Pack(read, edited(read), b)) },
	} {
		damage()
		if _, err := getBlob(e, b); !errors.Is(err, store.ErrDamaged) || errors.Is(err, store.ErrNotFound) {
			t.Errorf("%s: %v", what, err)
		}
		setPacked(t, e, a, whole)
		setPacked(t, e, b, difference)
	}
	wantBlob(t, e, edited(read))
}

// TestPutMends: putting a damaged blob's bytes again makes it whole, and what stands on it.
func TestPutMends(t *testing.T) {
	e := memory.New()
	read := image(1, 1<<16)
	a := putBlob(t, e, read, "")
	b := putBlob(t, e, edited(read), a)
	setPacked(t, e, a, []byte("damage"))
	putBlob(t, e, read, b)
	wantBlob(t, e, read)
	wantBlob(t, e, edited(read))
	// A base that cannot be used costs space, not the blob.
	setPacked(t, e, a, []byte("damage"))
	other := edited(edited(read))
	putBlob(t, e, other, a)
	wantBlob(t, e, other)
	another := image(3, 100)
	putBlob(t, e, another, name([]byte("nowhere")))
	wantBlob(t, e, another)
}

// TestEraseAmongDamage: what is damaged stays so, and keeps nothing from being erased.
func TestEraseAmongDamage(t *testing.T) {
	e := memory.New()
	read := image(1, 1<<16)
	a := putBlob(t, e, read, "")
	bad := putBlob(t, e, edited(read), a)
	good := edited(edited(read))
	putBlob(t, e, good, a)
	setPacked(t, e, bad, flipped(packedBlob(t, e, bad), 60))
	odd := name([]byte("odd"))
	setPacked(t, e, odd, []byte{9})
	if err := e.Update(func(tx store.WriteTx) error { return store.EraseBlobs(tx, []string{a, a}) }); err != nil {
		t.Fatal(err)
	}
	wantBlob(t, e, good)
	for sha, want := range map[string]error{a: store.ErrNotFound, bad: store.ErrDamaged, odd: store.ErrDamaged} {
		if _, err := getBlob(e, sha); !errors.Is(err, want) {
			t.Errorf("blob %s: %v, want %v", sha, err, want)
		}
	}
}

func TestBlobsThatAreNot(t *testing.T) {
	e := memory.New()
	if _, err := getBlob(e, name(nil)); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("missing: %v", err)
	}
	if _, err := getBlob(e, "../ledger"); !errors.Is(err, store.ErrInvalid) {
		t.Errorf("no hash: %v", err)
	}
	err := e.Update(func(tx store.WriteTx) error {
		_, err := store.PutBlob(tx, make([]byte, store.MaxBlob+1), "")
		return err
	})
	if !errors.Is(err, store.ErrTooLarge) {
		t.Errorf("too large: %v", err)
	}
	putBlob(t, e, nil, "")
	wantBlob(t, e, nil)
}

func flipped(b []byte, at int) []byte {
	out := bytes.Clone(b)
	out[at] ^= 1
	return out
}

func TestWriteSynced(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "checkpoint")
	for _, want := range []string{"first", "second, longer", ""} {
		if err := store.WriteSynced(path, []byte(want)); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(path); err != nil || string(got) != want {
			t.Errorf("read %q, %v", got, err)
		}
	}
	// A folder in the way cannot be replaced: what was there stays, and nothing half-written does.
	blocked := filepath.Join(folder, "blocked", "x")
	if err := os.MkdirAll(blocked, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := store.WriteSynced(filepath.Dir(blocked), []byte("x")); err == nil {
		t.Error("wrote over a folder")
	}
	if err := store.WriteSynced(filepath.Join(folder, "missing", "x"), nil); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("in no folder: %v", err)
	}
	names, err := os.ReadDir(folder)
	if err != nil || len(names) != 2 {
		t.Errorf("left in the folder: %v, %v", names, err)
	}
}
