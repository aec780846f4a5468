package store

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"hash"

	"golang.org/x/mod/sumdb/tlog"
)

// Reads is what was read of a store, in one transaction or several, so that what was computed from
// it outside can be kept if it all still stands. The zero Reads is empty.
type Reads struct {
	answers map[question][sha256.Size]byte
	unlike  bool // one question had two answers
}

// question is one read. Of a scan it says how far it went.
type question struct {
	what      byte // one of the letters below
	kind, key string
	index     uint64
	items     int
	ended     bool // fn did not stop it
}

const (
	askEntries, askEntry, askHash, askBlob, askDocument, askSum = 'n', 'e', 'h', 'b', 'd', 's'
	askBlobs, askScan, askDocuments                             = 'B', 'S', 'D'
)

// Record is tx, and whatever is read through it is remembered. What failed is not, except for
// what was not found.
func Record(tx ReadTx, into *Reads) ReadTx { return recording{tx, into} }

// Same is whether reading all of it again through tx gives the same. Of blobs and entries that is
// whether they are there: their bytes never change, however a blob is packed.
func (r *Reads) Same(tx ReadTx) (bool, error) {
	if r.unlike {
		return false, nil
	}
	for q, want := range r.answers {
		var again Reads
		if err := q.ask(Record(tx, &again)); err != nil && !errors.Is(err, ErrNotFound) {
			return false, err
		}
		if got, ok := again.answers[q]; !ok || got != want {
			return false, nil
		}
	}
	return true, nil
}

// ask reads again. A scan goes as far as it went, and one step further where it had come to the end.
func (q question) ask(tx ReadTx) (err error) {
	seen := 0
	more := func() (bool, error) { seen++; return seen < q.items || q.ended && seen == q.items, nil }
	switch q.what {
	case askEntries:
		_, err = tx.Entries()
	case askEntry:
		_, err = tx.Entry(q.index)
	case askHash:
		_, err = tx.Hash(int64(q.index))
	case askBlob:
		_, err = tx.Blob(q.key)
	case askDocument:
		_, err = tx.Document(q.kind, q.key)
	case askSum:
		_, err = tx.Sum()
	case askBlobs:
		err = tx.Blobs(func(string, []byte) (bool, error) { return more() })
	case askScan:
		err = tx.Scan(q.kind, q.key, func(string, []byte) (bool, error) { return more() })
	case askDocuments:
		err = tx.Documents(func(string, string, []byte) (bool, error) { return more() })
	}
	return err
}

func (r *Reads) note(q question, answer [sha256.Size]byte) {
	if r.answers == nil {
		r.answers = map[question][sha256.Size]byte{}
	}
	before, asked := r.answers[q]
	r.unlike = r.unlike || asked && before != answer
	r.answers[q] = answer
}

// noteOne remembers one answer: a hash of its own, or none where nothing was found.
func (r *Reads) noteOne(q question, value []byte, err error) {
	switch {
	case err == nil:
		r.note(q, sha256.Sum256(value))
	case errors.Is(err, ErrNotFound):
		r.note(q, [sha256.Size]byte{})
	}
}

// scanned is a scan under way.
type scanned struct {
	question
	hash hash.Hash
}

func newScanned(q question) *scanned {
	q.ended = true
	return &scanned{q, sha256.New()}
}

func (s *scanned) item(more bool, err error, parts ...string) (bool, error) {
	s.items++
	s.ended = more && err == nil
	for _, part := range parts {
		s.hash.Write(binary.BigEndian.AppendUint64(nil, uint64(len(part))))
		s.hash.Write([]byte(part))
	}
	return more, err
}

func (r *Reads) noteScan(s *scanned) { r.note(s.question, [sha256.Size]byte(s.hash.Sum(nil))) }

type recording struct {
	tx    ReadTx
	reads *Reads
}

func (t recording) Entries() (uint64, error) {
	n, err := t.tx.Entries()
	t.reads.noteOne(question{what: askEntries}, binary.BigEndian.AppendUint64(nil, n), err)
	return n, err
}

func (t recording) Entry(index uint64) ([]byte, error) {
	entry, err := t.tx.Entry(index)
	t.reads.noteOne(question{what: askEntry, index: index}, nil, err)
	return entry, err
}

func (t recording) Hash(index int64) (tlog.Hash, error) {
	h, err := t.tx.Hash(index)
	t.reads.noteOne(question{what: askHash, index: uint64(index)}, h[:], err)
	return h, err
}

func (t recording) Blob(sha256 string) ([]byte, error) {
	packed, err := t.tx.Blob(sha256)
	t.reads.noteOne(question{what: askBlob, key: sha256}, nil, err)
	return packed, err
}

func (t recording) Document(kind, key string) ([]byte, error) {
	value, err := t.tx.Document(kind, key)
	t.reads.noteOne(question{what: askDocument, kind: kind, key: key}, value, err)
	return value, err
}

func (t recording) Sum() (Sum, error) {
	sum, err := t.tx.Sum()
	t.reads.noteOne(question{what: askSum}, sum[:], err)
	return sum, err
}

func (t recording) Blobs(fn func(string, []byte) (bool, error)) error {
	s := newScanned(question{what: askBlobs})
	defer t.reads.noteScan(s)
	return t.tx.Blobs(func(sha256 string, packed []byte) (bool, error) {
		more, err := fn(sha256, packed)
		return s.item(more, err, sha256)
	})
}

func (t recording) Scan(kind, from string, fn func(string, []byte) (bool, error)) error {
	s := newScanned(question{what: askScan, kind: kind, key: from})
	defer t.reads.noteScan(s)
	return t.tx.Scan(kind, from, func(key string, value []byte) (bool, error) {
		item := string(value) // before fn, which may write into it
		more, err := fn(key, value)
		return s.item(more, err, key, item)
	})
}

func (t recording) Documents(fn func(string, string, []byte) (bool, error)) error {
	s := newScanned(question{what: askDocuments})
	defer t.reads.noteScan(s)
	return t.tx.Documents(func(kind, key string, value []byte) (bool, error) {
		item := string(value)
		more, err := fn(kind, key, value)
		return s.item(more, err, kind, key, item)
	})
}
