package server

import (
	"errors"
	"fmt"
	"path/filepath"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/record"
)

// Rebuild makes a server's folder from the entries, blobs and sealed texts of another place, whose documents
// may be damaged: they are made again. Each entry is judged by the rules once more, the head must be the one
// that was signed last, and all of it is checked before it gets its name. Bytes and sealed texts that cannot
// be read any more are faults, which are only taken withLosses. Where the server's key is lost, the new folder
// has none either. The old place is left as it is.
func (p Place) Rebuild(to string, withLosses bool) (*Checked, error) {
	half, done, err := newFolder(to)
	if err != nil {
		return nil, err
	}
	defer done()
	h, err := p.openDamaged()
	if err != nil {
		return nil, err
	}
	path := filepath.Join(half, storeFile)
	if err = errors.Join(copyEntries(path, h.engine), h.close()); err != nil {
		return nil, fmt.Errorf("%s cannot be rebuilt: %w", p, err)
	}
	out, err := checkFile(path, withLosses, func(_ store.ReadTx, s *record.State) error {
		switch err := h.agree(s); {
		case err != nil:
			return err
		case h.key == nil:
			return h.archive(half)
		}
		return accompany(half, s, h.key)
	})
	if err != nil {
		return nil, fmt.Errorf("%s cannot be rebuilt: %w", p, err)
	}
	out.NoKey = h.key == nil
	return out, putInPlace(half, to)
}

// openDamaged opens a place to read whatever can still be read there.
func (p Place) openDamaged() (*home, error) {
	if p.Database != "" {
		return openDatabase(p, true)
	}
	if err := notMoved(p.Dir); err != nil {
		return nil, err
	}
	h, _, err := readFolder(p.Dir, true)
	if err == nil {
		h.engine, err = bolt.OpenWith(filepath.Join(p.Dir, storeFile), bolt.Options{ByPage: true})
	}
	return h, err
}

// copyEntries admits all entries of a store to a new one, with what they bring. What was erased, or cannot
// be read, is not there then.
func copyEntries(path string, from store.Engine) error {
	to, err := bolt.CreateWith(path, bolt.Options{})
	if err != nil {
		return err
	}
	err = from.View(func(kept store.ReadTx) error {
		entries, err := kept.Entries()
		for next := uint64(0); next < entries && err == nil; {
			err = to.Update(func(w store.WriteTx) (err error) {
				next, err = copySome(kept, w, next, entries)
				return err
			})
		}
		return err
	})
	if err == nil {
		err = to.Compact()
	}
	return errors.Join(err, to.Close())
}

// copySome admits as many entries as one transaction should have, and answers with the next one.
func copySome(kept store.ReadTx, w store.WriteTx, next, entries uint64) (uint64, error) {
	s := record.Write(w)
	for size := 0; next < entries && size < maxBatchBytes/4; next++ {
		entry, err := kept.Entry(next)
		if err != nil {
			return next, err
		}
		o, err := record.Judge(s, entry)
		if errors.Is(err, record.ErrUnknownKind) {
			err = errors.New("it is of a kind that this version does not know; take a newer one")
		}
		if err != nil {
			return next, fmt.Errorf("entry %d: %w", next, err)
		}
		size += len(entry)
		if o.Signed == nil { // the genesis
			if _, err := s.Apply(o, nil); err != nil {
				return next, err
			}
			continue
		}
		base := baseOf(s, o.Signed.Action)
		if _, err := s.Apply(o, record.Salvage(kept, o.Signed.Action)); err != nil {
			return next, err
		}
		for _, b := range record.Brings(o.Signed.Action) {
			data, err := store.GetBlob(kept, b.SHA256)
			if err != nil {
				continue // checked afterwards, when it is known what was erased
			}
			if _, err := store.PutBlob(w, data, base[b.SHA256]); err != nil {
				return next, err
			}
			size += len(data)
		}
	}
	return next, s.Finish()
}
