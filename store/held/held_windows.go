package held

import (
	"io/fs"
	"os"

	"golang.org/x/sys/windows"
)

// late says that a file is closed before it is removed.
const late = true

// far is a byte that no file has: a lock on it keeps nobody from reading.
const far = 1<<31 - 1

// lock locks an open file until it is closed, or says that somebody else has.
func lock(f *os.File) bool {
	at := windows.Overlapped{OffsetHigh: far}
	return windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at) == nil
}

// ours says whether a folder is this user's: temporary ones lie in a folder of their own there.
func ours(fs.FileInfo) bool { return true }
