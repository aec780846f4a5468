package bolt

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"witnessmark/store"
)

// TestDiskThatTakesNothing puts a read-only descriptor in the place of the store's, so that the
// writes of a commit really fail.
func TestDiskThatTakesNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	e, err := Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Update(document("1")); err != nil {
		t.Fatal(err)
	}
	fd := descriptorOf(t, path)
	deaf, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer deaf.Close()
	if err := unix.Dup3(int(deaf.Fd()), fd, unix.O_CLOEXEC); err != nil {
		t.Fatal(err)
	}
	if err := e.Update(document("2")); !errors.Is(err, store.ErrBroken) || !errors.Is(err, unix.EBADF) {
		t.Errorf("update: %v", err)
	}
	if err := e.Close(); err != nil {
		t.Error(err)
	}
	again, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	err = again.View(func(tx store.ReadTx) error {
		_, err := tx.Document("job", "2")
		if !errors.Is(err, store.ErrNotFound) {
			t.Errorf("what failed is there: %v", err)
		}
		_, err = tx.Document("job", "1")
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

// descriptorOf finds the process's own descriptor of a file.
func descriptorOf(t *testing.T, path string) int {
	t.Helper()
	all, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip("no /proc here")
	}
	for _, entry := range all {
		if target, err := os.Readlink("/proc/self/fd/" + entry.Name()); err == nil && target == path {
			fd, err := strconv.Atoi(entry.Name())
			if err != nil {
				t.Fatal(err)
			}
			return fd
		}
	}
	t.Fatalf("no descriptor of %s", path)
	return -1
}

// TestGrowthWaitsForNoReader: the file grows by many times its size under an open view.
func TestGrowthWaitsForNoReader(t *testing.T) {
	e, err := Create(filepath.Join(t.TempDir(), "ledger.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	err = e.View(func(store.ReadTx) error {
		done := make(chan error, 1)
		go func() {
			done <- e.Update(func(tx store.WriteTx) error {
				return tx.PutBlob(fmt.Sprintf("%064x", 1), make([]byte, 24<<20))
			})
		}()
		select {
		case err := <-done:
			return err
		case <-time.After(30 * time.Second):
			return errors.New("growing waits for the view")
		}
	})
	if err != nil {
		t.Error(err)
	}
}
