package store

import (
	"errors"

	"golang.org/x/mod/sumdb/tlog"
)

// copyBytes is about how much Copy writes in one Update.
const copyBytes = 16 << 20

// Copy writes all that a transaction sees into an empty store, by Updates of about 16 MiB each. An update
// that calls its argument within one transaction has all of it there at once, or nothing. The documents' sum is
// made anew of what was copied: CheckSum finds what is damaged in the original alone.
func Copy(from ReadTx, update func(func(WriteTx) error) error) error {
	c := copying{update: update}
	n, err := from.Entries()
	if err != nil {
		return err
	}
	for i := range n {
		entry, err := from.Entry(i)
		if err != nil {
			return err
		}
		if err := c.add(len(entry), func(tx WriteTx) error { return tx.PutEntry(i, entry) }); err != nil {
			return err
		}
	}
	for i := range tlog.StoredHashCount(int64(n)) {
		h, err := from.Hash(i)
		if errors.Is(err, ErrNotFound) {
			continue // for check to find
		}
		if err != nil {
			return err
		}
		if err := c.add(len(h), func(tx WriteTx) error { return tx.PutHash(i, h) }); err != nil {
			return err
		}
	}
	err = from.Blobs(func(sha256 string, packed []byte) (bool, error) {
		return true, c.add(len(packed), func(tx WriteTx) error { return tx.PutBlob(sha256, packed) })
	})
	if err != nil {
		return err
	}
	err = from.Documents(func(kind, key string, value []byte) (bool, error) {
		return true, c.add(len(key)+len(value), func(tx WriteTx) error { return tx.PutDocument(kind, key, value) })
	})
	if err != nil {
		return err
	}
	return c.write()
}

// copying gathers writes for the next Update, which may run them again.
type copying struct {
	update func(func(WriteTx) error) error
	writes []func(WriteTx) error
	size   int
}

func (c *copying) add(size int, write func(WriteTx) error) error {
	c.writes = append(c.writes, write)
	if c.size += size + 64; c.size < copyBytes {
		return nil
	}
	return c.write()
}

func (c *copying) write() error {
	err := c.update(func(tx WriteTx) error {
		for _, write := range c.writes {
			if err := write(tx); err != nil {
				return err
			}
		}
		return nil
	})
	c.writes, c.size = nil, 0
	return err
}
