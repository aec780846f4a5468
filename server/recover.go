package server

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// archiveFolder holds the ledger that a recovered one goes on from, in the folder of that.
const archiveFolder = "archive"

// Recovery is who begins a ledger anew whose last lead's key, or server's key, is lost.
type Recovery struct {
	Lead       string
	LeadKey    ed25519.PublicKey
	OnePerson  bool
	WithLosses bool // also if the old ledger has faults
}

// Recovered is a ledger that goes on from another one.
type Recovered struct {
	Fingerprint string
	Old         *Checked
	Files       []string // definitions and limits, as they were last, within the new folder
}

// Recover makes a server's folder with a new ledger, whose genesis names the old one's head. The old store is
// checked and lies in its folder archive from then on, to be looked at alone; of what it says nothing is taken
// over: people are enrolled anew, definitions and limits are written out for their lead to add again. The old
// place is left as it is.
func (p Place) Recover(to string, r Recovery) (*Recovered, error) {
	half, done, err := newFolder(to)
	if err != nil {
		return nil, err
	}
	defer done()
	archive := filepath.Join(half, archiveFolder)
	if err := os.Mkdir(archive, 0o700); err != nil {
		return nil, fmt.Errorf("make the folder: %w", err)
	}
	out, g := &Recovered{}, &recordv1.Genesis{LeadName: r.Lead, LeadKey: signoff.FormatPublicKey(r.LeadKey), OnePerson: r.OnePerson}
	h, err := p.archived(archive)
	if err != nil {
		return nil, err
	}
	out.Old, err = checkFile(filepath.Join(archive, storeFile), r.WithLosses, func(tx store.ReadTx, s *record.State) (err error) {
		if err := h.agree(s); err != nil {
			return err
		}
		root := s.Root(s.Size())
		g.Continues = &recordv1.Continues{Genesis: s.GenesisSHA256(), Size: s.Size(), Root: fmt.Sprintf("%x", root[:])}
		out.Files, err = writeOut(half, tx, s)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p, err)
	}
	key, genesis, fingerprint, err := newGenesis(g)
	if err == nil {
		out.Fingerprint, err = fingerprint, fill(half, key, genesis)
	}
	if err != nil {
		return nil, err
	}
	return out, putInPlace(half, to)
}

// archived copies a store, which nobody serves where it is a folder's, and its last checkpoint.
func (p Place) archived(archive string) (*home, error) {
	p.scratch = archive
	h, err := p.open(true)
	if err != nil {
		return nil, err
	}
	h.key = nil // it may be another one's: that is why there is to be a new one
	to := filepath.Join(archive, storeFile)
	if p.Database == "" {
		err = copySynced(to, filepath.Join(p.Dir, storeFile))
	} else if staged, failed := store.Stage(to, 0o600, h.engine.Snapshot); failed == nil {
		err = staged.CommitNew()
	} else {
		err = failed
	}
	return h, errors.Join(err, h.archive(archive), h.close())
}

// writeOut writes the newest definitions and limits as files into the archive, and says which.
func writeOut(half string, tx store.ReadTx, s *record.State) (files []string, err error) {
	for _, kind := range []string{record.Definitions, record.Limits} {
		newest := map[string]string{}
		s.Revisions(kind, "", 0, func(f *recordv1.CatalogFile) bool {
			newest[f.GetName()] = f.GetSha256()
			return true
		})
		if err := os.Mkdir(filepath.Join(half, archiveFolder, kind), 0o700); err != nil {
			return nil, fmt.Errorf("make the folder: %w", err)
		}
		for _, name := range slices.Sorted(maps.Keys(newest)) {
			data, err := store.GetBlob(tx, newest[name])
			if err != nil {
				continue // a fault that was told of
			}
			file := filepath.Join(archiveFolder, kind, name+".yaml")
			if err := store.WriteSynced(filepath.Join(half, file), data); err != nil {
				return nil, err
			}
			files = append(files, file)
		}
	}
	return files, nil
}
