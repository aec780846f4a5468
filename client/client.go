package client

import (
	"crypto"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"sync"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// Progress is told that size bytes of what are about to move, and answers with what is called for
// each part that did. A nil Progress watches nothing.
type Progress func(what string, size int64) (moved func(n int))

// Client is one person's side: what it answers was verified against the ledger, whose entries it
// mirrors. Safe for concurrent use.
type Client struct {
	home    *Home
	config  Config
	signer  crypto.Signer
	link    *link
	jobs    servicev1.JobsClient
	catalog servicev1.CatalogClient
	people  servicev1.PeopleClient
	blobs   servicev1.BlobsClient
	ledger  servicev1.LedgerClient

	// Progress may be set before the first call.
	Progress Progress

	mu      sync.Mutex
	state   *record.State // nil until loaded, and after a failed sync
	entries [][]byte      // what state was made of
	head    Head
}

// Open reads a person's folder and opens their key. It does not wait for the server.
func Open(home *Home, ask Passphrase) (*Client, error) {
	config, err := home.Config()
	if err != nil {
		return nil, err
	}
	signer, err := LoadSigner(config.Key, ask)
	if err != nil {
		return nil, err
	}
	c := &Client{home: home, config: config, signer: signer}
	if err := c.load(); err != nil {
		return nil, err
	}
	if c.state.Genesis == nil {
		return nil, usage("log in again", "%s holds no ledger", home.Dir)
	}
	return c, c.connect(c.state.ServerKey())
}

func (c *Client) connect(pinned ed25519.PublicKey) error {
	l, err := dial(c.config.Server, c.signer, pinned)
	if err != nil {
		return err
	}
	c.link = l
	c.jobs = servicev1.NewJobsClient(l.conn)
	c.catalog = servicev1.NewCatalogClient(l.conn)
	c.people = servicev1.NewPeopleClient(l.conn)
	c.blobs = servicev1.NewBlobsClient(l.conn)
	c.ledger = servicev1.NewLedgerClient(l.conn)
	return nil
}

// Close ends the connection.
func (c *Client) Close() error {
	if c.link == nil {
		return nil
	}
	return c.link.conn.Close()
}

// load rebuilds the state from the mirror, up to the head. c.mu must be held, or c not yet shared.
func (c *Client) load() error {
	unlock, err := c.home.lock()
	if err != nil {
		return err
	}
	defer unlock()
	return c.loadLocked()
}

func (c *Client) loadLocked() error {
	head, err := c.home.head()
	if err != nil {
		return err
	}
	entries, _, err := c.home.readMirror()
	if err != nil {
		return err
	}
	// What lies beyond the head was never taken over: a power cut came between.
	if uint64(len(entries)) > head.Size {
		entries = entries[:head.Size]
	}
	if uint64(len(entries)) == head.Size && len(entries) > 0 {
		root, err := rootOf(entries)
		if err != nil {
			return err
		}
		if hex.EncodeToString(root[:]) != head.Root {
			entries = nil // the file was damaged: all of it is fetched, and judged, again
		}
	}
	if len(entries) > 0 && c.config.Genesis != "" && genesisHash(entries[0]) != c.config.Genesis {
		return distrust("%s begins with another ledger than the one you logged in to", c.home.path("entries"))
	}
	state, judged, err := grow(entries, head.Judged)
	if err != nil {
		return err
	}
	head.Judged = judged
	c.state, c.entries, c.head = state, entries, head
	return nil
}

// genesisHash is the SHA-256 of entry 0, hex.
func genesisHash(entry []byte) string { return HashHex(entry) }

// HashHex is a SHA-256 as the ledger writes it.
func HashHex(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

// Key is the person's own public key.
func (c *Client) Key() ed25519.PublicKey { return c.signer.Public().(ed25519.PublicKey) }

// Me is the person whose key this is, as the ledger knows them.
func (c *Client) Me() (*recordv1.Person, error) {
	p, ok := c.view().PersonByKey(signoff.Fingerprint(c.Key()))
	if !ok {
		return nil, refused("the key %s is not enrolled", signoff.Fingerprint(c.Key()))
	}
	return p, nil
}

// Fingerprint is the genesis in the form that init prints.
func (c *Client) Fingerprint() string { return fingerprintOf(c.config.Genesis) }

// Server is where the server is.
func (c *Client) Server() string { return c.config.Server }

func fingerprintOf(genesis string) string {
	b, err := hex.DecodeString(genesis)
	if err != nil || len(b) != sha256.Size {
		return ""
	}
	return signoff.HashFingerprint([sha256.Size]byte(b))
}

// view is the state as last verified. It is replaced and never changed, so it may be kept.
func (c *Client) view() *record.State {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.state == nil {
		return new(record.State)
	}
	return c.state
}

// trusted is the state, unless the ledger holds what this program does not know.
func (c *Client) trusted() (*record.State, error) {
	s := c.view()
	if s.Unknown {
		return nil, upgrade("the ledger holds an entry of a kind that this witnessmark does not know")
	}
	return s, nil
}

// errUnknown tells an entry of an unknown kind apart from a wrong one.
func isUnknown(err error) bool { return errors.Is(err, signoff.ErrUnknownKind) }

// now is the signer's claim of the time; nothing is decided by it.
func now() string { return time.Now().UTC().Format(time.RFC3339) }
