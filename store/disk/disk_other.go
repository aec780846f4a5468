//go:build !linux && !darwin && !windows

package disk

import "errors"

func of(string) (size, free uint64, err error) { return 0, 0, errors.ErrUnsupported }
