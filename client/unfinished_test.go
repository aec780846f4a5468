package client

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"testing"
	"time"
)

// Whoever ends the process waits for what is half written, and no longer than told.
func TestFinish(t *testing.T) {
	w := &world{TB: t, dir: t.TempDir()}
	Finish(time.Hour) // nothing is
	s, err := Out{Path: w.path("out.bin")}.stage([]byte("image"))
	w.must(nil, err)
	other := Unfinished()
	Finish(time.Millisecond)
	waited := make(chan struct{})
	go func() { Finish(time.Hour); close(waited) }()
	s.Drop()
	s.Drop() // counts once
	select {
	case <-waited:
		t.Error("it did not wait for the other one")
	case <-time.After(50 * time.Millisecond):
	}
	other()
	<-waited
	w.nothingWritten()
	w.must(nil, Out{Path: w.path("written")}.Write([]byte("image")))
	Finish(time.Hour)
	if err := (Out{Path: w.path("no/such/folder")}).Write(nil); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
	Finish(time.Hour)
}

// Who waits for another command of the same person may leave; what they waited for goes on.
func TestWaitingCanBeLeft(t *testing.T) {
	dir, err := os.MkdirTemp("", "")
	if err != nil {
		t.Fatal(err)
	}
	// Who left may come to the lock, and make its file, when the test is over.
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	h := &Home{Dir: dir}
	unlock, err := h.acting(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	left, leave := context.WithCancel(context.Background())
	ended := make(chan error)
	go func() { _, err := h.acting(left); ended <- err }()
	leave()
	if err := <-ended; err != context.Canceled {
		t.Error(err)
	}
	unlock()
	for range 200 { // who leaves just as the lock is let go of does not keep it
		if unlock, err = h.acting(context.Background()); err != nil {
			t.Fatal(err)
		}
		left, leave := context.WithCancel(context.Background())
		go unlock()
		go leave()
		if mine, err := h.acting(left); err == nil {
			mine()
		}
	}
	if unlock, err = h.acting(context.Background()); err != nil {
		t.Fatal(err)
	}
	unlock()
}

// Of the blobs that are kept, what was not written to its end goes when the next one is kept.
func TestKeepSweeps(t *testing.T) {
	h := &Home{Dir: t.TempDir()}
	b := []byte("an image")
	h.keep(HashHex(b), b)
	left := h.blob("." + HashHex(b) + "-42")
	if err := os.WriteFile(left, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	h.keep(HashHex(nil), nil)
	if _, ok := h.recall(HashHex(b)); FileExists(left) || !ok {
		t.Errorf("left: %v, kept: %v", FileExists(left), ok)
	}
}
