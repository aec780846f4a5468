package client

import (
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/record"
)

// stepTime is how long the copy is held at most, so that nobody waits for who catches up.
const stepTime = 200 * time.Millisecond

var (
	// errMoved says that the copy was fetched anew meanwhile, by somebody else.
	errMoved = errors.New("the copy of the ledger was replaced meanwhile; try again")
	// errLacking says that sealed texts are missing.
	errLacking = errors.New("sealed texts are missing")
)

// take admits as many of the entries from first on as one step allows; others may have admitted some
// meanwhile. Next is the entry wanted next; done says that the copy now has the target's root, and
// only then is that written as the head.
func (o *ownCopy) take(t target, first uint64, told []*recordv1.Told) (next uint64, done bool, err error) {
	unlock, err := o.home.lock(stepLock)
	if err != nil {
		return 0, false, err
	}
	defer unlock()
	path := o.file()
	in := &intake{own: o, target: t, part: path == o.home.path(partFile), first: first, told: told, until: time.Now().Add(stepTime)}
	if len(told) == 0 {
		err = in.look(path)
	}
	if err == nil && (len(told) > 0 || in.behind || FileExists(o.home.path(erasingFile))) {
		err = in.write(path)
	}
	if err != nil || !in.done {
		return in.next, false, err
	}
	if in.part {
		if err := os.Rename(path, o.home.path(copyFile)); err != nil {
			return 0, false, err
		}
		if err := store.SyncFolder(o.home.Dir); err != nil {
			return 0, false, err
		}
	}
	head := headOf(t.Checkpoint, t.note, in.sum)
	if in.next > t.Size {
		head.Documents = "" // of a longer ledger, whose head somebody else writes
	}
	return in.next, true, o.advance(head)
}

// intake is one step of catching up.
type intake struct {
	own *ownCopy
	target
	part  bool // the copy is on its way, from nothing
	first uint64
	told  []*recordv1.Told
	until time.Time

	next   uint64
	done   bool
	behind bool // entries are there that an older program did not understand, or documents of another form
	sum    store.Sum
}

// look finds out how far the copy is, and changes nothing.
func (in *intake) look(path string) error {
	if !FileExists(path) {
		return nil
	}
	return in.own.with(path, looking, func(e *bolt.Engine) error {
		return e.View(func(tx store.ReadTx) error {
			s := record.Read(tx)
			if in.behind = s.Outdated() || s.Unapplied(); in.behind {
				return s.Err()
			}
			return in.stand(s, tx)
		})
	})
}

// write opens the copy, new where there is none, for one step.
func (in *intake) write(path string) error {
	if !FileExists(path) {
		e, err := bolt.CreateWith(path, bolt.Options{})
		if err == nil {
			err = e.Close()
		}
		if err != nil {
			return err
		}
	}
	return in.own.with(path, writing, func(e *bolt.Engine) error {
		if err := e.Update(in.update); err != nil {
			return err
		}
		return in.own.compact(e)
	})
}

// update admits entries. It may run again.
func (in *intake) update(w store.WriteTx) error {
	s := record.Write(&erasing{WriteTx: w, home: in.own.home})
	if s.Outdated() {
		var err error
		if s, err = record.Rebuild(w); err != nil {
			return against(s, err)
		}
	}
	if s.Unapplied() {
		if err := errors.Join(in.own.home.mark(), s.CatchUp()); err != nil {
			return against(s, err)
		}
	}
	if s.Size() < in.first {
		return errMoved
	}
	end := in.first + uint64(len(in.told))
	for i := s.Size(); i < end && !time.Now().After(in.until); i++ {
		opened, err := s.Admit(in.told[i-in.first].GetEntry(), in.told[i-in.first].GetOpenings())
		if err != nil {
			return against(s, err)
		}
		if i == 0 && s.GenesisSHA256() != in.own.config.Genesis {
			return distrust("the server's ledger begins with another genesis than the one you logged in to")
		}
		if opened.Signed != nil && opened.Signed.Action.GetErase() != nil {
			if err := in.own.home.mark(); err != nil {
				return err
			}
		}
	}
	if err := s.Finish(); err != nil {
		return err
	}
	return in.stand(s, w)
}

// stand says how far the copy is now, and holds it to both heads before anything of the last part is
// committed.
func (in *intake) stand(s *record.State, tx store.ReadTx) (err error) {
	in.next, in.done = s.Size(), s.Size() >= in.Size
	if !in.part && s.Size() < in.kept.Size {
		return fmt.Errorf("it has %d entries, and the head kept beside it %d: %w", s.Size(), in.kept.Size, store.ErrDamaged)
	}
	if in.done {
		if err := in.check(s); err != nil {
			return err
		}
	}
	in.sum, err = tx.Sum()
	return errors.Join(s.Err(), err)
}

// check compares roots once all entries are here, and asks for texts that are missing.
func (in *intake) check(s *record.State) error {
	root, kept := s.Root(in.Size), s.Root(in.kept.Size)
	switch {
	case s.Err() != nil:
		return s.Err()
	case in.kept.Size > 0 && hex.EncodeToString(kept[:]) != in.kept.Root:
		return distrust("the server shows another ledger than before: it forked within the %d entries you have seen", in.kept.Size)
	case root != in.Root:
		return distrust("the server's entries are not those of its checkpoint, or its ledger forked (%d entries)", in.Size)
	case s.Size() == in.Size && s.Lacking() > 0:
		return errLacking
	}
	return s.Err()
}

// against says that the rules refuse what the server admitted; other errors are our own.
func against(s *record.State, err error) error {
	var r *record.Refusal
	if s == nil || !errors.As(err, &r) {
		return err
	}
	return distrust("the server admitted entry %d against the rules: %v", s.Size(), r)
}

// erasing is a transaction that takes erased bytes out of everything else in the home too.
type erasing struct {
	store.WriteTx
	home *Home
}

// DeleteBlob is called for what an erased job brought.
func (e *erasing) DeleteBlob(sha256 string) error {
	if err := removed(e.home.blob(sha256)); err != nil {
		return err
	}
	return e.WriteTx.DeleteBlob(sha256)
}

// mark notes that the copy's file holds what was deleted until it is compacted.
func (h *Home) mark() error { return store.WriteSynced(h.path(erasingFile), nil) }

// compact has the copy's file hold nothing that was erased.
func (o *ownCopy) compact(e *bolt.Engine) error {
	if !FileExists(o.home.path(erasingFile)) {
		return nil
	}
	if err := e.Compact(); err != nil {
		return err
	}
	for _, path := range append(o.damaged(), o.home.path(erasingFile)) {
		if err := removed(path); err != nil {
			return err
		}
	}
	return nil
}

// discardBeyond removes a copy that holds more than the kept head vouches for.
func (o *ownCopy) discardBeyond(head Head) error {
	size := uint64(0)
	if err := o.state(func(s *record.State) error { size = s.Size(); return nil }); err != nil || size <= head.Size {
		return err
	}
	return o.discard(o.home.path(copyFile))
}
