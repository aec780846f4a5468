package server

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"syscall"

	"google.golang.org/grpc/codes"

	"witnessmark/store/disk"
)

const (
	// leastFree is what a write leaves on the disk: the store's file grows by 16 MiB at a time, and each
	// commit writes the pages that it changes anew.
	leastFree = 64 << 20
	// reserved is the size of a file that is there to be given up: with its room the newest checkpoint
	// can still be kept when others filled the disk between the look at it and the write.
	reserved = 16 << 20
	diskFull = "the server's disk is full, and nothing was taken; try again when there is room on it"
)

// isFull says whether an error is the disk's, or a quota's.
func isFull(err error) bool { return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) }

// freeBytes is how many bytes may still be written below a folder; where that is not known, it is no hindrance.
func freeBytes(dir string) (int64, error) {
	_, free, err := disk.Of(dir)
	if errors.Is(err, errors.ErrUnsupported) {
		return math.MaxInt64 / 2, nil
	}
	return int64(min(free, math.MaxInt64/2)), err
}

func (f *folder) disk() (size, free uint64) {
	size, _, err := disk.Of(f.dir)
	left, err2 := f.free(f.dir)
	if errors.Join(err, err2) != nil {
		return 0, 0
	}
	return size, uint64(left)
}

// hasRoom refuses what would fill the disk: n is how many bytes will be written.
func (f *folder) hasRoom(n int64) error {
	free, err := f.free(f.dir)
	if err != nil {
		return err
	}
	if free < leastFree+n {
		return &fault{code: codes.ResourceExhausted, reason: "disk-full", text: diskFull}
	}
	return nil
}

// fits wants room on the disk for a batch, and reserves some once there is enough.
func (f *folder) fits(batch []*arrival) error {
	n, err := f.takes(batch)
	if err == nil {
		err = f.hasRoom(n)
	}
	if err == nil {
		err = f.reserve()
	}
	return err
}

// takes is how many bytes a batch writes, about; what erases writes the whole store anew.
func (f *folder) takes(batch []*arrival) (n int64, err error) {
	for _, a := range batch {
		n += 2 * int64(a.bytes())
	}
	if erases(batch) {
		size, err := f.size()
		return n + size, err
	}
	return n, nil
}

// size is that of the store's file.
func (f *folder) size() (int64, error) {
	info, err := os.Stat(filepath.Join(f.dir, storeFile))
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}

// reserve makes the file that is given up, where it is not there and the disk has room for it.
func (f *folder) reserve() error {
	path := filepath.Join(f.dir, reserveFile)
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) || f.hasRoom(reserved) != nil {
		return nil
	}
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("reserve: %w", err)
	}
	if err := errors.Join(allocate(file, reserved), file.Close()); err != nil {
		return errors.Join(fmt.Errorf("reserve: %w", err), os.Remove(path))
	}
	return nil
}

// giveUp frees the room that was reserved, where err is that there is none.
func (f *folder) giveUp(err error) bool {
	return isFull(err) && os.Remove(filepath.Join(f.dir, reserveFile)) == nil
}
