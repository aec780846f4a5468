package client

import (
	"context"
	"crypto/ed25519"
	"encoding/hex"
	"errors"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
)

// Sync brings the mirror up to the server's newest checkpoint and judges every new entry. The head
// advances only if the checkpoint is signed by the server's key, is no older than the last one,
// has the root of the entries, and each entry is one that the rules admit.
func (c *Client) Sync(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 4*callTimeout)
	defer cancel()
	c.mu.Lock()
	defer c.mu.Unlock()
	unlock, err := c.home.lock()
	if err != nil {
		return err
	}
	defer unlock()
	if err := c.catchUp(); err != nil {
		return err
	}
	note, err := c.ledger.GetCheckpoint(ctx, &servicev1.GetCheckpointRequest{})
	if err != nil {
		return c.link.fault(err)
	}
	cp, signed, err := c.openNote(note.Checkpoint)
	if err != nil {
		return err
	}
	return c.extend(ctx, cp, signed, note.Checkpoint)
}

// catchUp takes over what another command of the same person has verified meanwhile.
func (c *Client) catchUp() error {
	head, err := c.home.head()
	if err != nil {
		return err
	}
	if c.state != nil && head.Size == c.head.Size && head.Root == c.head.Root && uint64(len(c.entries)) == head.Size {
		return nil
	}
	return c.loadLocked()
}

// openNote verifies a checkpoint with the key that the connection showed; whether the ledger says
// that this is the server's key is asked once its entries are here.
func (c *Client) openNote(note []byte) (ledger.Checkpoint, ed25519.PublicKey, error) {
	key := c.link.key()
	cp, err := ledger.OpenCheckpoint(note, ledger.Origin(c.config.Genesis), key)
	if err != nil {
		return cp, nil, distrust("the server's checkpoint does not verify: %v", err)
	}
	if cp.Size < c.head.Size {
		return cp, nil, distrust("the server shows an older ledger: %d entries, and you have seen %d", cp.Size, c.head.Size)
	}
	if cp.Size == c.head.Size && hex.EncodeToString(cp.Root[:]) != c.head.Root {
		return cp, nil, distrust("the server shows another ledger than before: two roots for %d entries", cp.Size)
	}
	return cp, key, nil
}

func (c *Client) extend(ctx context.Context, cp ledger.Checkpoint, key ed25519.PublicKey, note []byte) error {
	fresh, err := c.fetch(ctx, uint64(len(c.entries)), cp.Size)
	if err != nil {
		return err
	}
	all := append(c.entries[:len(c.entries):len(c.entries)], fresh...)
	if err := c.checkRoots(all, cp); err != nil {
		return err
	}
	// The state that others hold is never changed: a new one grows from the entries.
	state, judged := c.state, c.head.Judged
	if len(fresh) > 0 {
		if state, judged, err = grow(all, min(judged, uint64(len(c.entries)))); err != nil {
			return err
		}
	}
	if !state.ServerKey().Equal(key) && !c.state.ServerKey().Equal(key) {
		return distrust("the server's key is not the one that the ledger names")
	}
	next := headOf(cp, note)
	next.Judged = judged
	if len(fresh) > 0 {
		if err := c.home.appendMirror(c.entries, fresh); err != nil {
			return err
		}
	}
	if next.Size != c.head.Size {
		if err := c.home.advance(next); err != nil {
			return err
		}
	}
	c.state, c.entries, c.head = state, all, next
	return nil
}

// checkRoots compares the roots of the entries with the checkpoint's, and with the last head's,
// which differs from what is in memory only where the mirror was damaged and fetched again.
func (c *Client) checkRoots(all [][]byte, cp ledger.Checkpoint) error {
	var t ledger.Tree
	for i, e := range all {
		t.Append(e)
		if uint64(i+1) == c.head.Size && !rootIs(&t, c.head.Size, c.head.Root) {
			return distrust("the server shows another ledger than before: it forked within the %d entries you have seen", c.head.Size)
		}
	}
	if !rootIs(&t, cp.Size, hex.EncodeToString(cp.Root[:])) {
		return distrust("the server's entries are not those of its checkpoint, or its ledger forked (%d entries)", cp.Size)
	}
	return nil
}

func rootIs(t *ledger.Tree, size uint64, want string) bool {
	root, err := t.Root(size)
	return err == nil && hex.EncodeToString(root[:]) == want
}

// grow replays entries and judges those from the first one on that was not judged yet. The answer's
// second part is how many are judged now: from an entry of an unknown kind on nothing can be, until a
// newer version reads the mirror again.
func grow(entries [][]byte, judged uint64) (*record.State, uint64, error) {
	state := new(record.State)
	for i, e := range entries {
		if uint64(i) < judged {
			record.Apply(state, e)
			continue
		}
		_, err := record.Admit(state, e)
		switch {
		case err == nil:
			judged = uint64(i) + 1
		case isUnknown(err):
			record.Apply(state, e)
		default:
			return nil, 0, distrust("the server admitted entry %d against the rules: %v", i, err)
		}
	}
	return state, judged, nil
}

// fetch gets the entries [first, size).
func (c *Client) fetch(ctx context.Context, first, size uint64) ([][]byte, error) {
	var out [][]byte
	for first < size {
		r, err := c.ledger.ListEntries(ctx, &servicev1.ListEntriesRequest{First: first})
		if err != nil {
			return nil, c.link.fault(err)
		}
		if r.First != first || len(r.Entries) == 0 {
			return nil, distrust("the server has a checkpoint of %d entries and does not show entry %d", size, first)
		}
		for _, e := range r.Entries {
			if len(e) > maxEntry {
				return nil, distrust("entry %d is %d bytes long", first, len(e))
			}
			if first < size {
				out = append(out, e)
				first++
			}
		}
	}
	return out, nil
}

// VerifyLedger judges every entry from the genesis on again, after a Sync.
func (c *Client) VerifyLedger(ctx context.Context) (Head, error) {
	if err := c.Sync(ctx); err != nil {
		return Head{}, err
	}
	c.mu.Lock()
	entries, head := c.entries, c.head
	c.mu.Unlock()
	state, _, err := grow(entries, 0)
	if err != nil {
		return Head{}, err
	}
	if state.Unknown {
		return Head{}, upgrade("the ledger holds an entry of a kind that this witnessmark does not know")
	}
	if genesisHash(entries[0]) != c.config.Genesis {
		return Head{}, errors.New("the mirror does not begin with the pinned genesis")
	}
	return head, nil
}
