package client

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/record"
)

// pending is an action that was signed and whose answer has not come: a folder of its own, written
// and synced before a byte of it is sent.
type pending struct {
	id       string // request id
	envelope []byte
	openings []*recordv1.Opening
	blobs    blobs
	damage   error // what the disk did to it since: it can be looked for, and not sent
}

const (
	envelopeFile = "envelope.json"
	openingsFile = "openings.pb"
)

func (h *Home) pendingPath(id string) string { return filepath.Join(h.path(pendingDir), id) }

// put writes a pending action whole, under its request id.
func (h *Home) put(p *pending) (err error) {
	defer Unfinished()()
	openings, err := proto.Marshal(&recordv1.OpeningList{Openings: p.openings})
	if err != nil {
		return err
	}
	if err := os.MkdirAll(h.path(pendingDir), 0o700); err != nil {
		return err
	}
	dir, err := os.MkdirTemp(h.path(pendingDir), ".new-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("nothing was sent: %w", err), os.RemoveAll(dir))
		}
	}()
	files := map[string][]byte{envelopeFile: p.envelope, openingsFile: openings}
	for sum, b := range p.blobs {
		files[sum] = b.bytes
	}
	for name, b := range files {
		if err := store.WriteSynced(filepath.Join(dir, name), b); err != nil {
			return err
		}
	}
	if err := store.SyncFolder(dir); err != nil {
		return err
	}
	if err := os.Rename(dir, h.pendingPath(p.id)); err != nil {
		return err
	}
	return store.SyncFolder(h.path(pendingDir))
}

// drop removes a pending action: first its name, so that no half of it is ever taken for one.
func (h *Home) drop(id string) error {
	gone := h.pendingPath(".gone-" + id)
	if err := os.Rename(h.pendingPath(id), gone); err != nil {
		return err
	}
	return os.RemoveAll(gone)
}

// pendings reads what is pending, and removes what never became whole. The acting lock must be held.
func (h *Home) pendings() (out []*pending, err error) {
	dirs, err := os.ReadDir(h.path(pendingDir))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	for _, d := range dirs {
		if strings.HasPrefix(d.Name(), ".") {
			err = errors.Join(err, os.RemoveAll(h.pendingPath(d.Name())))
			continue
		}
		p, readErr := h.pending(d.Name())
		if err = errors.Join(err, readErr); readErr == nil {
			out = append(out, p)
		}
	}
	return out, err
}

func (h *Home) pending(id string) (*pending, error) {
	p := &pending{id: id, blobs: blobs{}}
	files, err := os.ReadDir(h.pendingPath(id))
	for _, f := range files {
		b, readErr := ReadBounded(filepath.Join(h.pendingPath(id), f.Name()), MaxFile)
		if err = errors.Join(err, readErr); err != nil {
			return nil, err
		}
		switch f.Name() {
		case envelopeFile:
			p.envelope = b
		case openingsFile:
			var list recordv1.OpeningList
			if err := proto.Unmarshal(b, &list); err != nil {
				p.damage = fmt.Errorf("%s holds no openings", f.Name())
			}
			p.openings = list.GetOpenings()
		default:
			if HashHex(b) != f.Name() {
				p.damage = fmt.Errorf("%s is not what its name says", f.Name())
			}
			p.blobs[f.Name()] = blob{"what was signed before", b}
		}
	}
	return p, err
}

// Resume settles what was signed and got no answer: it is looked for in the ledger, and else sent
// again, as it was. What becomes of it is said.
func (c *Client) Resume(ctx context.Context) error {
	if dirs, err := os.ReadDir(c.own.home.path(pendingDir)); len(dirs) == 0 {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	}
	unlock, err := c.own.home.acting(ctx)
	if err != nil {
		return err
	}
	defer unlock()
	if err := c.Sync(ctx); err != nil {
		return err
	}
	return c.settlePending(ctx)
}

// settlePending needs the acting lock, and a copy that is up to date.
func (c *Client) settlePending(ctx context.Context) error {
	list, err := c.own.home.pendings()
	if err != nil {
		return err
	}
	for _, p := range list {
		what := "action"
		entered, index := false, uint64(0)
		err := c.View(func(s *record.State) error {
			var sum string
			index, sum, entered = s.Request(p.id)
			signed, err := s.Open(p.envelope)
			if err != nil {
				return nil // damaged, or by a key that is no longer known: if it is no entry, sending it again says so
			}
			what = strings.ReplaceAll(signed.Kind, "_", "-")
			entered = entered && sum == HashHex(p.envelope)
			return nil
		})
		if err != nil {
			return err
		}
		switch {
		case entered:
			err = c.own.home.drop(p.id)
		case p.damage != nil:
			err = fmt.Errorf("its files are damaged, and it is not in the ledger: %w", p.damage)
		default:
			index, err = c.deliver(ctx, p)
		}
		switch {
		case err == nil:
			c.tell(fmt.Sprintf("the %s that you signed earlier and got no answer for is entry %d", what, index))
		case KindOf(err) == Refused:
			c.tell(fmt.Sprintf("the %s that you signed earlier was not entered: %s", what, OneLine(err.Error())))
		default:
			return &Error{Op: "the " + what + " that you signed earlier", Kind: KindOf(err), Err: err,
				Try: "again later; to give it up remove " + c.own.home.pendingPath(p.id)}
		}
	}
	return nil
}

// deliver sends a pending action, and is content once the copy holds it byte for byte. One that was
// refused is not pending any more; one without an answer is.
func (c *Client) deliver(ctx context.Context, p *pending) (uint64, error) {
	admitted, err := c.send(ctx, p)
	if err != nil {
		if KindOf(err) == Refused || isLate(err) {
			return 0, errors.Join(err, c.own.home.drop(p.id))
		}
		return 0, err
	}
	if err := c.Sync(ctx); err != nil {
		return 0, err
	}
	index := admitted.GetIndex()
	err = c.own.view(func(tx store.ReadTx) error {
		entry, err := tx.Entry(index)
		if errors.Is(err, store.ErrNotFound) || err == nil && !bytes.Equal(entry, admitted.GetEntry()) {
			return distrust("the server says that entry %d was admitted, and the ledger does not hold it", index)
		}
		if err != nil {
			return err
		}
		envelope, _, err := record.EnvelopeOf(entry)
		if err != nil || !bytes.Equal(envelope, p.envelope) {
			return distrust("entry %d is not what was signed", index)
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	return index, c.own.home.drop(p.id)
}

// isLate says that something happened between deciding and entering: the action is to be made anew.
func isLate(err error) bool { return errors.Is(err, errBusy) || reasonOf(err) == record.ReasonActsOn }
