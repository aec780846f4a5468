package client

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"witnessmark/store"
)

// maxKept bounds the bytes of blobs that a home keeps; those used longest ago go first.
const maxKept = 512 << 20

func (h *Home) blob(sum string) string { return filepath.Join(h.path(blobsDir), sum) }

// recall reads a blob that was kept. One that is not what its name says is as good as none.
func (h *Home) recall(sum string) ([]byte, bool) {
	if _, err := store.ParseHash(sum); err != nil {
		return nil, false
	}
	b, err := ReadBounded(h.blob(sum), maxBlob)
	if err != nil || HashHex(b) != sum {
		return nil, false
	}
	now := time.Now()
	_ = os.Chtimes(h.blob(sum), now, now) // else it goes sooner
	return b, true
}

// keep keeps a blob for the next time. That it cannot be kept, as on a full disk, harms nothing.
func (h *Home) keep(sum string, b []byte) {
	defer Unfinished()()
	if os.MkdirAll(h.path(blobsDir), 0o700) == nil && store.WriteSynced(h.blob(sum), b) == nil {
		h.trim(maxKept)
	}
}

// trim removes what was used longest ago, down to a number of bytes.
func (h *Home) trim(limit int64) {
	entries, err := os.ReadDir(h.path(blobsDir))
	if err != nil {
		return
	}
	var files []fs.FileInfo
	total := int64(0)
	for _, e := range entries {
		if of, _, ok := strings.Cut(strings.TrimPrefix(e.Name(), "."), "-"); ok {
			store.Sweep(h.blob(of))
			continue
		}
		if info, err := e.Info(); err == nil {
			files = append(files, info)
			total += info.Size()
		}
	}
	slices.SortFunc(files, func(a, b fs.FileInfo) int { return a.ModTime().Compare(b.ModTime()) })
	for _, f := range files {
		if total <= limit {
			return
		}
		if os.Remove(h.blob(f.Name())) == nil {
			total -= f.Size()
		}
	}
}
