package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"witnessmark/store/held"
)

// WriteSynced puts a file in place whole or not at all, and durably. Only its owner may read it.
func WriteSynced(path string, data []byte) error {
	s, err := Stage(path, 0o600, func(w io.Writer) error { _, err := w.Write(data); return err })
	if err != nil {
		return err
	}
	return s.Commit()
}

// Staged is a synced temporary file beside its target, whose name it gets by Commit or CommitNew. Until then it is
// locked: what a process that was killed left of one is told from it by that.
type Staged struct {
	file         *os.File
	temp, target string
}

// temporary is the pattern of a target's temporary files.
func temporary(target string) string { return "." + filepath.Base(target) + "-*" }

// Sweep removes what processes that were killed left of a target's temporary files.
func Sweep(target string) { held.Sweep(filepath.Dir(target), temporary(target)) }

// Left are the temporary files of a target that Sweep would remove.
func Left(target string) []string { return held.Left(filepath.Dir(target), temporary(target)) }

// Stage writes a file that is not yet at its target; a failed one leaves nothing behind.
func Stage(target string, mode fs.FileMode, write func(io.Writer) error) (Staged, error) {
	f, err := held.Create(filepath.Dir(target), temporary(target))
	if err != nil {
		return Staged{}, notWritten(target, err)
	}
	s := Staged{f, f.Name(), target}
	err = write(f)
	if err == nil {
		err = errors.Join(f.Chmod(mode), f.Sync())
	}
	if err == nil && runtime.GOOS == "windows" { // where nothing that is open gets another name
		err = f.Close()
	}
	if err != nil {
		s.Drop()
		return Staged{}, notWritten(target, err)
	}
	return s, nil
}

// Commit gives the file its name, in the place of whatever had it.
func (s Staged) Commit() error { return s.named(os.Rename(s.temp, s.target)) }

// CommitNew gives the file its name where nothing has it; else the error is fs.ErrExist.
func (s Staged) CommitNew() error {
	// Unlike a rename, a link never takes the place of a file. Not every file system has links.
	err := os.Link(s.temp, s.target)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		if _, err = os.Lstat(s.target); errors.Is(err, fs.ErrNotExist) {
			return s.Commit()
		} else if err == nil {
			err = fs.ErrExist
		}
	}
	return s.named(err)
}

// named has the new name last, if it was given.
func (s Staged) named(err error) error {
	if s.Drop(); err == nil {
		err = SyncFolder(filepath.Dir(s.target))
	}
	return notWritten(s.target, err)
}

// Drop removes what did not get its name; nothing where it did.
func (s Staged) Drop() {
	_ = os.Remove(s.temp)
	s.file.Close() // and with it the lock
}

// notWritten says which file it was, and not what its temporary one was called.
func notWritten(target string, err error) error {
	var path *fs.PathError
	var link *os.LinkError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &path):
		err = path.Err
	case errors.As(err, &link):
		err = link.Err
	}
	return fmt.Errorf("write %s: %w", target, err)
}

// SyncFolder makes names in a folder durable. Windows cannot, and does it by itself.
func SyncFolder(folder string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(folder)
	if err != nil {
		return err
	}
	err = f.Sync()
	if closed := f.Close(); err == nil {
		err = closed
	}
	return err
}
