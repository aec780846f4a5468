package server

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/claims"
	"witnessmark/store/memory"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// Checked is what Check looked at and what it found.
type Checked struct {
	Entries, Blobs uint64
	Passed         uint64 // actions whose claims were not made again, since they rest on what was erased
	Earlier        uint64 // actions whose claims are by earlier rules of comparing, held to their own reports
	Fingerprint    string
	Head           string   // SIZE:ROOT, as people compare it
	At             string   // when the last entry was admitted, RFC 3339 in UTC
	NoKey          bool     // the server's key is not in the folder, if there is one: nobody can serve from it
	Found          []string // one line each; empty where all is well
}

func (out *Checked) found(format string, args ...any) {
	out.Found = append(out.Found, fmt.Sprintf(format, args...))
}

// Check makes everything of a ledger again: every entry is judged by the rules and every
// claim about bytes recomputed, every blob read, every tree hash and every document made again and
// compared, and all of it held against the checkpoint beside the store, where there is one. It writes nothing,
// and does not need the server's key. An error means that it could not look at all.
func (p Place) Check() (*Checked, error) {
	h, err := p.open(true)
	if err != nil {
		return nil, err
	}
	out, err := checkStore(h.engine)
	if err == nil {
		out.NoKey = h.key == nil
		if err := h.pages(); err != nil {
			out.found("%v", err)
		}
	}
	if err == nil && out.Entries > 0 {
		err = record.View(h.engine, func(s *record.State) error {
			if err := h.agree(s); err != nil {
				out.found("%v", err)
			}
			return nil
		})
	}
	return out, errors.Join(err, h.close())
}

// checking is a store, and beside it the one that is made again from its entries.
type checking struct {
	*Checked
	kept   store.ReadTx
	made   store.WriteTx
	claims *claims.Computer
	past   *claims.Past
	parts  map[string]func(*checking) error
}

// parts are what is looked at once all entries were admitted again; each finds what no other does.
var parts = map[string]func(*checking) error{
	"tree": (*checking).hashes, "blobs": (*checking).blobs, "blobs of nobody": (*checking).strangers,
	"documents": (*checking).documents, "missing documents": (*checking).missing, "sum": (*checking).sum,
}

// checkStore checks a store by itself.
func checkStore(e store.Engine) (*Checked, error) { return checkParts(e, parts) }

// checkParts makes its copy of the store in memory, in one transaction.
func checkParts(e store.Engine, parts map[string]func(*checking) error) (*Checked, error) {
	out := &Checked{}
	return out, e.View(func(tx store.ReadTx) error {
		return memory.New().Update(func(w store.WriteTx) error {
			c := &checking{Checked: out, kept: tx, made: w, claims: claims.New(), parts: parts}
			c.past = claims.LookBack(c, record.Read(tx))
			return c.all()
		})
	})
}

func (c *checking) all() (err error) {
	if c.Entries, err = c.kept.Entries(); err != nil {
		return err
	}
	if c.Entries == 0 {
		c.found("the store has no entries")
		return nil
	}
	for i := range c.Entries {
		if ok, err := c.entry(i); err != nil || !ok {
			return err // what follows rests on it
		}
	}
	s := record.Read(c.made)
	if s.Unapplied() {
		c.found("entry %d is of a kind that this version does not know; check with a newer one", s.Head().GetApplied())
	}
	if c.Fingerprint, err = fingerprintOf(s.GenesisSHA256()); err != nil {
		return err
	}
	c.Head = headOf(s)
	if c.At, err = s.AdmittedAt(c.Entries - 1); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(c.parts)) {
		if err := c.parts[name](c); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return s.Err()
}

// headOf is how far a ledger goes, as people compare it.
func headOf(s *record.State) string {
	root := s.Root(s.Size())
	return fmt.Sprintf("%d:%x", s.Size(), root[:])
}

// checkFile checks a store that is not in its place yet, which has no faults unless it may have some, and
// lets fn look at what it says.
func checkFile(path string, mayHave bool, fn func(store.ReadTx, *record.State) error) (*Checked, error) {
	engine, err := bolt.OpenReadOnly(path)
	if err != nil {
		return nil, err
	}
	out, err := checkStore(engine)
	if err == nil {
		if err := engine.CheckSpace(); err != nil {
			out.found("%v", err)
		}
		if len(out.Found) > 0 && !mayHave {
			err = fmt.Errorf("it has %d faults: %s", len(out.Found), out.Found[0])
		}
	}
	if err == nil {
		err = engine.View(func(tx store.ReadTx) error {
			s := record.Read(tx)
			return errors.Join(fn(tx, s), s.Err())
		})
	}
	return out, errors.Join(err, engine.Close())
}

// entry judges one entry, makes its claims again, and adds it; false if the rules refuse it.
func (c *checking) entry(index uint64) (ok bool, err error) {
	told, err := record.Told(c.kept, index)
	if err != nil {
		return false, fmt.Errorf("entry %d: %w", index, err)
	}
	s := record.Write(c.made)
	o, err := record.Judge(s, told.GetEntry())
	switch {
	case errors.Is(err, record.ErrUnknownKind):
		o, err = &record.Opened{Entry: told.GetEntry()}, nil
	case err == nil && o.Signed != nil:
		c.past.Next(o.Signed.Action)
		c.claimed(index, o.Signed.Action, told.GetOpenings())
	}
	if err == nil {
		err = record.CheckOpenings(o, told.GetOpenings())
	}
	if err != nil {
		c.found("entry %d: %v", index, err)
		return false, s.Err()
	}
	_, err = s.Apply(o, told.GetOpenings())
	return true, errors.Join(err, s.Finish())
}

// claimed makes an action's claims again. Bytes that are missing are said by blobs.
func (c *checking) claimed(index uint64, a *recordv1.Action, openings []*recordv1.Opening) {
	made, err := c.claims.Check(c.past, a, openings)
	switch {
	case errors.Is(err, claims.ErrErased) || err == nil && made.Forgotten:
		c.Passed++
	case err == nil && made.Earlier:
		c.Earlier++
	case err != nil:
		c.found("entry %d: %v", index, err)
	}
}

// View and Blob make it what claims are made from: the record as it was then, and what is left of the
// bytes now.
func (c *checking) View(fn func(*record.State) error) error {
	s := record.Read(c.made)
	return errors.Join(fn(s), s.Err())
}

func (c *checking) Blob(what string, sha image.Hash) ([]byte, error) {
	data, err := store.GetBlob(c.kept, string(sha))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	return data, nil
}

// hashes compares every stored tree hash.
func (c *checking) hashes() error {
	for i := range tlog.StoredHashIndex(0, int64(c.Entries)) {
		want, err := c.made.Hash(i)
		if err != nil {
			return err
		}
		if got, err := c.kept.Hash(i); err != nil || got != want {
			c.found("tree hash %d is not that of the entries", i)
		}
	}
	return nil
}

// blobs reads whatever entries name and was not erased.
func (c *checking) blobs() error {
	for sha := range c.past.Named {
		_, err := store.GetBlob(c.kept, sha)
		switch erased := c.past.Gone(sha); {
		case err != nil && !(erased && errors.Is(err, store.ErrNotFound)):
			c.found("%v", err)
		case err == nil && erased:
			c.found("blob %s was erased, and is still there", sha)
		case err == nil:
			c.Blobs++
		}
	}
	return nil
}

// strangers finds blobs that no entry names.
func (c *checking) strangers() error {
	return c.kept.Blobs(func(sha string, _ []byte) (bool, error) {
		if _, ok := c.past.Named[sha]; !ok {
			c.found("blob %s is named by no entry", sha)
		}
		return true, nil
	})
}

// documents compares every document that is there. Keys are not told: some hold plates and frame numbers.
func (c *checking) documents() error {
	differ := map[string]int{}
	err := c.kept.Documents(func(kind, key string, value []byte) (bool, error) {
		if made, err := c.made.Document(kind, key); err != nil || !bytes.Equal(made, value) {
			differ[kind]++
		}
		return true, nil
	})
	c.foundOf(differ, "are not what the entries make them")
	return err
}

// missing looks for every document that should be there.
func (c *checking) missing() error {
	lack := map[string]int{}
	err := c.made.Documents(func(kind, key string, _ []byte) (bool, error) {
		if _, err := c.kept.Document(kind, key); err != nil {
			lack[kind]++
		}
		return true, nil
	})
	c.foundOf(lack, "are missing")
	return err
}

func (c *checking) foundOf(counts map[string]int, what string) {
	for _, kind := range slices.Sorted(maps.Keys(counts)) {
		c.found("documents of kind %s: %d %s", kind, counts[kind], what)
	}
}

// sum holds the documents against the sum that is kept over them.
func (c *checking) sum() error {
	if damaged := store.CheckSum(c.kept); damaged != nil {
		c.found("%v", damaged)
	}
	return nil
}
