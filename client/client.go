package client

import (
	"cmp"
	"crypto"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"sync/atomic"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/tables/image"
)

// Progress is told that size bytes of what are about to move, and answers with what is called for
// each part that did. A nil Progress watches nothing.
type Progress func(what string, size int64) (moved func(n int))

// Client is one person's side: what it answers was verified against the ledger, of which it keeps
// a copy. Safe for concurrent use.
type Client struct {
	own    *ownCopy
	signer crypto.Signer
	link   *link
	claims *claims.Computer

	// Progress, Say and Detail may be set before the first call. Say is told, in one line each, what
	// nobody asked for: what became of an action whose answer was lost, and a copy that was damaged.
	// Detail is told what only somebody who looks for a fault wants to know: which of the server's
	// addresses answers, and which does not.
	Progress Progress
	Say      func(line string)
	Detail   func(line string)

	// Silent are the addresses that did not answer at Login, each with why.
	Silent []string

	// Before is the folder where Login set aside what was here of the ledger that this one goes on from.
	Before string

	reached atomic.Bool // by the last Sync
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
	pinned, err := config.serverKey()
	if err != nil {
		return nil, usage("log in again", "%s: %v", home.path(configFile), err)
	}
	return newClient(home, config, signer, pinned)
}

func newClient(home *Home, config Config, signer crypto.Signer, pinned ed25519.PublicKey) (*Client, error) {
	c := &Client{signer: signer, claims: claims.New()}
	c.own = &ownCopy{home: home, config: config, say: c.tell}
	last := home.answered()
	var err error
	if c.link, err = dial(config.Server, last, signer, pinned); err != nil {
		return nil, err
	}
	c.link.told = func(line string) {
		if c.Detail != nil {
			c.Detail(line)
		}
	}
	c.link.used = func(addr string) {
		if len(c.link.roads) > 1 && addr != last {
			last = addr
			home.answers(addr)
		}
	}
	return c, nil
}

func (c *Client) tell(line string) {
	if c.Say != nil {
		c.Say(line)
	}
}

// Close ends the connections.
func (c *Client) Close() error { return c.link.close() }

// View runs fn on what the copy says, without the server. fn must not keep the state, or call the
// client.
func (c *Client) View(fn func(*record.State) error) error { return c.own.state(fn) }

// look is View for whoever wants one thing.
func look[T any](c *Client, fn func(*record.State) (T, error)) (out T, err error) {
	err = c.View(func(s *record.State) (err error) {
		out, err = fn(s)
		return err
	})
	return out, err
}

// HashHex is a SHA-256 as the ledger writes it.
func HashHex(b []byte) string { return string(image.HashOf(b)) }

// Key is the person's own public key.
func (c *Client) Key() ed25519.PublicKey { return c.signer.Public().(ed25519.PublicKey) }

// Me is the person whose key this is, as the ledger knows them.
func (c *Client) Me() (*recordv1.Person, error) { return look(c, c.meIn) }

func (c *Client) meIn(s *record.State) (*recordv1.Person, error) { return personOf(s, c.Key()) }

func personOf(s *record.State, key ed25519.PublicKey) (*recordv1.Person, error) {
	id := signoff.Fingerprint(key)
	p, ok := s.PersonByKey(id)
	if !ok {
		return nil, refused("%s", cmp.Or(s.KeyEnded(id), "the key "+string(id)+" is not enrolled"))
	}
	return p, nil
}

// OnePerson says whether the genesis lets authors sign their own, as far as the copy can be read.
func (c *Client) OnePerson() bool {
	one, err := look(c, func(s *record.State) (bool, error) { return s.Genesis().GetOnePerson(), nil })
	return one && err == nil
}

// Fingerprint is the genesis in the form that init prints.
func (c *Client) Fingerprint() string { return fingerprintOf(c.own.config.Genesis) }

// Server is where the server is: HOST:PORT, or several with commas.
func (c *Client) Server() string { return c.own.config.Server }

// serverKey is the key that the pinned genesis names.
func (c Config) serverKey() (ed25519.PublicKey, error) {
	return signoff.ParsePublicKey("the server's key", []byte(c.ServerKey))
}

func fingerprintOf(genesis string) string {
	b, err := hex.DecodeString(genesis)
	if err != nil || len(b) != sha256.Size {
		return ""
	}
	return signoff.HashFingerprint([sha256.Size]byte(b))
}

// now is the signer's claim of the time; nothing is decided by it.
func now() string { return time.Now().UTC().Format(time.RFC3339) }
