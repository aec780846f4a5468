package record

import "golang.org/x/mod/sumdb/tlog"

// maxRecent bounds how many documents, and how many hashes, are remembered.
const maxRecent = 4096

// recent is what a State that adds entries read and wrote lately: most entries ask for what the one
// before asked for. It is empty in one that only looks, and right because nobody else writes meanwhile.
type recent struct {
	documents map[place]document
	hashes    map[int64]tlog.Hash
}

type document struct {
	value []byte
	there bool
}

func newRecent() recent {
	return recent{documents: map[place]document{}, hashes: map[int64]tlog.Hash{}}
}

func (r recent) keep(kind, key string, d document) {
	if r.documents == nil {
		return
	}
	if len(r.documents) >= maxRecent {
		clear(r.documents)
	}
	r.documents[place{kind, key}] = d
}

func (r recent) keepHash(index int64, h tlog.Hash) {
	if r.hashes == nil {
		return
	}
	if len(r.hashes) >= maxRecent {
		clear(r.hashes)
	}
	r.hashes[index] = h
}

// tree is the hashes of the ledger's tree.
type tree struct{ *State }

func (t tree) Hash(index int64) (tlog.Hash, error) {
	if h, known := t.recent.hashes[index]; known {
		return h, nil
	}
	h, err := t.tx.Hash(index)
	if err == nil {
		t.recent.keepHash(index, h)
	}
	return h, err
}
