package client

import (
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store/ledger"
)

// maxEntry bounds one entry of the mirror; the server's own bound is far below it.
const maxEntry = 16 << 20

// Head is the last checkpoint that was verified; it only advances.
type Head struct {
	Size uint64 `json:"size"`
	Root string `json:"root"`
	// Judged is how many entries were judged; fewer than Size where one is of an unknown kind.
	Judged uint64 `json:"judged"`
	// Checkpoint is the signed note.
	Checkpoint string `json:"checkpoint"`
}

func headOf(c ledger.Checkpoint, note []byte) Head {
	return Head{Size: c.Size, Root: hex.EncodeToString(c.Root[:]), Checkpoint: string(note)}
}

func (h *Home) head() (Head, error) {
	var head Head
	b, err := os.ReadFile(h.path("head.json"))
	if errors.Is(err, fs.ErrNotExist) {
		return head, nil
	}
	if err != nil {
		return head, err
	}
	if err := json.Unmarshal(b, &head); err != nil {
		return head, fmt.Errorf("%s: %w", h.path("head.json"), err)
	}
	return head, nil
}

// advance writes a newer head. The lock must be held.
func (h *Home) advance(next Head) error {
	last, err := h.head()
	if err != nil {
		return err
	}
	if next.Size < last.Size || next.Size == last.Size && next.Root != last.Root {
		return distrust("the ledger went from %d entries back to %d", last.Size, next.Size)
	}
	b, err := json.MarshalIndent(next, "", "  ")
	if err != nil {
		return err
	}
	return WriteWhole(h.path("head.json"), append(b, '\n'), 0o600)
}

// readMirror reads every whole entry; end is where the last one ends. A torn tail, which a power
// cut can leave, is no error: it is fetched again.
func (h *Home) readMirror() (entries [][]byte, end int64, err error) {
	b, err := os.ReadFile(h.path("entries"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, 0, nil
	}
	if err != nil {
		return nil, 0, err
	}
	for rest := b; len(rest) >= 4; {
		n := binary.BigEndian.Uint32(rest)
		if n > maxEntry || uint64(len(rest)-4) < uint64(n) {
			break
		}
		entries = append(entries, rest[4:4+n:4+n])
		rest = rest[4+n:]
		end += 4 + int64(n)
	}
	return entries, end, nil
}

// appendMirror writes entries after those that the mirror keeps, and syncs. The lock must be held.
func (h *Home) appendMirror(keep, entries [][]byte) (err error) {
	f, err := os.OpenFile(h.path("entries"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	var end int64
	for _, e := range keep {
		end += 4 + int64(len(e))
	}
	if err := f.Truncate(end); err != nil {
		return err
	}
	if _, err := f.Seek(end, io.SeekStart); err != nil {
		return err
	}
	var b []byte
	for _, e := range entries {
		b = binary.BigEndian.AppendUint32(b, uint32(len(e)))
		b = append(b, e...)
	}
	if _, err := f.Write(b); err != nil {
		return err
	}
	return f.Sync()
}

// rootOf is the root of a tree of these entries.
func rootOf(entries [][]byte) (tlog.Hash, error) {
	var t ledger.Tree
	for _, e := range entries {
		t.Append(e)
	}
	return t.Root(uint64(len(entries)))
}
