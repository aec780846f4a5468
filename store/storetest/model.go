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
	documents map[string]string // of the kind "job"
}

func (m model) clone() model {
	return model{slices.Clone(m.entries), maps.Clone(m.hashes), maps.Clone(m.blobs), maps.Clone(m.documents)}
}

// step does one random thing to the model and to the engine.
func (m *model) step(r *rand.Rand, tx store.WriteTx) error {
	value := strings.Repeat(string(rune('a'+r.IntN(26))), r.IntN(3000))
	key := fmt.Sprint(r.IntN(30))
	switch r.IntN(5) {
	case 0:
		m.entries = append(m.entries, "e"+value)
		return tx.PutEntry(uint64(len(m.entries)-1), []byte("e"+value))
	case 1:
		at := r.IntN(40)
		m.hashes[at] = tlog.RecordHash([]byte(value))
		return tx.PutHash(int64(at), m.hashes[at])
	case 2:
		at := r.IntN(20)
		m.blobs[at] = value
		return tx.PutBlob(sha(at), []byte(value))
	case 3:
		m.documents[key] = value
		return tx.PutDocument("job", key, []byte(value))
	}
	delete(m.documents, key)
	return tx.DeleteDocument("job", key)
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
		fmt.Fprintf(&out, "blob %d %q\n", i, m.blobs[i])
	}
	for _, key := range slices.Sorted(maps.Keys(m.documents)) {
		fmt.Fprintf(&out, "job %q %q\n", key, m.documents[key])
	}
	return out.String()
}
