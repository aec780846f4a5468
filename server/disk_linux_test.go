package server

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
	"google.golang.org/grpc/codes"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
)

func (w *workshop) reserved() bool {
	_, err := os.Lstat(filepath.Join(w.dir, reserveFile))
	return err == nil
}

// TestFullDisk: nothing is taken while there is no room, looking goes on, and so does the rest by itself once there
// is room. How much the disk has is the test's word here; a disk that is really full is below.
func TestFullDisk(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	data, env, o := b.withFile(4 << 20)
	if !b.reserved() {
		t.Error("no room is reserved")
	}
	size, err := b.srv.home.size()
	if err != nil {
		t.Fatal(err)
	}
	free := int64(leastFree - 1)
	b.srv.home.keeper.(*folder).free = func(string) (int64, error) { return free, nil }
	_, err = b.bring("technician", env, o...)
	wantFault(t, err, codes.ResourceExhausted, "disk-full")
	// Room for what it is, and not for what it brings.
	free = leastFree + 4<<20
	_, err = b.bring("technician", env, o...)
	wantFault(t, err, codes.ResourceExhausted, "disk-full")
	// What erases writes the whole store anew, and a backup is two copies of it.
	b.act("technician", closing(1))
	free = leastFree + size - 1
	erase := b.seal("lead", b.filled(erasing(1, false)))
	_, err = b.bring("lead", erase)
	wantFault(t, err, codes.ResourceExhausted, "disk-full")
	s, err := servicev1.NewAdminClient(b.as("lead")).Backup(within(t), &servicev1.BackupRequest{})
	if err == nil {
		_, err = s.Recv()
	}
	wantFault(t, err, codes.ResourceExhausted, "disk-full")
	if _, err := servicev1.NewPeopleClient(b.as("lead")).Get(within(t), &servicev1.PeopleGetRequest{}); err != nil {
		t.Errorf("looking: %v", err)
	}
	if b.srv.core.isBroken() != nil {
		t.Error("writing has stopped")
	}
	free = 1 << 40
	if _, err := b.bring("lead", erase); err != nil {
		t.Errorf("with room again: %v", err)
	}
	if _, err := download(t, servicev1.NewBlobsClient(b.as("lead")), hashOf(data)); err == nil {
		t.Error("what was refused is there")
	}
	b.leavesNothing()
}

// TestCheckpointTakesTheReserve: where others filled the disk between the look and the write, the reserve has room
// for the checkpoint; it is there again with the next action that finds room.
func TestCheckpointTakesTheReserve(t *testing.T) {
	w := newWorkshop(t)
	full := &os.PathError{Op: "write", Err: syscall.ENOSPC}
	if w.srv.home.keeper.(*folder).giveUp(errors.New("something else")) || !w.reserved() {
		t.Fatal("the reserve was given up for nothing")
	}
	if !w.srv.home.keeper.(*folder).giveUp(full) || w.reserved() {
		t.Fatal("the reserve was not given up")
	}
	if w.srv.home.keeper.(*folder).giveUp(full) {
		t.Error("it was given up twice")
	}
	w.enrol("technician", "technician")
	if !w.reserved() {
		t.Error("it is not there again")
	}
}

// fullEngine is one whose disk is full in the middle of a commit.
type fullEngine struct{ store.Engine }

func (f fullEngine) Update(func(store.WriteTx) error) error {
	return &fs.PathError{Op: "write", Path: "ledger.db", Err: syscall.ENOSPC}
}

// TestFailedWriteEndsTheProcess: it ends with an error, so that whoever watches over it starts it again, and gives
// up what it had reserved, so that it can be. What was asked for then goes in.
func TestFailedWriteEndsTheProcess(t *testing.T) {
	w := newWorkshop(t)
	env := w.seal("lead", w.carry(enrolAction("technician", testKey("technician"), "technician")))
	w.tune = func(o *Options) { o.wrap = func(e store.Engine) store.Engine { return fullEngine{e} } }
	w.restart()
	ended := make(chan error, 1)
	go func() { ended <- w.srv.serve(within(t)) }()
	_, err := w.bring("lead", env)
	wantFault(t, err, codes.Unavailable, "store-broken")
	if err := <-ended; !errors.Is(err, store.ErrBroken) || !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("it ends with %v", err)
	}
	if w.reserved() {
		t.Error("the reserve is still there")
	}
	w.tune = nil
	w.restart()
	if _, err := w.bring("lead", env); err != nil {
		t.Errorf("after it was started again: %v", err)
	}
}

// TestReallyFullDisk fills a disk of its own under a server: it refuses, starts again on the full disk, and goes
// on when there is room.
func TestReallyFullDisk(t *testing.T) {
	disk := t.TempDir()
	if err := mountSmall(disk, 160<<20); err != nil {
		t.Skip("no disk of its own: ", err)
	}
	t.Cleanup(func() { _ = unmount(disk) })
	w := newWorkshopIn(t, in(filepath.Join(disk, "data")))
	fill := func() {
		t.Helper()
		f, err := os.OpenFile(filepath.Join(disk, "filler"), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		for _, n := range []int{1 << 20, 4 << 10, 1} {
			for err = nil; err == nil; _, err = f.Write(make([]byte, n)) {
			}
			if !errors.Is(err, syscall.ENOSPC) {
				t.Fatal(err)
			}
		}
	}
	enrol := func(name string) error { return w.try("lead", enrolAction(name, testKey(name), "technician")) }
	fill()
	for i := range 2 {
		wantFault(t, enrol("technician"), codes.ResourceExhausted, "disk-full")
		if i == 0 {
			w.restart() // on the full disk
		}
	}
	if _, err := servicev1.NewPeopleClient(w.as("lead")).Get(within(t), &servicev1.PeopleGetRequest{}); err != nil {
		t.Errorf("looking: %v", err)
	}
	// Somebody takes the room after it was looked for: the commit fails, and the store is as it was.
	w.srv.home.keeper.(*folder).free = func(string) (int64, error) { return 1 << 40, nil }
	t.Log("on a disk without a byte:", enrol("technician"))
	w.restart()
	if err := os.Remove(filepath.Join(disk, "filler")); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"calibrator", "second lead"} {
		if err := enrol(name); err != nil {
			t.Errorf("with room again: %v", err)
		}
	}
	if !w.reserved() {
		t.Error("no room is reserved again")
	}
	w.well()
}

// mountSmall has a disk of its own of so many bytes at a folder, which takes root.
func mountSmall(dir string, bytes int) error {
	return unix.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", bytes))
}

func unmount(dir string) error { return unix.Unmount(dir, unix.MNT_DETACH) }
