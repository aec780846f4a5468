// Package storetest is one suite that every engine must pass, and the one place that says in
// running code what the contract of store.Engine means.
package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

// Maker makes engines for the suite. Each engine is empty, alone, and closed by the suite.
type Maker struct {
	New func(t *testing.T) store.Engine
	// Open opens what Snapshot wrote.
	Open func(t *testing.T, snapshot []byte) store.Engine
}

// Run holds an engine to the contract.
func Run(t *testing.T, m Maker) {
	for _, c := range []struct {
		name string
		test func(*testing.T, Maker)
	}{
		{"Empty", testEmpty},
		{"WrittenIsRead", testWrittenIsRead},
		{"ReadsOwnWrites", testReadsOwnWrites},
		{"NextEntryOnly", testNextEntryOnly},
		{"InvalidArguments", testInvalidArguments},
		{"AnErrorChangesNothing", testErrorChangesNothing},
		{"APanicChangesNothing", testPanicChangesNothing},
		{"AHiddenFailureChangesNothing", testHiddenFailure},
		{"CopiesNotAliases", testCopies},
		{"DeadTransactions", testDeadTransactions},
		{"ScanOrder", testScanOrder},
		{"ScanStops", testScanStops},
		{"ScansOfAll", testScansOfAll},
		{"NoWriteWhileScanning", testNoWriteWhileScanning},
		{"DropDocuments", testDropDocuments},
		{"EraseBlobs", testEraseBlobs},
		{"ReadsSame", testReadsSame},
		{"ReadsLikeTheModel", testReadsLikeTheModel},
		{"Snapshot", testSnapshot},
		{"Compact", testCompact},
		{"CompactAmongOthers", testCompactAmongOthers},
		{"Closed", testClosed},
		{"ConcurrentViews", testConcurrentViews},
		{"ViewIsConsistent", testViewIsConsistent},
		{"ManyWriters", testManyWriters},
		{"CloseWaits", testCloseWaits},
		{"LikeTheModel", testLikeTheModel},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, m) })
	}
}

// sha is a blob's name that is easy to tell apart.
func sha(n int) string { return fmt.Sprintf("%064x", n) }

func start(t *testing.T, m Maker) store.Engine {
	t.Helper()
	e := m.New(t)
	t.Cleanup(func() {
		if err := e.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return e
}

func update(t *testing.T, e store.Engine, fn func(store.WriteTx) error) {
	t.Helper()
	if err := e.Update(fn); err != nil {
		t.Fatalf("update: %v", err)
	}
}

func view(t *testing.T, e store.Engine, fn func(store.ReadTx) error) {
	t.Helper()
	if err := e.View(fn); err != nil {
		t.Fatalf("view: %v", err)
	}
}

// fill writes one of everything.
func fill(tx store.WriteTx) error {
	return errors.Join(
		tx.PutEntry(0, []byte("entry 0")),
		tx.PutHash(0, tlog.RecordHash([]byte("entry 0"))),
		tx.PutBlob(sha(1), []byte("packed")),
		tx.PutDocument("job", "7", []byte("card")),
	)
}

// contents is everything that the suite writes, as text, to compare states by.
func contents(tx store.ReadTx) (string, error) {
	var out bytes.Buffer
	n, err := tx.Entries()
	if err != nil {
		return "", err
	}
	for i := range n {
		entry, err := tx.Entry(i)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(&out, "entry %d %q\n", i, entry)
	}
	for i := range int64(40) {
		if h, err := tx.Hash(i); err == nil {
			fmt.Fprintf(&out, "hash %d %v\n", i, h)
		} else if !errors.Is(err, store.ErrNotFound) {
			return "", err
		}
	}
	err = tx.Blobs(func(sha string, packed []byte) (bool, error) {
		fmt.Fprintf(&out, "blob %s %q\n", sha, packed)
		return true, nil
	})
	if err != nil {
		return "", err
	}
	var sum store.Sum
	err = tx.Documents(func(kind, key string, value []byte) (bool, error) {
		sum = sum.Add(kind, key, value)
		fmt.Fprintf(&out, "%s %q %q\n", kind, key, value)
		return true, nil
	})
	if err != nil {
		return "", err
	}
	if kept, err := tx.Sum(); err != nil || kept != sum {
		return "", fmt.Errorf("the sum kept is %x, that of the documents %x, %w", kept, sum, err)
	}
	return out.String(), store.CheckSum(tx)
}

func contentsOf(t *testing.T, e store.Engine) string {
	t.Helper()
	var out string
	view(t, e, func(tx store.ReadTx) (err error) { out, err = contents(tx); return err })
	return out
}

func scan(t *testing.T, tx store.ReadTx, kind, from string) []string {
	t.Helper()
	var keys []string
	err := tx.Scan(kind, from, func(key string, _ []byte) (bool, error) {
		keys = append(keys, key)
		return true, nil
	})
	if err != nil {
		t.Fatalf("scan %s from %q: %v", kind, from, err)
	}
	return keys
}

func wantKeys(t *testing.T, what string, got []string, want ...string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s: %q, want %q", what, got, want)
	}
}

func wantIs(t *testing.T, what string, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("%s: %v, want %v", what, err, want)
	}
}
