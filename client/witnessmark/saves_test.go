package main

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A disk that notes when a file was written to two seconds (FAT does, from memory) tells two saves within them not apart.
func TestWatchSavesOfOneTime(t *testing.T) {
	was := still
	still = 20 * time.Millisecond
	ctx, stop := context.WithCancel(t.Context())
	path, saves, ended := filepath.Join(t.TempDir(), "work.bin"), make(chan save), make(chan bool)
	at := time.Now().Add(-time.Hour)
	saved := func(text string) {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, at, at); err != nil {
			t.Fatal(err)
		}
	}
	saved("one")
	go func() {
		watchSaves(ctx, path, func(s save) { deliver(ctx, saves, s) })
		close(ended)
	}()
	defer func() { stop(); <-ended; still = was }()
	for _, next := range []string{"two", ""} {
		var s save
		select {
		case s = <-saves:
		case <-time.After(30 * time.Second):
			t.Fatal("what was saved is not told")
		}
		if s.err != nil {
			t.Fatal(s.err)
		}
		if next == "" {
			if string(s.file) != "two" {
				t.Errorf("told of %q", s.file)
			}
			break
		}
		saved(next)
	}
	select {
	case s := <-saves:
		t.Errorf("told once more: %q, %v", s.file, s.err)
	case <-time.After(2 * coarse * still):
	}
}
