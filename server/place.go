package server

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"witnessmark/store"
	"witnessmark/store/record"
)

// Place is where a ledger is kept: in a server's folder, or in a PostgreSQL database, beside which the folder
// holds the server's key alone.
type Place struct {
	Dir      string
	Database string       // its URL; empty where the folder holds everything
	Log      *slog.Logger // told of what is made or made again there; nil logs nowhere

	scratch string // where a copy of the database is put together; empty for the system's own folder for that
}

// String names the place in messages: a database's URL may hold a password.
func (p Place) String() string {
	if p.Database != "" {
		return "the database"
	}
	return p.Dir
}

// home is a place that was opened.
type home struct {
	dir    string
	key    ed25519.PrivateKey // nil where it is lost, which matters to nobody who only looks
	engine store.Engine
	keeper
}

// keeper is what a ledger in a folder and one in a database do each in its own way.
type keeper interface {
	// follows holds a ledger against the checkpoint that was kept beside it.
	follows(s *record.State) error
	// keep makes a checkpoint durable, before anybody is shown it.
	keep(checkpoint []byte) error
	// pages looks at what the engine's file holds beside what is asked for.
	pages() error

	// hasRoom refuses what would fill the disk here with n bytes more; fits does so with a batch, and reserves some
	// room where it is not reserved yet. size is how many bytes of this disk the ledger takes.
	hasRoom(n int64) error
	fits(batch []*arrival) error
	reserve() error
	size() (int64, error)
	// disk is how large the disk is that the ledger lies on, and how much of it is free; 0 where that is not known.
	disk() (size, free uint64)
	// survives says whether a server goes on after a write that failed.
	survives(err error) bool

	// beginErasing notes, before what erases is committed, that the engine has to be compacted, so that a crash in
	// between does not leave it undone. compact does so where there is such a note, of at least that age where several
	// servers may be about it, and takes it back.
	beginErasing() error
	compact(e store.Engine, age time.Duration) error

	// backedUp notes that a backup was finished, and lastBackup is when the last one was, zero for never; both do
	// nothing where backups are made elsewhere.
	backedUp(at time.Time) error
	lastBackup() (at time.Time, elsewhere bool, err error)

	// spool is a folder for bytes on their way.
	spool() string
	// shared says whether other servers may add to the ledger; watch calls fn with its size whenever that is another
	// one, as far as that is told at once, until ctx ends.
	shared() bool
	watch(ctx context.Context, fn func(size uint64))
	// archive puts the checkpoint, where one is kept, beside a copy of the store that is only looked at.
	archive(dir string) error
	// left removes what is of no use once nobody is here.
	left() error
}

// open opens a place to serve from it, or only to look, which changes nothing there and does not need the
// server's key.
func (p Place) open(onlyLook bool) (*home, error) {
	if p.Database != "" {
		return openDatabase(p, onlyLook)
	}
	if err := notMoved(p.Dir); err != nil {
		return nil, err
	}
	return openFolder(p.Dir, onlyLook)
}

func (h *home) close() error { return errors.Join(h.engine.Close(), h.left()) }

// finishErasing compacts the store where something was erased, at least that long ago. In a database that waits for
// whoever still reads there, and what was committed before it stays: the same action again finds out.
func (h *home) finishErasing(age time.Duration) error {
	err := h.compact(h.engine, age)
	switch {
	case err != nil && h.shared():
		return fmt.Errorf("erase: %w: %w", store.ErrUncertain, err)
	case err != nil:
		return fmt.Errorf("erase: %w", err)
	}
	return nil
}

// agree holds a ledger against the place that it lies in: its key, and the kept checkpoint.
func (h *home) agree(s *record.State) error {
	if h.key != nil && !s.ServerKey().Equal(h.key.Public()) {
		return errors.Join(s.Err(), errors.New("the server key is not the one that the ledger names"))
	}
	return h.follows(s)
}
