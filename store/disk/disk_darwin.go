package disk

import "golang.org/x/sys/unix"

func unit(s *unix.Statfs_t) uint64 { return uint64(s.Bsize) }
