package postgres

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"fmt"

	"witnessmark/store"
)

const (
	chunkRows  = 32      // of the first chunk of a scan; each has four times as many as the one before
	chunkMost  = 4096    // rows of any
	chunkBytes = 4 << 20 // of any, but for its last row
)

func (t *readTx) Blobs(fn func(string, []byte) (bool, error)) error {
	from := []byte{}
	return t.walk(func(rows int) ([][][]byte, error) {
		chunk, err := t.rows(scanBlobs, from, integer(int64(rows)), integer(chunkBytes))
		if len(chunk) > 0 {
			from = after(chunk[len(chunk)-1][0])
		}
		return chunk, err
	}, func(row [][]byte) (bool, error) {
		if len(row[0]) != 32 {
			return false, fmt.Errorf("blob of name %x: %w", row[0], store.ErrDamaged)
		}
		return fn(hex.EncodeToString(row[0]), row[1])
	})
}

func (t *readTx) Scan(kind, from string, fn func(string, []byte) (bool, error)) error {
	if err := store.CheckDocument(kind, from); err != nil && !t.done {
		return err
	}
	return t.scanFrom(scanKind, kind, from, func(_, key string, value []byte) (bool, error) { return fn(key, value) })
}

func (t *readTx) Documents(fn func(string, string, []byte) (bool, error)) error {
	return t.scanFrom(scanDocuments, "", "", fn)
}

func (t *readTx) scanFrom(q query, kind, from string, fn func(kind, key string, value []byte) (bool, error)) error {
	at, key := []byte(kind), []byte(from)
	return t.walk(func(rows int) ([][][]byte, error) {
		chunk, err := t.rows(q, at, key, integer(int64(rows)), integer(chunkBytes))
		if len(chunk) > 0 {
			last := chunk[len(chunk)-1]
			at, key = last[0], after(last[1])
		}
		for _, row := range chunk {
			n := name{string(row[0]), string(row[1])}
			t.remember(n, row[2])
			t.fresh(n, row[2])
		}
		return chunk, err
	}, func(row [][]byte) (bool, error) { return fn(string(row[0]), string(row[1]), copied(row[2])) })
}

// after is the first key behind another.
func after(key []byte) []byte { return append(bytes.Clone(key), 0) }

// walk goes through chunks, each of which is read whole before fn gets its first row: fn may read, too.
func (t *readTx) walk(next func(rows int) ([][][]byte, error), fn func(row [][]byte) (bool, error)) error {
	if t.done {
		return store.ErrClosed
	}
	if err := t.flush(); err != nil {
		return err
	}
	t.scanning++
	defer func() { t.scanning-- }()
	for rows := chunkRows; ; rows = min(4*rows, chunkMost) {
		chunk, err := next(rows)
		if err != nil || len(chunk) == 0 {
			return err
		}
		for _, row := range chunk {
			if more, err := fn(row); err != nil || !more {
				return err
			}
		}
		if len(chunk) < rows && t.last(chunk) {
			return nil
		}
	}
}

// last is whether a chunk with fewer rows than were asked for ended there, and not by its bytes.
func (t *readTx) last(chunk [][][]byte) bool {
	size := 0
	for _, row := range chunk {
		size += len(row[len(row)-1])
	}
	return size < chunkBytes
}

// ahead reads rows by their numbers, and more of them at once the longer one is asked for after the other.
type ahead[T any] struct {
	rows map[int64]T
	next int64 // behind the last one that was asked for
	most int
}

func (a *ahead[T]) get(number int64, read func(from int64, rows int) ([][][]byte, error), parse func([]byte) (T, error)) (v T, found bool, err error) {
	if number < 0 {
		return v, false, nil
	}
	inOrder := number == a.next && number > 0
	a.next = number + 1
	if v, found = a.rows[number]; found {
		return v, true, nil
	}
	if a.most = min(max(4*a.most, 1), chunkMost/8); !inOrder {
		a.most = 1
	}
	chunk, err := read(number, a.most)
	if err != nil {
		return v, false, err
	}
	if len(a.rows) > chunkMost {
		a.rows = nil
	}
	if inOrder {
		a.rows = nil // those before are done with
	}
	for _, row := range chunk {
		at := int64(binary.BigEndian.Uint64(row[0]))
		parsed, err := parse(row[1])
		switch {
		case err == nil:
			a.add(at, parsed)
		case at == number:
			return v, false, err
		}
	}
	v, found = a.rows[number]
	return v, found, nil
}

func (a *ahead[T]) add(number int64, v T) {
	if a.rows == nil {
		a.rows = map[int64]T{}
	}
	a.rows[number] = v
}
