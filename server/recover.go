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
	"witnessmark/store/bolt"
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
// folder is left as it is.
func Recover(dir, to string, r Recovery) (*Recovered, error) {
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
	f, err := archived(dir, archive)
	if err != nil {
		return nil, err
	}
	out.Old, err = checkFile(filepath.Join(archive, storeFile), r.WithLosses, func(tx store.ReadTx, s *record.State) (err error) {
		if err := agree(s, f); err != nil {
			return err
		}
		root := s.Root(s.Size())
		g.Continues = &recordv1.Continues{Genesis: s.GenesisSHA256(), Size: s.Size(), Root: fmt.Sprintf("%x", root[:])}
		out.Files, err = writeOut(half, tx, s)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", dir, err)
	}
	if out.Fingerprint, err = newLedger(half, g); err != nil {
		return nil, err
	}
	return out, place(half, to)
}

// archived copies a store that nobody serves, and its last checkpoint.
func archived(dir, archive string) (*folder, error) {
	f, err := readFolder(dir, true)
	if err != nil {
		return nil, err
	}
	f.key = nil // it may be another one's: that is why there is to be a new one
	held, err := bolt.OpenReadOnly(filepath.Join(dir, storeFile))
	if err != nil {
		return nil, err
	}
	err = errors.Join(copySynced(filepath.Join(archive, storeFile), filepath.Join(dir, storeFile)),
		store.WriteSynced(filepath.Join(archive, checkpointFile), f.kept))
	return f, errors.Join(err, held.Close())
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
