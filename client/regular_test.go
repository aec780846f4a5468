package client

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A file that has more than it said, because it grew or is one of the system's, is read up to its bound.
func TestReadingIsBounded(t *testing.T) {
	endless := "/proc/self/smaps" // a regular file of size 0, by what the system says
	if info, err := os.Stat(endless); err != nil || info.Size() != 0 {
		t.Skip("no such file here")
	}
	if _, err := ReadBounded(endless, 100); KindOf(err) != Usage || !strings.Contains(err.Error(), "more than it said it had; allowed are at most 100 bytes") {
		t.Error(err)
	}
	if b, err := ReadBounded(endless, MaxFile); err != nil || len(b) == 0 {
		t.Errorf("%d bytes, %v", len(b), err)
	}
}

func TestReadBounded(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	for n := 99; n <= 101; n++ {
		if err := os.WriteFile(path, make([]byte, n), 0o600); err != nil {
			t.Fatal(err)
		}
		if b, err := ReadBounded(path, 100); (err == nil) != (n <= 100) || err == nil && len(b) != n {
			t.Errorf("%d bytes of %d, %v", len(b), n, err)
		}
	}
}
