package server

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"witnessmark/store"
	"witnessmark/store/postgres"
	"witnessmark/store/record"
)

// movedFile says that a folder's ledger is on its way to a database, or is there.
const movedFile = "moved"

// What it says first; what follows is where to.
const (
	moving = "moving"
	moved  = "moved"
)

func writeMoved(dir, state, where string) error {
	return store.WriteSynced(filepath.Join(dir, movedFile), []byte(state+" to "+where+"\n"))
}

// movedTo reads that file. Where it cannot be read the ledger is on its way, to nobody knows where.
func movedTo(dir string) (state, where string) {
	raw, err := os.ReadFile(filepath.Join(dir, movedFile))
	if errors.Is(err, fs.ErrNotExist) {
		return "", ""
	}
	state, where, ok := strings.Cut(strings.TrimSpace(string(raw)), " to ")
	if err != nil || !ok || state != moved {
		state = moving
	}
	return state, where
}

// notMoved refuses a folder whose ledger is, or may be, in a database.
func notMoved(dir string) error {
	switch state, where := movedTo(dir); state {
	case moving:
		return beingMoved(dir, where)
	case moved:
		return fmt.Errorf("the ledger of %s was moved to %s, and goes on there; name it with --database", dir, where)
	}
	return nil
}

func beingMoved(dir, where string) error {
	return fmt.Errorf("the ledger of %s is on its way to %s, and may be there; try: witnessmarkd move --data %s --database URL, which goes on", dir, where, dir)
}

// Moved is what Move moved.
type Moved struct {
	Entries, Blobs, Documents uint64
	Fingerprint, Head, To     string
	GoneOn                    bool // it was there already, and has more entries by now: nothing else was counted
}

// Move takes a folder's ledger over into the database of the place, all in one transaction: the genesis, the entries and
// the roots stay what they are. Before it begins the folder is marked as moving, and once everything in the
// database was compared with it, as moved: from then on nobody serves from it. After an end at any moment it goes on when
// it is called again.
func (p Place) Move() (*Moved, error) {
	return p.move(func(string) error { return nil })
}

// move tells at of each step before it.
func (p Place) move(at func(step string) error) (out *Moved, err error) {
	h, was, err := p.openToMove()
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, h.close()) }()
	if err := at("look"); err != nil {
		return nil, err
	}
	if err := h.whole(p.Log); err != nil {
		return nil, fmt.Errorf("%s is not moved: %w", p.Dir, err)
	}
	e, empty, err := p.openTarget()
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, e.Close()) }()
	where := e.Place()
	if was != "" && was != where {
		return nil, fmt.Errorf("%s is on its way to %s, and not to %s; where nothing is there, remove %s to begin again", p.Dir, was, where, filepath.Join(p.Dir, movedFile))
	}
	err = h.engine.View(func(from store.ReadTx) (err error) {
		if out, err = carryOver(p.Dir, from, e, empty, at); err == nil {
			out.To = where
		}
		return err
	})
	if err == nil {
		err = at("moved")
	}
	if err == nil {
		err = writeMoved(p.Dir, moved, where)
	}
	return out, err
}

// openToMove opens the folder as who serves it would, so that nobody does; was is where it is on its way to already.
func (p Place) openToMove() (h *home, was string, err error) {
	state, was := movedTo(p.Dir)
	if state == moved {
		return nil, "", fmt.Errorf("the ledger of %s was moved to %s already", p.Dir, was)
	}
	h, err = openFolder(p.Dir, false)
	return h, was, err
}

// whole finishes what is unfinished in a store, and looks whether it is what was written.
func (h *home) whole(log *slog.Logger) error {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	if err := errors.Join(takeUp(h, log), record.View(h.engine, h.agree), h.finishErasing(0), h.pages()); err != nil {
		return err
	}
	return h.engine.View(func(tx store.ReadTx) error {
		if err := store.CheckSum(tx); err != nil {
			return err
		}
		return tx.Blobs(func(sha string, _ []byte) (bool, error) {
			_, err := store.GetBlob(tx, sha)
			return true, err
		})
	})
}

// openTarget opens the database, which may be empty or hold a ledger.
func (p Place) openTarget() (e *postgres.Engine, empty bool, err error) {
	o := postgres.Options{Log: p.Log}
	e, err = postgres.Create(context.Background(), p.Database, o)
	if errors.Is(err, fs.ErrExist) {
		e, err = postgres.Open(context.Background(), p.Database, o)
		return e, false, err
	}
	return e, true, err
}

// carryOver has all of a store in the database. What is there already must go on from it.
func carryOver(dir string, from store.ReadTx, e *postgres.Engine, empty bool, at func(string) error) (*Moved, error) {
	if !empty {
		if err := e.View(func(to store.ReadTx) error { return goesOnFrom(from, to) }); err != nil {
			return nil, err
		}
	}
	if err := at("moving"); err != nil {
		return nil, err
	}
	if err := writeMoved(dir, moving, e.Place()); err != nil {
		return nil, err
	}
	if empty {
		if err := at("copy"); err != nil {
			return nil, err
		}
		err := e.Update(func(w store.WriteTx) error { return errors.Join(copyStore(from, w), at("commit")) })
		if err != nil {
			return nil, fmt.Errorf("copy into the database: %w", err)
		}
	}
	if err := at("compare"); err != nil {
		return nil, err
	}
	var out *Moved
	return out, e.View(func(to store.ReadTx) (err error) {
		if err = goesOnFrom(from, to); err == nil {
			out, err = compareStores(from, to)
		}
		return err
	})
}

// copyStore copies all that a store has into one that has nothing, in the transaction of w.
func copyStore(from store.ReadTx, w store.WriteTx) error {
	return store.Copy(from, func(fn func(store.WriteTx) error) error { return fn(w) })
}

// goesOnFrom wants the ledger of one store to be that of another, as far as that one goes.
func goesOnFrom(from, to store.ReadTx) error {
	old, now := record.Read(from), record.Read(to)
	switch size := old.Size(); {
	case now.GenesisSHA256() != old.GenesisSHA256():
		return errors.Join(old.Err(), now.Err(), errors.New("the database holds another ledger; an empty one is filled, and others are left alone"))
	case now.Size() < size:
		return fmt.Errorf("the database holds an older state of this ledger, with %d entries of %d; name an empty one", now.Size(), size)
	case now.Root(size) != old.Root(size):
		return errors.Join(old.Err(), now.Err(), fmt.Errorf("the database holds another ledger with the same beginning: they disagree about the first %d entries", size))
	}
	return errors.Join(old.Err(), now.Err())
}

// compareStores wants two stores to be the same, or the second one to go on from the first, when what is there was
// copied in one piece and changed by its servers.
func compareStores(from, to store.ReadTx) (*Moved, error) {
	old, now := record.Read(from), record.Read(to)
	out := &Moved{Entries: now.Size(), Head: headOf(now)}
	var err error
	out.Fingerprint, err = fingerprintOf(now.GenesisSHA256())
	if out.GoneOn = now.Size() > old.Size(); err != nil || out.GoneOn {
		return out, errors.Join(err, old.Err(), now.Err())
	}
	for i := range out.Entries {
		was, err1 := from.Entry(i)
		is, err2 := to.Entry(i)
		if err := errors.Join(err1, err2); err != nil || !bytes.Equal(was, is) {
			return nil, differs(err, "entry %d", i)
		}
	}
	for i := range tlog.StoredHashIndex(0, int64(out.Entries)) {
		was, err1 := from.Hash(i)
		is, err2 := to.Hash(i)
		if err := errors.Join(err1, err2); err != nil || was != is {
			return nil, differs(err, "tree hash %d", i)
		}
	}
	if err := from.Blobs(func(sha string, packed []byte) (bool, error) {
		out.Blobs++
		is, err := to.Blob(sha)
		if err != nil || !bytes.Equal(packed, is) {
			return false, differs(err, "blob %s", sha)
		}
		return true, nil
	}); err != nil {
		return nil, err
	}
	var found store.Sum
	kept, err1 := from.Sum()
	is, err2 := to.Sum()
	err3 := to.Documents(func(kind, key string, value []byte) (bool, error) {
		out.Documents++
		found = found.Add(kind, key, value)
		return true, nil
	})
	if err := errors.Join(err1, err2, err3); err != nil || found != kept || is != kept {
		return nil, differs(err, "the sum of the documents")
	}
	return out, errors.Join(old.Err(), now.Err())
}

func differs(err error, format string, args ...any) error {
	what := fmt.Sprintf(format, args...)
	if err != nil {
		return fmt.Errorf("compare: %s: %w", what, err)
	}
	return fmt.Errorf("compare: %s in the database is not what the folder has", what)
}
