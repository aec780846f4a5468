// Package held tells what a process that is gone left lying about from what another one still uses: what is in use
// is locked, and the system lets go of a lock with its process.
package held

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// Create makes a file with a name of its own in a folder: pattern with a number in the place of its *. It is locked
// until it is closed.
func Create(folder, pattern string) (*os.File, error) {
	for {
		f, err := os.CreateTemp(folder, pattern)
		if err != nil {
			return nil, err
		}
		if lock(f) && names(f.Name(), f) {
			return f, nil
		}
		f.Close() // somebody took it for a leftover before it was locked
	}
}

// names says whether a name is still that of an open file.
func names(path string, f *os.File) bool {
	at, err1 := os.Lstat(path)
	open, err2 := f.Stat()
	return err1 == nil && err2 == nil && os.SameFile(at, open)
}

// Sweep removes what Create left in a folder with that pattern, and nobody uses any more. What cannot be looked at stays.
func Sweep(folder, pattern string) {
	for _, name := range matching(folder, pattern) {
		remove(filepath.Join(folder, name), os.Remove)
	}
}

// inUse is the locked file in a folder that Folder made.
const inUse = "in-use"

// Folder makes a private folder for a while, with a name as Create gives, and removes those that others left. done
// removes it with all that is in it.
func Folder(parent, pattern string) (dir string, done func() error, err error) {
	for _, name := range matching(parent, pattern) {
		left := filepath.Join(parent, name)
		if info, err := os.Lstat(left); err == nil && info.IsDir() && ours(info) {
			remove(filepath.Join(left, inUse), func(string) error { return os.RemoveAll(left) })
		}
	}
	for {
		if dir, err = os.MkdirTemp(parent, pattern); err != nil { // made with mode 0700
			return "", nil, err
		}
		path := filepath.Join(dir, inUse)
		f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
		if err != nil {
			return "", nil, errors.Join(err, os.RemoveAll(dir))
		}
		if lock(f) && names(path, f) {
			return dir, func() error { return errors.Join(f.Close(), os.RemoveAll(dir)) }, nil
		}
		f.Close() // as in Create; whoever took it for a leftover removes it
	}
}

// remove removes what a regular file stands for, unless that is locked.
func remove(path string, all func(string) error) {
	if info, err := os.Lstat(path); err != nil || !info.Mode().IsRegular() {
		return
	}
	f, err := os.OpenFile(path, os.O_RDWR|syscall.O_NONBLOCK, 0)
	if err != nil {
		return
	}
	if lock(f) && names(path, f) {
		if late { // this system removes nothing that is open
			f.Close()
		}
		_ = all(path) // then it stays
	}
	f.Close()
}

// matching are the names in a folder that Create or MkdirTemp gave for a pattern: digits in the place of its *.
func matching(folder, pattern string) (out []string) {
	star := strings.LastIndexByte(pattern, '*')
	before, after := pattern[:star], pattern[star+1:]
	entries, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	for _, e := range entries {
		number, ok := strings.CutPrefix(e.Name(), before)
		if number, ok2 := strings.CutSuffix(number, after); ok && ok2 && number != "" && strings.Trim(number, "0123456789") == "" {
			out = append(out, e.Name())
		}
	}
	return out
}
