package client

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/record"
)

// ownCopy is a person's copy of the ledger: entries, tree hashes and documents in a file that is
// open, and locked, for as long as one step takes, so that commands and desks share it.
type ownCopy struct {
	home   *Home
	config Config
	say    func(line string)
	// lookedAt is the file as this process left it, after all of its pages were looked at.
	lookedAt atomic.Pointer[fs.FileInfo]
}

// mend is what to do about a copy that cannot be used.
const mend = "witnessmark ledger verify, where the server can be reached: the copy is made again"

// keptDamaged is how many damaged files are kept for somebody to look at.
const keptDamaged = 3

// file is the copy, or the one on its way where there is none yet.
func (o *ownCopy) file() string {
	if path := o.home.path(copyFile); FileExists(path) {
		return path
	}
	return o.home.path(partFile)
}

// mapped is the address space of a copy, more than its file takes for long, and grows by how much that does at a time; in bytes.
const (
	mapped = 256 << 20
	grows  = 32 << 10
)

// use is what a step opens the copy for.
type use int

const (
	looking use = iota // page by page
	relying            // a yes rests on it: every page is looked at
	writing
)

// with opens a file of the copy, locked against everybody else, while fn runs. Before it is written
// to, all of its pages are looked at once by each process, and again when others have written to it.
func (o *ownCopy) with(path string, to use, fn func(*bolt.Engine) error) error {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return damage(fmt.Errorf("%s is %s, and no file: %w", path, irregular(info.Mode()), store.ErrDamaged))
	}
	e, err := bolt.OpenWith(path, bolt.Options{Wait: 2 * time.Second, ReadOnly: to != writing,
		ByPage: to == looking, Unchecked: to == writing && isFile(path, o.lookedAt.Load()), MapSize: mapped, Step: grows})
	if err != nil {
		return damage(err)
	}
	err = fn(e)
	if err = errors.Join(err, e.Close()); err == nil && to != looking {
		var info fs.FileInfo
		if info, err = os.Stat(path); err == nil {
			o.lookedAt.Store(&info)
		}
	}
	return damage(err)
}

// isFile says whether a file is the one that it was, unchanged as far as the system tells.
func isFile(path string, was *fs.FileInfo) bool {
	info, err := os.Stat(path)
	return err == nil && was != nil && os.SameFile(info, *was) && info.Size() == (*was).Size() && info.ModTime().Equal((*was).ModTime())
}

// damage says whose affair it is that stored bytes are not what they were.
func damage(err error) error {
	var e *Error
	if errors.As(err, &e) || !isDamage(err) {
		return err
	}
	return &Error{Kind: Failed, Text: "your own copy of the ledger is damaged", Err: err,
		Try: mend}
}

// isDamage also takes what the copy should hold and does not.
func isDamage(err error) bool {
	return errors.Is(err, store.ErrDamaged) || errors.Is(err, bolt.ErrLayout) || errors.Is(err, store.ErrNotFound)
}

// view runs fn on what the copy's transaction holds. fn must not keep it, or ask for another.
func (o *ownCopy) view(fn func(store.ReadTx) error) error { return o.read(looking, fn) }

func (o *ownCopy) read(to use, fn func(store.ReadTx) error) error {
	unlock, err := o.home.lock(stepLock)
	if err != nil {
		return err
	}
	defer unlock()
	if path := o.home.path(copyFile); FileExists(path) {
		return o.with(path, to, func(e *bolt.Engine) error { return e.View(fn) })
	}
	return &Error{Kind: Failed, Text: "there is no whole copy of the ledger in " + o.home.Dir,
		Try: mend}
}

// state runs fn on what the copy says.
func (o *ownCopy) state(fn func(*record.State) error) error {
	return o.view(func(tx store.ReadTx) error {
		s := record.Read(tx)
		if s.Outdated() {
			return &Error{Kind: Failed, Text: "your copy of the ledger was written by another version", Try: mend}
		}
		if err := fn(s); err != nil && s.Err() == nil {
			return err
		}
		return s.Err()
	})
}

// sound is whole, by the kept head.
func (o *ownCopy) sound() error {
	head, err := o.head()
	if err != nil {
		return err
	}
	return o.whole(head)
}

// whole holds the copy to the head that is kept beside it, and its documents to their sum: nothing
// is answered with yes before that. Its errors are store.ErrDamaged and the system's.
func (o *ownCopy) whole(head Head) error {
	return o.read(relying, func(tx store.ReadTx) error { return holds(tx, head) })
}

func holds(tx store.ReadTx, head Head) error {
	s := record.Read(tx)
	entries, err := tx.Entries()
	if err != nil {
		return err
	}
	root := s.Root(head.Size)
	switch {
	case s.Err() != nil:
		return fmt.Errorf("%w: %w", store.ErrDamaged, s.Err())
	case entries != s.Size() || s.Size() < head.Size:
		return fmt.Errorf("it has %d entries, %d of them in its documents, and the head kept beside it %d: %w", entries, s.Size(), head.Size, store.ErrDamaged)
	case hex.EncodeToString(root[:]) != head.Root:
		return fmt.Errorf("its root at %d entries is not that of the head kept beside it: %w", head.Size, store.ErrDamaged)
	}
	if err := store.CheckSum(tx); err != nil {
		return err
	}
	sum, err := tx.Sum()
	if err == nil && s.Size() == head.Size && hex.EncodeToString(sum[:]) != head.Documents {
		err = fmt.Errorf("its documents are not those that were verified: %w", store.ErrDamaged)
	}
	return err
}

// setAside moves a damaged copy away, so that the next Sync fetches it anew.
func (o *ownCopy) setAside(cause error) error {
	unlock, err := o.home.lock(stepLock)
	if err != nil {
		return err
	}
	defer unlock()
	path := o.home.path(copyFile)
	if !FileExists(path) {
		return nil // somebody else did it meanwhile
	}
	for kept := o.damaged(); len(kept) >= keptDamaged; kept = kept[1:] {
		if err := os.Remove(kept[0]); err != nil {
			return err
		}
	}
	next := o.home.path(damagedFile + time.Now().UTC().Format("20060102T150405.000000000"))
	if err := os.Rename(path, next); err != nil {
		return err
	}
	o.say(fmt.Sprintf("%s: it was moved to %s, and is fetched again", OneLine(cause.Error()), next))
	return store.SyncFolder(o.home.Dir)
}

// damaged are the copies that were set aside, oldest first: their names end with the time.
func (o *ownCopy) damaged() []string {
	kept, _ := filepath.Glob(o.home.path(damagedFile + "*")) // the pattern is well formed
	return kept
}
