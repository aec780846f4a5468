package client

import (
	"context"
	"crypto/ed25519"
	"path/filepath"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/signoff"
)

// Login pins a ledger: confirm is shown the genesis' fingerprint and says whether it is the one that
// init printed. Nothing is kept unless the whole ledger verifies from there.
func Login(ctx context.Context, home *Home, addr, keyPath string, ask Passphrase, confirm func(fingerprint string) error) (*Client, error) {
	keyPath, err := filepath.Abs(keyPath)
	if err != nil {
		return nil, err
	}
	signer, err := LoadSigner(keyPath, ask)
	if err != nil {
		return nil, err
	}
	c := &Client{home: home, config: Config{Server: addr, Key: keyPath}, signer: signer}
	if err := c.connect(nil); err != nil {
		return nil, err
	}
	if err := c.pin(ctx, confirm); err != nil {
		_ = c.Close()
		return nil, err
	}
	return c, nil
}

func (c *Client) pin(ctx context.Context, confirm func(string) error) error {
	short, cancel := context.WithTimeout(ctx, callTimeout)
	defer cancel()
	r, err := c.ledger.GetGenesis(short, &servicev1.GetGenesisRequest{})
	if err != nil {
		return c.link.fault(err)
	}
	if _, err := genesisKey(r.Entry); err != nil {
		return err
	}
	c.config.Genesis = genesisHash(r.Entry)
	if err := confirm(c.Fingerprint()); err != nil {
		return err
	}
	if old, err := c.home.Config(); err == nil && old.Genesis != c.config.Genesis {
		return usage("use another WITNESSMARK_HOME for another ledger", "%s belongs to the ledger %s", c.home.Dir, fingerprintOf(old.Genesis))
	}
	c.mu.Lock()
	err = c.load()
	c.mu.Unlock()
	if err != nil {
		return err
	}
	// Whether the key of this connection is the server's, the ledger says.
	if err := c.Sync(ctx); err != nil {
		return err
	}
	if _, err := c.Me(); err != nil {
		return err
	}
	return c.home.saveConfig(c.config)
}

func genesisKey(entry []byte) (ed25519.PublicKey, error) {
	var e recordv1.Entry
	if err := proto.Unmarshal(entry, &e); err != nil || e.GetGenesis() == nil {
		return nil, distrust("the server's entry 0 is not a genesis")
	}
	key, err := signoff.ParsePublicKey("genesis", []byte(e.GetGenesis().ServerKey))
	if err != nil {
		return nil, distrust("the genesis names no server key: %v", err)
	}
	return key, nil
}
