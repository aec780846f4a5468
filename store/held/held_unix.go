//go:build unix

package held

import (
	"io/fs"
	"os"
	"syscall"
)

// late says that a file is closed before it is removed.
const late = false

// lock locks an open file until it is closed, or says that somebody else has.
func lock(f *os.File) bool {
	return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) == nil
}

// ours says whether a folder is this user's, and nobody else's business.
func ours(info fs.FileInfo) bool {
	s, ok := info.Sys().(*syscall.Stat_t)
	return ok && int(s.Uid) == os.Geteuid() && info.Mode().Perm()&0o077 == 0
}
