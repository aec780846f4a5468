package record

import (
	"maps"
	"slices"

	"golang.org/x/mod/sumdb/tlog"
)

// maxRecent bounds how many documents, and how many hashes, are remembered.
const maxRecent = 4096

// recent is what a State that adds entries read and wrote lately: most entries ask for what the one
// before asked for. It is empty in one that only looks, and right because nobody else writes meanwhile.
type recent struct {
	documents map[place]document
	waiting   map[string]map[string]document // to be written, by kind and key
	hashes    map[int64]tlog.Hash
}

type document struct {
	value []byte
	there bool
}

func newRecent() recent {
	return recent{documents: map[place]document{}, waiting: map[string]map[string]document{}, hashes: map[int64]tlog.Hash{}}
}

func (r recent) document(kind, key string) (d document, known bool) {
	if d, known = r.waiting[kind][key]; !known {
		d, known = r.documents[place{kind, key}]
	}
	return d, known
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

// later has a document written, or deleted, before anybody scans its kind or the State is finished: in the order of
// keys, in which an engine has least to move, and once, however often it changes until then.
func (s *State) later(kind, key string, d document) {
	if s.err != nil {
		return
	}
	waiting := s.recent.waiting[kind]
	if waiting == nil {
		waiting = map[string]document{}
		s.recent.waiting[kind] = waiting
	}
	if waiting[key] = d; len(waiting) >= maxRecent {
		s.settle(kind)
	}
}

// settle writes the documents of a kind that wait for it.
func (s *State) settle(kind string) {
	waiting := s.recent.waiting[kind]
	for _, key := range slices.Sorted(maps.Keys(waiting)) {
		d := waiting[key]
		switch {
		case s.err != nil:
			return
		case d.there:
			s.fail(s.w.PutDocument(kind, key, d.value))
		default:
			s.fail(s.w.DeleteDocument(kind, key))
		}
		s.recent.keep(kind, key, d)
	}
	clear(waiting)
}

// settleAll writes the documents of all kinds that wait for it.
func (s *State) settleAll() {
	for _, kind := range slices.Sorted(maps.Keys(s.recent.waiting)) {
		s.settle(kind)
	}
}
