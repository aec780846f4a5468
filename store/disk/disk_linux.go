package disk

import "golang.org/x/sys/unix"

// unit is what blocks are counted in: on a disk over a network often less than what is best written at once.
func unit(s *unix.Statfs_t) uint64 { return uint64(s.Frsize) }
