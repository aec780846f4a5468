package server

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/ledger"
)

// Checked is what Check looked at and what it found.
type Checked struct {
	Entries, Blobs uint64
	Fingerprint    string
	Found          []string // one line each; empty where all is well
}

// Check rebuilds everything from a server's folder: every entry is judged again by the rules
// and every claim about bytes recomputed, every blob hashed, every tree hash made again, and
// all of it held against the checkpoints inside and beside the store. It writes nothing to
// the record. An error means that it could not look at all.
func Check(dir string) (*Checked, error) {
	f, err := openFolder(dir, true)
	if err != nil {
		return nil, err
	}
	out := &Checked{}
	c := &core{
		engine: f.engine, key: f.key, log: slog.New(slog.DiscardHandler), now: time.Now,
		cache: newCache(), committed: newHistory(),
	}
	err = c.check(out, f.kept)
	return out, errors.Join(err, f.engine.Close())
}

func (out *Checked) found(format string, args ...any) {
	out.Found = append(out.Found, fmt.Sprintf(format, args...))
}

func (c *core) check(out *Checked, kept []byte) error {
	h := c.committed
	blobs := map[string]bool{}
	err := entriesOf(c.engine, func(index uint64, entry []byte) error {
		out.Entries++
		if index == 0 {
			sum := sha256.Sum256(entry)
			c.genesis = hex.EncodeToString(sum[:])
		}
		c.checkEntry(out, index, entry, blobs)
		return nil
	})
	if err != nil {
		return err
	}
	if h.state.Genesis == nil {
		out.found("the store has no genesis")
		return nil
	}
	out.Fingerprint, err = fingerprintOf(h.state.GenesisSHA256)
	if err != nil {
		return err
	}
	if !h.state.ServerKey().Equal(c.key.Public()) {
		out.found("the server key is not the one that the ledger names")
	}
	if err := agree(h.state, kept); err != nil {
		out.found("%v", err)
	}
	c.checkHead(out)
	return c.checkHashes(out)
}

// checkEntry judges one entry, recomputes what it claims and applies it. After an entry
// that the rules refuse, later ones are still looked at.
func (c *core) checkEntry(out *Checked, index uint64, entry []byte, blobs map[string]bool) {
	before := len(out.Found)
	action, err := actionOf(c.committed, index, entry)
	if err == nil && action != nil {
		for _, sha := range named(action) {
			if blobs[sha] {
				continue
			}
			blobs[sha] = true
			out.Blobs++
			if _, err := c.stored(sha); err != nil {
				out.found("entry %d: %v", index, err)
			}
		}
		if len(out.Found) == before { // bytes that are not there are said once
			if _, err := c.facts(plain{c.committed.state, c.committed}, action); err != nil {
				out.found("entry %d: %v", index, err)
			}
		}
	}
	if _, err := c.committed.replay(entry); err != nil {
		out.found("%v", err)
		c.committed.apply(entry, nil)
	}
}

// checkHead holds the checkpoint inside the store against its entries.
func (c *core) checkHead(out *Checked) {
	st := c.committed.state
	note, err := headOf(c.engine)
	if err != nil {
		out.found("the checkpoint inside the store: %v", err)
		return
	}
	cp, err := ledger.OpenCheckpoint(note, ledger.Origin(st.GenesisSHA256), st.ServerKey())
	switch {
	case err != nil:
		out.found("the checkpoint inside the store: %v", err)
	case cp.Size != st.Size:
		out.found("the checkpoint inside the store is of %d entries; the store has %d", cp.Size, st.Size)
	case cp.Root != st.Roots[cp.Size]:
		out.found("the checkpoint inside the store has another root than its entries")
	}
}

// checkHashes makes every stored tree hash again.
func (c *core) checkHashes(out *Checked) error {
	var fresh ledger.Tree
	return entriesOf(c.engine, func(index uint64, entry []byte) error {
		_, stored, first := fresh.Append(entry)
		return c.engine.View(func(tx store.ReadTx) error {
			for i, want := range stored {
				got, err := tx.Hash(first + int64(i))
				if err != nil && !errors.Is(err, store.ErrNotFound) {
					return fmt.Errorf("tree hash %d: %w", first+int64(i), err)
				}
				if err != nil || got != tlog.Hash(want) {
					out.found("entry %d: tree hash %d is not that of the entries", index, first+int64(i))
				}
			}
			return nil
		})
	})
}

// actionOf opens an entry against the state before it; nil for the genesis.
func actionOf(h *history, index uint64, entry []byte) (*recordv1.Action, error) {
	if index == 0 {
		return nil, nil
	}
	signed, err := openEntry(h, entry)
	if err != nil {
		return nil, err
	}
	return signed.Action, nil
}

// named lists the blobs that an action brings into the record.
func named(a *recordv1.Action) []string {
	var out []string
	add := func(shas ...string) {
		for _, s := range shas {
			if s != "" {
				out = append(out, s)
			}
		}
	}
	switch b := a.GetBody().(type) {
	case *recordv1.Action_Definition:
		add(b.Definition.GetRevision().GetSha256())
	case *recordv1.Action_Limits:
		add(b.Limits.GetRevision().GetSha256())
	case *recordv1.Action_Read:
		add(b.Read.GetImage().GetSha256(), b.Read.GetCheck().GetReportSha256(), b.Read.GetLastKnown().GetReportSha256())
	case *recordv1.Action_Submission:
		add(b.Submission.GetImage().GetSha256(), b.Submission.GetJudgement().GetReportSha256())
	case *recordv1.Action_SignOff:
		add(b.SignOff.GetJudgement().GetReportSha256())
	case *recordv1.Action_Collect:
		add(b.Collect.GetJudgement().GetReportSha256())
	case *recordv1.Action_ReadBack:
		add(b.ReadBack.GetImage().GetSha256(), b.ReadBack.GetReportSha256())
	case *recordv1.Action_Run:
		add(b.Run.GetFileSha256(), b.Run.GetChannelsSha256())
	}
	return out
}
