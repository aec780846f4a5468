package postgres

import (
	"errors"
	"fmt"
	"os"
	"testing"

	"golang.org/x/sys/unix"

	"witnessmark/store"
	"witnessmark/store/postgres/pgtest"
)

// TestFullDisk has the tables on a disk of their own, which fills up: nothing of what failed is there, and it
// goes on when there is room.
func TestFullDisk(t *testing.T) {
	c := pgtest.Start(t)
	dir, err := os.MkdirTemp("", "wmfull")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	var server unix.Stat_t
	if err := unix.Stat(c.Data(), &server); err != nil {
		t.Fatal(err)
	}
	mount := func(flags uintptr, mega int) error {
		return unix.Mount("tmpfs", dir, "tmpfs", flags, fmt.Sprintf("size=%dm,mode=700,uid=%d,gid=%d", mega, server.Uid, server.Gid))
	}
	if err := mount(0, 8); err != nil {
		t.Skipf("a disk of its own takes root: %v", err)
	}
	t.Cleanup(func() { _ = unix.Unmount(dir, unix.MNT_DETACH) })
	c.SQL(t, "CREATE TABLESPACE small LOCATION '"+dir+"'")
	c.SQL(t, "ALTER ROLE postgres SET default_tablespace = small")
	e := open(t, c.URL(), Options{})
	put := func(n int) error {
		return e.Update(func(tx store.WriteTx) error { return tx.PutBlob(fmt.Sprintf("%064x", n), make([]byte, 1<<20)) })
	}
	there := 0
	for err = nil; err == nil && there < 20; {
		if err = put(there); err == nil {
			there++
		}
	}
	if !errors.Is(err, ErrFull) || there == 0 {
		t.Fatalf("after %d: %v", there, err)
	}
	wantLine(t, err, "its disk is full: ")
	count := func() (n int) {
		err := e.View(func(tx store.ReadTx) error {
			return tx.Blobs(func(string, []byte) (bool, error) { n++; return true, nil })
		})
		if err != nil {
			t.Error(err)
		}
		return n
	}
	if n := count(); n != there {
		t.Errorf("%d blobs, %d were written", n, there)
	}
	if err := mount(unix.MS_REMOUNT, 16); err != nil {
		t.Fatal(err)
	}
	if err := put(there); err != nil {
		t.Errorf("with room again: %v", err)
	}
	if n := count(); n != there+1 {
		t.Errorf("%d blobs, %d were written", n, there+1)
	}
}
