package held_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"witnessmark/store/held"
)

const child = "WITNESSMARK_TEST_HELD"

// TestMain is also a process that is killed while it holds a file and a folder.
func TestMain(m *testing.M) {
	dir := os.Getenv(child)
	if dir == "" {
		os.Exit(m.Run())
	}
	f, err := held.Create(dir, ".out.bin-*")
	if err == nil {
		var folder string
		folder, _, err = held.Folder(dir, "witnessmark-desk-*")
		fmt.Println(f.Name(), folder)
	}
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	time.Sleep(time.Hour) // unlike an empty select, in which a program without other goroutines ends
	runtime.KeepAlive(f)
}

// start runs such a process, and answers with what it holds.
func start(t *testing.T, dir string) (c *exec.Cmd, file, folder string) {
	t.Helper()
	c = exec.Command(os.Args[0])
	c.Env = append(os.Environ(), child+"="+dir)
	out, err := c.StdoutPipe()
	if err == nil {
		err = c.Start()
	}
	if err == nil {
		_, err = fmt.Fscan(out, &file, &folder)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	return c, file, folder
}

func there(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// What a process holds stays while it lives, and goes when it was killed, with the next one that comes by.
func TestLeftovers(t *testing.T) {
	dir := t.TempDir()
	killed, oldFile, oldFolder := start(t, dir)
	_, file, folder := start(t, dir)
	sweep := func() (mine string) {
		held.Sweep(dir, ".out.bin-*")
		mine, done, err := held.Folder(dir, "witnessmark-desk-*")
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := done(); err != nil || there(mine) {
				t.Errorf("%v", err)
			}
		})
		return mine
	}
	first := sweep()
	for _, path := range []string{oldFile, oldFolder, file, folder, first} {
		if !there(path) {
			t.Errorf("%s is gone, and in use", path)
		}
	}
	left := func() []string { return append(held.Left(dir, ".out.bin-*"), held.Left(dir, "witnessmark-desk-*")...) }
	if found := left(); len(found) != 0 {
		t.Errorf("%v is told to be left, and in use", found)
	}
	if err := os.WriteFile(filepath.Join(oldFolder, "taken.bin"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_ = killed.Process.Kill()
	_ = killed.Wait()
	if found, want := left(), []string{oldFile, oldFolder}; !slices.Equal(found, want) || !there(oldFile) || !there(oldFolder) {
		t.Errorf("left are %v, want %v", found, want)
	}
	second := sweep()
	for _, path := range []string{oldFile, oldFolder} {
		if there(path) {
			t.Errorf("%s is left", path)
		}
	}
	for _, path := range []string{file, folder, first, second} {
		if !there(path) {
			t.Errorf("%s is gone, and in use", path)
		}
	}
}

// What only looks like a leftover stays: other names, folders, links and where they lead, folders without a mark.
func TestNoLeftovers(t *testing.T) {
	dir, elsewhere := t.TempDir(), filepath.Join(t.TempDir(), "mine")
	if err := os.WriteFile(elsewhere, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	var paths []string
	for _, name := range []string{".out.bin-", ".out.bin-12a", ".out.bin-1.txt", "out.bin-1", ".other.bin-1", "xwitnessmark-desk-1"} {
		paths = append(paths, filepath.Join(dir, name))
		if err := os.WriteFile(paths[len(paths)-1], nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{".out.bin-2", "witnessmark-desk-2", "witnessmark-desk-x"} {
		paths = append(paths, filepath.Join(dir, name))
		if err := os.Mkdir(paths[len(paths)-1], 0o700); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{".out.bin-3", "witnessmark-desk-3"} {
		if err := os.Symlink(elsewhere, filepath.Join(dir, name)); err == nil {
			paths = append(paths, filepath.Join(dir, name), elsewhere)
		}
	}
	left := filepath.Join(dir, ".out.bin-4")
	if err := os.WriteFile(left, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if found := append(held.Left(dir, ".out.bin-*"), held.Left(dir, "witnessmark-desk-*")...); !slices.Equal(found, []string{left}) {
		t.Errorf("left are %v, want %s alone", found, left)
	}
	held.Sweep(dir, ".out.bin-*")
	held.Sweep(filepath.Join(dir, "absent"), ".out.bin-*")
	_, done, err := held.Folder(dir, "witnessmark-desk-*")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		if !there(path) {
			t.Errorf("%s is gone", path)
		}
	}
	if there(left) {
		t.Error("a leftover is left")
	}
	if err := done(); err != nil {
		t.Error(err)
	}
}

// TestFoldersAtOnce: each sweeps what others are just about to lock, and everybody has a folder that stays.
func TestFoldersAtOnce(t *testing.T) {
	parent := t.TempDir()
	failed := make(chan error, 4)
	for range cap(failed) {
		go func() {
			failed <- func() error {
				for range 300 {
					dir, done, err := held.Folder(parent, "verify-*")
					if err != nil {
						return err
					}
					if err := os.WriteFile(filepath.Join(dir, "ledger.db"), nil, 0o600); err != nil {
						return err
					}
					if err := done(); err != nil {
						return err
					}
				}
				return nil
			}()
		}()
	}
	for range cap(failed) {
		if err := <-failed; err != nil {
			t.Error(err)
		}
	}
}
