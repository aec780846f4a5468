// Package disk tells how much room there is.
package disk

import "fmt"

// Of is how many bytes the disk below a folder has, and how many of them this process may still write; a quota is not
// asked. The error is errors.ErrUnsupported where the system is not asked either.
func Of(dir string) (size, free uint64, err error) {
	if size, free, err = of(dir); err != nil {
		return 0, 0, fmt.Errorf("how much room the disk has: %w", err)
	}
	return size, free, nil
}

// What is nearly full: less than a gibibyte is free, or less than a twentieth where that is not much either. Common
// practice, no source.
const (
	leastPart  = 20
	leastBytes = 1 << 30
	enough     = 10 << 30
)

// NearlyFull says whether so little of a disk is free that somebody should see to it.
func NearlyFull(size, free uint64) bool {
	return free < min(size/leastPart, enough) || free < leastBytes
}
