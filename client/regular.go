package client

import (
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"
)

// What files that people name may have at most, in bytes.
const (
	// MaxFile bounds an image file or a run; record files are about three times their image.
	MaxFile = 512 << 20
	// MaxDocument bounds a definition, limits or a channel file.
	MaxDocument = 16 << 20
	// MaxKeyFile bounds a key file.
	MaxKeyFile = 64 << 10
	// maxSetting bounds what this program itself wrote into a home: a head, a configuration.
	maxSetting = 1 << 20
)

// ReadBounded reads a whole file of at most so many bytes. A folder, pipe, device or socket is refused before it
// is opened: opening or reading one may never end.
func ReadBounded(path string, most int64) ([]byte, error) {
	b, _, err := readBounded(path, most)
	return b, err
}

func readBounded(path string, most int64) ([]byte, fs.FileInfo, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, nil, err
	}
	if err := fits(path, info, most); err != nil {
		return nil, nil, err
	}
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0) // it may have become a pipe
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	if info, err = f.Stat(); err != nil {
		return nil, nil, err
	}
	if err := fits(path, info, most); err != nil {
		return nil, nil, err
	}
	var b bytes.Buffer
	b.Grow(int(info.Size()) + bytes.MinRead)
	if _, err := b.ReadFrom(io.LimitReader(f, most+1)); err != nil {
		return nil, nil, err
	}
	if int64(b.Len()) > most { // it grew, or is one of the system's that never say their size
		return nil, nil, tooLarge(path, "more than it said it had", most)
	}
	return b.Bytes(), info, nil
}

// fits refuses what is no regular file, or too large.
func fits(path string, info fs.FileInfo, most int64) error {
	switch mode := info.Mode(); {
	case !mode.IsRegular():
		return usage("", "%s is %s; allowed is a regular file", path, irregular(mode))
	case info.Size() > most:
		return tooLarge(path, fmt.Sprintf("%d bytes", info.Size()), most)
	}
	return nil
}

func tooLarge(path, size string, most int64) error {
	return usage("", "%s: %s; allowed are at most %d bytes", path, size, most)
}

// irregular is what a thing is that is no regular file.
func irregular(mode fs.FileMode) string {
	switch {
	case mode.IsDir():
		return "a folder"
	case mode&fs.ModeNamedPipe != 0:
		return "a pipe"
	case mode&fs.ModeSocket != 0:
		return "a socket"
	case mode&fs.ModeDevice != 0:
		return "a device"
	}
	return "no file"
}
