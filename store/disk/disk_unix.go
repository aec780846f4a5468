//go:build linux || darwin

package disk

import "golang.org/x/sys/unix"

func of(dir string) (size, free uint64, err error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, 0, err
	}
	return s.Blocks * unit(&s), s.Bavail * unit(&s), nil
}
