package server

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"witnessmark/store"
	"witnessmark/store/held"
	"witnessmark/store/postgres"
	"witnessmark/store/record"
)

// database is the keeper of a ledger in PostgreSQL, which any number of servers share. The checkpoint is signed from
// what the database says, durability and room on the disk are the database's own.
type database struct {
	engine  *postgres.Engine
	scratch string // a folder for bytes on their way, beside the key
	remove  func() error
}

// openDatabase opens a database. A server's folder has the key, which whoever only looks may do without.
func openDatabase(p Place, onlyLook bool) (*home, error) {
	key, err := p.keyBeside(onlyLook)
	if err != nil {
		return nil, err
	}
	d := &database{scratch: p.scratch, remove: func() error { return nil }}
	if !onlyLook {
		if d.scratch, d.remove, err = held.Folder(p.Dir, ".spool-*"); err != nil {
			return nil, fmt.Errorf("spool: %w", err)
		}
	}
	d.engine, err = postgres.Open(context.Background(), p.Database, postgres.Options{Log: p.Log, ReadOnly: onlyLook, Folder: d.scratch})
	if err != nil {
		return nil, errors.Join(err, d.remove())
	}
	return &home{dir: p.Dir, key: key, engine: d.engine, keeper: d}, nil
}

// keyBeside is the server's key, which is all that is asked of a folder beside a database.
func (p Place) keyBeside(onlyLook bool) (ed25519.PrivateKey, error) {
	if p.Dir == "" && onlyLook {
		return nil, nil
	}
	if state, where := movedTo(p.Dir); state == moving {
		return nil, beingMoved(p.Dir, where)
	}
	key, err := ReadKey(filepath.Join(p.Dir, keyFile))
	switch {
	case errors.Is(err, fs.ErrNotExist) && onlyLook:
		return nil, nil
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s has no %s: every server of a ledger needs a copy of the first one's", p.Dir, keyFile)
	}
	return key, err
}

// fillDatabase makes a new ledger in a database that has none, and of half, which is not in use yet, the folder with
// its key. The key has its place before anything is in the database, which nobody could serve without.
func (p Place) fillDatabase(half string, key ed25519.PrivateKey, fill func(store.WriteTx) error) error {
	e, err := postgres.Create(context.Background(), p.Database, postgres.Options{Log: p.Log})
	switch {
	case errors.Is(err, fs.ErrExist):
		return errors.New("the database holds a ledger already; an empty one is filled, and others are left alone")
	case err != nil:
		return err
	}
	if err = writeKey(half, key); err == nil {
		err = putInPlace(half, p.Dir)
	}
	if err == nil {
		err = e.Update(fill)
		switch {
		case errors.Is(err, store.ErrUncertain):
			err = fmt.Errorf("%w; try: witnessmarkd check --data %s --database URL, and where there is no ledger remove %s", err, p.Dir, p.Dir)
		case err != nil:
			err = errors.Join(err, os.RemoveAll(p.Dir)) // it was made above, and holds the key alone
		}
	}
	return errors.Join(err, e.Close())
}

func (d *database) follows(*record.State) error { return nil }
func (d *database) keep([]byte) error           { return nil }
func (d *database) pages() error                { return nil }
func (d *database) hasRoom(int64) error         { return nil }
func (d *database) fits([]*arrival) error       { return nil }
func (d *database) reserve() error              { return nil }
func (d *database) size() (int64, error)        { return 0, nil }
func (d *database) disk() (size, free uint64)   { return 0, 0 }
func (d *database) backedUp(time.Time) error    { return nil }

func (d *database) lastBackup() (at time.Time, elsewhere bool, err error) { return at, true, nil }

// survives: what was not committed is rolled back, and the database knows it.
func (d *database) survives(error) bool { return true }

func (d *database) beginErasing() error { return d.engine.Owe() }

// compact compacts for all notes that there are: what others note meanwhile, they see to.
func (d *database) compact(e store.Engine, age time.Duration) error {
	newest, old, err := d.engine.Owed()
	if err == nil && newest > 0 && old >= age {
		if err = e.Compact(); err == nil {
			err = d.engine.Paid(newest)
		}
	}
	return err
}

func (d *database) spool() string        { return filepath.Join(d.scratch, spoolFolder) }
func (d *database) left() error          { return d.remove() }
func (d *database) archive(string) error { return nil }
func (d *database) shared() bool         { return true }

func (d *database) watch(ctx context.Context, fn func(uint64)) {
	_ = d.engine.Watch(ctx, fn) // it ends with ctx, or with the engine
}
