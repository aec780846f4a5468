package server

import (
	"errors"
	"fmt"
	"io"

	"witnessmark/store"
	"witnessmark/store/record"
)

// Extract writes an image or a run of a ledger that nobody serves to a new file, as it was stored: an image is
// all of its bytes, gaps 0xFF. It is a working copy, never for a car.
func (p Place) Extract(name, out string) (err error) {
	of, err := record.ParseName(name)
	if err != nil {
		return err
	}
	h, err := p.open(true)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.close()) }()
	var data []byte
	err = h.engine.View(func(tx store.ReadTx) (err error) {
		s := record.Read(tx)
		sha := s.BytesOf(of)
		if err := s.Err(); err != nil {
			return err
		}
		if sha == "" {
			return fmt.Errorf("there is no %s in %s, or it has no bytes; allowed: a submission (7.2), a read (7.read1), a read-back (7.back1), a run (7.run1)", name, p)
		}
		data, err = store.GetBlob(tx, sha)
		return err
	})
	if err != nil {
		return err
	}
	staged, err := store.Stage(out, 0o600, func(w io.Writer) error { _, err := w.Write(data); return err })
	if err != nil {
		return err
	}
	return staged.CommitNew()
}
