package ledger_test

import (
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"witnessmark/store/ledger"
)

var errMissing = errors.New("missing")

// hashes are the stored hashes of a tree; as a ledger.Hashes it counts what is read.
type hashes struct {
	stored []tlog.Hash
	size   uint64
	reads  int
}

func (h *hashes) Hash(index int64) (tlog.Hash, error) {
	h.reads++
	if index < 0 || index >= int64(len(h.stored)) {
		return tlog.Hash{}, errMissing
	}
	return h.stored[index], nil
}

func (h *hashes) append(t testing.TB, entry []byte) tlog.Hash {
	t.Helper()
	leaf, stored, first, err := ledger.Append(h, h.size, entry)
	if err != nil || first != int64(len(h.stored)) || stored[0] != leaf {
		t.Fatalf("entry %d: stored from %d, %v", h.size, first, err)
	}
	h.stored = append(h.stored, stored...)
	h.size++
	return leaf
}

func grow(t testing.TB, n int) *hashes {
	h := &hashes{}
	for i := range n {
		h.append(t, fmt.Appendf(nil, "entry %d", i))
	}
	return h
}

func head(t testing.TB, h *hashes, size uint64) ledger.Checkpoint {
	t.Helper()
	root, err := ledger.Root(h, size)
	if err != nil {
		t.Fatal(err)
	}
	return ledger.Checkpoint{Origin: "witnessmark/00", Size: size, Root: root}
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestPublishedTree(t *testing.T) {
	h := &hashes{}
	for i, leaf := range publishedLeaves {
		if got := h.append(t, unhex(t, leaf)); hex.EncodeToString(got[:]) != publishedLeafHashes[i] {
			t.Errorf("leaf %d: hash %x, published %s", i, got, publishedLeafHashes[i])
		}
	}
	for size, want := range publishedRoots {
		if root := head(t, h, uint64(size)).Root; hex.EncodeToString(root[:]) != want {
			t.Errorf("size %d: root %x, published %s", size, root, want)
		}
	}
	for _, v := range publishedInclusion {
		proof, err := ledger.ProveInclusion(h, v.index, v.size)
		var got []string
		for _, element := range proof {
			got = append(got, hex.EncodeToString(element))
		}
		if err != nil || !slices.Equal(got, v.path) {
			t.Errorf("inclusion %d of %d: %v %v, published %v", v.index, v.size, got, err, v.path)
		}
	}
}

// TestEveryProof proves every entry in every size that the tree ever had.
func TestEveryProof(t *testing.T) {
	const most = 40
	h := grow(t, most)
	for size := uint64(0); size <= most; size++ {
		for index := range size {
			proof, err := ledger.ProveInclusion(h, index, size)
			if err != nil {
				t.Fatal(err)
			}
			leaf, err := ledger.Leaf(h, index)
			if err != nil || leaf != ledger.LeafHash(fmt.Appendf(nil, "entry %d", index)) {
				t.Fatalf("leaf %d is another's, %v", index, err)
			}
			if err := ledger.CheckInclusion(proof, index, head(t, h, size), leaf); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestAlteredProofsFail changes one thing of a good proof at a time.
func TestAlteredProofsFail(t *testing.T) {
	h := grow(t, 60)
	rapid.Check(t, func(rt *rapid.T) {
		size := rapid.Uint64Range(2, 60).Draw(rt, "size")
		index := rapid.Uint64Range(0, size-1).Draw(rt, "index")
		good, _ := ledger.ProveInclusion(h, index, size)
		altered, _ := ledger.ProveInclusion(h, index, size)
		i := rapid.IntRange(0, len(altered)-1).Draw(rt, "element")
		altered[i][rapid.IntRange(0, 31).Draw(rt, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(rt, "bit")
		leaf, _ := ledger.Leaf(h, index)
		longer, broken := append(slices.Clone(good), make([]byte, 32)), append(slices.Clone(good[1:]), make([]byte, 31))
		for _, bad := range [][][]byte{altered, good[1:], longer, broken} {
			if err := ledger.CheckInclusion(bad, index, head(t, h, size), leaf); !errors.Is(err, ledger.ErrProof) {
				rt.Fatalf("inclusion of %d in %d with %d elements: %v", index, size, len(bad), err)
			}
		}
	})
}

func TestSizesThatAreNot(t *testing.T) {
	h := grow(t, 3)
	for what, c := range map[string]struct {
		size, index uint64
		want        error
	}{
		"an entry more":      {4, 3, errMissing},
		"a power of two":     {8, 0, errMissing},
		"beyond any ledger":  {1<<48 + 1, 1 << 48, ledger.ErrSize},
		"beyond any integer": {1<<64 - 1, 1<<64 - 2, ledger.ErrSize},
	} {
		_, err1 := ledger.Root(h, c.size)
		_, err2 := ledger.ProveInclusion(h, c.index, c.size)
		_, err3 := ledger.Leaf(h, max(c.index, 3))
		_, _, _, err4 := ledger.Append(h, max(c.index, 7), nil)
		for i, err := range []error{err1, err2, err3, err4} {
			if !errors.Is(err, c.want) {
				t.Errorf("%s: %d: %v", what, i, err)
			}
		}
	}
	if _, err := ledger.ProveInclusion(h, 3, 3); !errors.Is(err, ledger.ErrSize) {
		t.Errorf("the entry after the last: %v", err)
	}
	if err := ledger.CheckInclusion(nil, 1<<63, ledger.Checkpoint{Size: 1<<64 - 1}, tlog.Hash{}); !errors.Is(err, ledger.ErrProof) {
		t.Errorf("inclusion beyond any ledger: %v", err)
	}
}

// TestReadsFewHashes: what is asked of a tree costs its height, however long the ledger is.
func TestReadsFewHashes(t *testing.T) {
	h := grow(t, 5000)
	for what, ask := range map[string]func() error{
		"append": func() error { _, _, _, err := ledger.Append(h, 5000, []byte("x")); return err },
		"root":   func() error { _, err := ledger.Root(h, 4999); return err },
		"proof":  func() error { _, err := ledger.ProveInclusion(h, 17, 4999); return err },
	} {
		h.reads = 0
		if err := ask(); err != nil || h.reads > 2*13 {
			t.Errorf("%s: %d hashes read, %v", what, h.reads, err)
		}
	}
}
