package storetest

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
)

// model is what an engine should hold, kept in the plainest way.
type model struct {
	entries   []string
	hashes    map[int]tlog.Hash
	blobs     map[int]string
	documents map[[2]string]string // by kind and key
}

func (m model) clone() model {
	return model{slices.Clone(m.entries), maps.Clone(m.hashes), maps.Clone(m.blobs), maps.Clone(m.documents)}
}

// step does one random thing to the model and to the engine.
func (m *model) step(r *rand.Rand, tx store.WriteTx) error {
	value := strings.Repeat(string(rune('a'+r.IntN(26))), r.IntN(3000))
	name := [2]string{[]string{"job", "jobs"}[r.IntN(2)], fmt.Sprint(r.IntN(30))}
	blob := r.IntN(20)
	switch r.IntN(13) {
	case 0, 1:
		m.entries = append(m.entries, "e"+value)
		return tx.PutEntry(uint64(len(m.entries)-1), []byte("e"+value))
	case 2, 3:
		at := r.IntN(40)
		m.hashes[at] = tlog.RecordHash([]byte(value))
		return tx.PutHash(int64(at), m.hashes[at])
	case 4, 5:
		m.blobs[blob] = value
		return tx.PutBlob(sha(blob), []byte(value))
	case 6:
		delete(m.blobs, blob)
		return tx.DeleteBlob(sha(blob))
	case 7, 8, 9:
		m.documents[name] = value
		return tx.PutDocument(name[0], name[1], []byte(value))
	case 10, 11:
		delete(m.documents, name)
		return tx.DeleteDocument(name[0], name[1])
	}
	if r.IntN(4) > 0 { // else there would never be many
		return nil
	}
	clear(m.documents)
	return tx.DropDocuments()
}

// text is in the form of contents.
func (m model) text() string {
	var out strings.Builder
	for i, entry := range m.entries {
		fmt.Fprintf(&out, "entry %d %q\n", i, entry)
	}
	for _, i := range slices.Sorted(maps.Keys(m.hashes)) {
		fmt.Fprintf(&out, "hash %d %v\n", i, m.hashes[i])
	}
	for _, i := range slices.Sorted(maps.Keys(m.blobs)) {
		fmt.Fprintf(&out, "blob %s %q\n", sha(i), m.blobs[i])
	}
	byName := func(a, b [2]string) int { return slices.Compare(a[:], b[:]) }
	for _, name := range slices.SortedFunc(maps.Keys(m.documents), byName) {
		fmt.Fprintf(&out, "%s %q %q\n", name[0], name[1], m.documents[name])
	}
	return out.String()
}
