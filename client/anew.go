package client

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
)

// beforeDir, with the beginning of a genesis, is where a home keeps what it had of a ledger that another one goes on from.
const beforeDir = "before-"

// begunAnew asks the server at an address, whose key is not the one pinned for its genesis. Where that says that it goes on from the pinned
// ledger, that is said, and nothing taken over: what a genesis says of another ledger anybody can write.
func (c *Client) begunAnew(ctx context.Context, addr string) error {
	l, err := dial(addr, "", c.signer, nil)
	if err != nil {
		return nil
	}
	defer l.close()
	raw, g, err := fetchGenesis(ctx, l)
	if err != nil || g.GetContinues().GetGenesis() != c.own.config.Genesis {
		return nil
	}
	return &Error{Kind: Distrust, Text: fmt.Sprintf("this server's ledger is %s, which says that it goes on from yours at %d entries", fingerprintOf(HashHex(raw)), g.GetContinues().GetSize()),
		Try: fmt.Sprintf("if the lead began it anew, and by the lead's word this is its fingerprint, log in anew: witnessmark login %s --key %s", c.own.config.Server, c.own.config.Key)}
}

// goesOn refuses a ledger that says that it goes on from the one pinned, and leaves out what was seen of that.
func (o *ownCopy) goesOn(old *recordv1.Continues) error {
	head, err := o.head()
	if err != nil {
		return err
	}
	lost := &Error{Kind: Distrust, Try: "show the lead your witnessmark ledger head; to go with the new ledger all the same use another WITNESSMARK_HOME"}
	switch {
	case old.GetSize() < head.Size:
		lost.Text = fmt.Sprintf("the new ledger goes on from %d entries of the old one, and you have seen %d", old.GetSize(), head.Size)
		return lost
	case old.GetSize() == head.Size && old.GetRoot() != head.Root:
		lost.Text = fmt.Sprintf("the new ledger goes on from another one than you have seen: two roots for %d entries", head.Size)
		return lost
	}
	return nil
}

// setBefore moves what a home has of its ledger into a folder of that; back undoes it, after whatever came meanwhile is gone.
func (h *Home) setBefore(genesis string) (dir string, back func() error, err error) {
	dir = h.path(beforeDir + short(genesis))
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", nil, err
	}
	of := &Home{Dir: dir}
	move := func(from, to *Home) error {
		unlock, err := h.lock(stepLock)
		if err != nil {
			return err
		}
		defer unlock()
		for _, name := range []string{configFile, headFile, copyFile, pendingDir} {
			if err := os.Rename(from.path(name), to.path(name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
		return store.SyncFolder(h.Dir)
	}
	back = func() error {
		if err := h.dropCopy(); err != nil {
			return err
		}
		return errors.Join(move(of, h), os.Remove(dir))
	}
	if err := move(h, of); err != nil {
		return "", nil, errors.Join(err, back())
	}
	return dir, back, nil
}
