package store

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func text(s string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
}

// holds wants a folder to have those files, and nothing else.
func holds(t *testing.T, dir string, want map[string]string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if w, ok := want[e.Name()]; err != nil || !ok || w != string(b) {
			t.Errorf("%s holds %q, %v; want %q", e.Name(), b, err, w)
		}
	}
	if len(entries) != len(want) {
		t.Errorf("%d files, want %d", len(entries), len(want))
	}
}

// A file is there whole or not at all, and one that is new takes nothing's place.
func TestStaged(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.bin")
	s, err := Stage(path, 0o644, text("one"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("it has its name before it is given: %v", err)
	}
	if err := s.CommitNew(); err != nil {
		t.Fatal(err)
	}
	if info, _ := os.Stat(path); info.Mode().Perm() != 0o644 {
		t.Errorf("mode %o", info.Mode().Perm())
	}
	holds(t, dir, map[string]string{"a.bin": "one"})
	if s, err = Stage(path, 0o600, text("two")); err != nil {
		t.Fatal(err)
	}
	if err := s.CommitNew(); !errors.Is(err, fs.ErrExist) || !strings.Contains(err.Error(), path) {
		t.Errorf("over a file: %v", err)
	}
	holds(t, dir, map[string]string{"a.bin": "one"})
	if s, err = Stage(path, 0o600, text("three")); err != nil {
		t.Fatal(err)
	}
	if err := s.Commit(); err != nil {
		t.Fatal(err)
	}
	holds(t, dir, map[string]string{"a.bin": "three"})
}

// What cannot be written, as on a full disk, leaves the old file and nothing beside it.
func TestStageThatFails(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.bin")
	if err := WriteSynced(path, []byte("one")); err != nil {
		t.Fatal(err)
	}
	full := errors.New("no space left")
	_, err := Stage(path, 0o644, func(w io.Writer) error {
		_, _ = io.WriteString(w, "half")
		return full
	})
	if !errors.Is(err, full) || err.Error() != "write "+path+": no space left" {
		t.Errorf("%v", err)
	}
	holds(t, dir, map[string]string{"a.bin": "one"})
	nowhere := filepath.Join(dir, "none", "a.bin")
	if err := WriteSynced(nowhere, nil); !errors.Is(err, fs.ErrNotExist) || !slices.Contains(strings.Fields(err.Error()), nowhere+":") || strings.Count(err.Error(), "none") != 1 {
		t.Errorf("%v", err)
	}
}

// What was left of a file by who was killed is removed, and what somebody is writing is not.
func TestSweep(t *testing.T) {
	dir := t.TempDir()
	target := filepath.Join(dir, "release.bin")
	left := filepath.Join(dir, ".release.bin-123456")
	if err := os.WriteFile(left, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := Stage(target, 0o600, text("image"))
	if err != nil {
		t.Fatal(err)
	}
	Sweep(target)
	if _, err := os.Stat(left); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a leftover is left: %v", err)
	}
	if err := s.CommitNew(); err != nil {
		t.Error(err)
	}
	holds(t, dir, map[string]string{"release.bin": "image"})
}
