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

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func publishedTree(t testing.TB) *ledger.Tree {
	tree := &ledger.Tree{}
	for _, leaf := range publishedLeaves {
		tree.Append(unhex(t, leaf))
	}
	return tree
}

func hexes(proof [][]byte) []string {
	var out []string
	for _, p := range proof {
		out = append(out, hex.EncodeToString(p))
	}
	return out
}

func TestPublishedRootsAndLeaves(t *testing.T) {
	tree := &ledger.Tree{}
	for i, leaf := range publishedLeaves {
		got, stored, first := tree.Append(unhex(t, leaf))
		if hex.EncodeToString(got[:]) != publishedLeafHashes[i] {
			t.Errorf("leaf %d: hash %x, published %s", i, got, publishedLeafHashes[i])
		}
		if got != stored[0] || first != tlog.StoredHashIndex(0, int64(i)) {
			t.Errorf("leaf %d: stored from %d", i, first)
		}
	}
	for size, want := range publishedRoots {
		root, err := tree.Root(uint64(size))
		if err != nil {
			t.Fatal(err)
		}
		if hex.EncodeToString(root[:]) != want {
			t.Errorf("size %d: root %x, published %s", size, root, want)
		}
	}
}

func TestPublishedProofs(t *testing.T) {
	tree := publishedTree(t)
	for _, v := range publishedInclusion {
		proof, err := tree.ProveInclusion(v.index, v.size)
		if err != nil || !slices.Equal(hexes(proof), v.path) {
			t.Errorf("inclusion %d of %d: %v %v, published %v", v.index, v.size, hexes(proof), err, v.path)
		}
	}
	for _, v := range publishedConsistency {
		proof, err := tree.ProveConsistency(v.from, v.to)
		if err != nil || !slices.Equal(hexes(proof), v.path) {
			t.Errorf("consistency %d to %d: %v %v, published %v", v.from, v.to, hexes(proof), err, v.path)
		}
	}
}

// TestStoredHashesAreTlogs checks Append against the library's own way of growing a tree.
func TestStoredHashesAreTlogs(t *testing.T) {
	tree := &ledger.Tree{}
	var kept []tlog.Hash
	reader := tlog.HashReaderFunc(func(at []int64) ([]tlog.Hash, error) {
		var out []tlog.Hash
		for _, i := range at {
			out = append(out, kept[i])
		}
		return out, nil
	})
	for i := range 200 {
		entry := fmt.Appendf(nil, "entry %d", i)
		want, err := tlog.StoredHashes(int64(i), entry, reader)
		if err != nil {
			t.Fatal(err)
		}
		_, stored, first := tree.Append(entry)
		if first != int64(len(kept)) || !slices.Equal(stored, want) {
			t.Fatalf("entry %d: stored %v from %d, want %v from %d", i, stored, first, want, len(kept))
		}
		kept = append(kept, want...)
	}
}

func grow(n int) *ledger.Tree {
	tree := &ledger.Tree{}
	for i := range n {
		tree.Append(fmt.Appendf(nil, "entry %d", i))
	}
	return tree
}

func head(t testing.TB, tree *ledger.Tree, size uint64) ledger.Checkpoint {
	t.Helper()
	root, err := tree.Root(size)
	if err != nil {
		t.Fatal(err)
	}
	return ledger.Checkpoint{Origin: "witnessmark/00", Size: size, Root: root}
}

func TestEverySizeProves(t *testing.T) {
	const most = 40
	tree := grow(most)
	for to := uint64(0); to <= most; to++ {
		for from := uint64(0); from <= to; from++ {
			proof, err := tree.ProveConsistency(from, to)
			if err != nil {
				t.Fatal(err)
			}
			if err := ledger.CheckConsistency(proof, head(t, tree, from), head(t, tree, to)); err != nil {
				t.Fatal(err)
			}
		}
		for index := uint64(0); index < to; index++ {
			proof, err := tree.ProveInclusion(index, to)
			if err != nil {
				t.Fatal(err)
			}
			leaf, err := tree.Leaf(index)
			if err != nil {
				t.Fatal(err)
			}
			if leaf != ledger.LeafHash(fmt.Appendf(nil, "entry %d", index)) {
				t.Fatalf("leaf %d is another's", index)
			}
			if err := ledger.CheckInclusion(proof, index, head(t, tree, to), leaf); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestAlteredProofsFail changes one thing of a good proof at a time.
func TestAlteredProofsFail(t *testing.T) {
	tree := grow(60)
	rapid.Check(t, func(rt *rapid.T) {
		to := rapid.Uint64Range(2, 60).Draw(rt, "to")
		index := rapid.Uint64Range(0, to-1).Draw(rt, "index")
		proof, _ := tree.ProveInclusion(index, to)
		leaf, _ := tree.Leaf(index)
		cp := head(t, tree, to)
		i := rapid.IntRange(0, len(proof)-1).Draw(rt, "element")
		proof[i][rapid.IntRange(0, 31).Draw(rt, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(rt, "bit")
		if err := ledger.CheckInclusion(proof, index, cp, leaf); !errors.Is(err, ledger.ErrProof) {
			rt.Fatalf("altered inclusion of %d in %d: %v", index, to, err)
		}
		good, _ := tree.ProveInclusion(index, to)
		for _, bad := range [][][]byte{good[1:], append(slices.Clone(good), make([]byte, 32)), append(slices.Clone(good[1:]), make([]byte, 31))} {
			if err := ledger.CheckInclusion(bad, index, cp, leaf); !errors.Is(err, ledger.ErrProof) {
				rt.Fatalf("inclusion of %d in %d with %d elements: %v", index, to, len(bad), err)
			}
		}
		from := rapid.Uint64Range(1, to-1).Draw(rt, "from")
		fork := head(t, tree, from)
		fork.Root[5] ^= 1
		steps, _ := tree.ProveConsistency(from, to)
		if err := ledger.CheckConsistency(steps, fork, cp); !errors.Is(err, ledger.ErrProof) {
			rt.Fatalf("fork at %d of %d: %v", from, to, err)
		}
	})
}

func TestConsistencyRefusals(t *testing.T) {
	tree := grow(9)
	other := head(t, tree, 9)
	other.Origin = "witnessmark/11"
	forked := head(t, tree, 9)
	forked.Root[0] ^= 1
	wrongEmpty := head(t, tree, 0)
	wrongEmpty.Root[0] ^= 1
	for _, c := range []struct {
		name     string
		from, to ledger.Checkpoint
		proof    [][]byte
	}{
		{"another ledger's", head(t, tree, 9), other, nil},
		{"went back", head(t, tree, 9), head(t, tree, 8), nil},
		{"two roots of one size", head(t, tree, 9), forked, nil},
		{"empty with a root", wrongEmpty, head(t, tree, 9), nil},
		{"needless element", head(t, tree, 9), head(t, tree, 9), [][]byte{make([]byte, 32)}},
		{"too many elements", head(t, tree, 3), head(t, tree, 9), make([][]byte, 5000)},
		{"beyond any ledger", head(t, tree, 3), ledger.Checkpoint{Origin: "witnessmark/00", Size: 1 << 63}, nil},
	} {
		if err := ledger.CheckConsistency(c.proof, c.from, c.to); !errors.Is(err, ledger.ErrProof) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if err := ledger.CheckInclusion(nil, 1<<63, ledger.Checkpoint{Size: 1<<64 - 1}, tlog.Hash{}); !errors.Is(err, ledger.ErrProof) {
		t.Errorf("inclusion beyond any ledger: %v", err)
	}
}

func TestSizesThatAreNot(t *testing.T) {
	tree := grow(3)
	_, err1 := tree.Root(4)
	_, err2 := tree.ProveInclusion(3, 3)
	_, err3 := tree.ProveInclusion(0, 4)
	_, err4 := tree.ProveConsistency(2, 4)
	_, err5 := tree.ProveConsistency(3, 2)
	_, err6 := tree.Leaf(3)
	for i, err := range []error{err1, err2, err3, err4, err5, err6} {
		if !errors.Is(err, ledger.ErrSize) {
			t.Errorf("%d: %v", i, err)
		}
	}
}

func TestLoadTreeAndClone(t *testing.T) {
	tree := &ledger.Tree{}
	var kept []tlog.Hash
	for i := range 21 {
		_, stored, _ := tree.Append([]byte{byte(i)})
		kept = append(kept, stored...)
	}
	loaded, err := ledger.LoadTree(func(i int64) (tlog.Hash, error) { return kept[i], nil }, 21)
	if err != nil {
		t.Fatal(err)
	}
	one, two := loaded.Clone(), loaded.Clone()
	one.Append([]byte("one"))
	two.Append([]byte("two"))
	tree.Append([]byte("one"))
	if loaded.Size() != 21 || head(t, one, 22) != head(t, tree, 22) || head(t, two, 22) == head(t, tree, 22) {
		t.Error("a clone's growth shows in another")
	}
	if head(t, loaded, 21) != head(t, tree, 21) {
		t.Error("a loaded tree has another root")
	}
	lost := errors.New("lost")
	if _, err := ledger.LoadTree(func(int64) (tlog.Hash, error) { return tlog.Hash{}, lost }, 1); !errors.Is(err, lost) {
		t.Errorf("a lost hash: %v", err)
	}
}
