package server

import (
	"os"

	"golang.org/x/sys/unix"
)

// freeBytes is how many bytes this process may still write below a folder; a quota is not asked.
func freeBytes(dir string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return int64(s.Bavail) * s.Bsize, nil
}

// allocate takes room for a file without writing it.
func allocate(f *os.File, n int64) error { return unix.Fallocate(int(f.Fd()), 0, 0, n) }
