package disk_test

import (
	"errors"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"witnessmark/store/disk"
)

// What df says of the same disk, in bytes, is the check from outside; others write there meanwhile.
func TestOf(t *testing.T) {
	dir := t.TempDir()
	size, free, err := disk.Of(dir)
	if errors.Is(err, errors.ErrUnsupported) {
		t.Skip("this system is not asked")
	}
	if err != nil || size == 0 || free > size {
		t.Fatalf("%d of %d bytes are free, %v", free, size, err)
	}
	if runtime.GOOS == "linux" {
		out, err := exec.Command("df", "--block-size=1", "--output=size,avail", dir).Output()
		fields := strings.Fields(string(out))
		if err != nil || len(fields) != 4 {
			t.Fatalf("df: %s %v", out, err)
		}
		wantSize, _ := strconv.ParseUint(fields[2], 10, 64)
		wantFree, _ := strconv.ParseUint(fields[3], 10, 64)
		if apart := max(free, wantFree) - min(free, wantFree); size != wantSize || apart > size/100 {
			t.Errorf("%d of %d bytes are free; df says %d of %d", free, size, wantFree, wantSize)
		}
	}
	if _, _, err := disk.Of(filepath.Join(dir, "nowhere")); err == nil {
		t.Error("a folder that is not there has room")
	}
}

func TestNearlyFull(t *testing.T) {
	const gib = 1 << 30
	for _, c := range []struct {
		size, free uint64
		full       bool
	}{
		{100 * gib, 5 * gib, false}, {100 * gib, 5*gib - 1, true}, {1000 * gib, 10 * gib, false}, {1000 * gib, 10*gib - 1, true}, {10 * gib, gib, false}, {10 * gib, gib - 1, true}, {gib / 2, gib / 2, true},
	} {
		if got := disk.NearlyFull(c.size, c.free); got != c.full {
			t.Errorf("%d of %d free: nearly full %v", c.free, c.size, got)
		}
	}
}
