package client

import (
	"context"
	"errors"
	"path/filepath"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
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
	c, err := newClient(home, Config{Server: addr, Key: keyPath}, signer, nil)
	if err != nil {
		return nil, err
	}
	if err := c.pin(ctx, confirm); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return c, nil
}

func (c *Client) pin(ctx context.Context, confirm func(string) error) error {
	config, home := &c.own.config, c.own.home
	genesis, err := c.fetchGenesis(ctx)
	if err != nil {
		return err
	}
	var e recordv1.Entry
	if err := proto.Unmarshal(genesis, &e); err != nil || e.GetGenesis() == nil {
		return distrust("the server's entry 0 is not a genesis")
	}
	config.Genesis, config.ServerKey = HashHex(genesis), e.GetGenesis().GetServerKey()
	if err := confirm(c.Fingerprint()); err != nil {
		return err
	}
	// Whether the key of this connection is the server's, the genesis says.
	switch key, err := config.serverKey(); {
	case err != nil:
		return distrust("the genesis names no server key: %v", err)
	case !key.Equal(c.link.key()):
		return distrust("the server's key is not the one that the genesis names")
	}
	if err := c.settled(); err != nil {
		return err
	}
	if err := c.Sync(ctx); err != nil {
		return err
	}
	if _, err := c.Me(); err != nil {
		return err
	}
	return home.writeJSON(configFile, config)
}

// settled refuses a home of another ledger. What a login that came to nothing left is taken away.
func (c *Client) settled() error {
	home := c.own.home
	old, err := home.Config()
	switch {
	case err == nil && old.Genesis != c.own.config.Genesis:
		return usage("use another WITNESSMARK_HOME for another ledger", "%s belongs to the ledger %s", home.Dir, fingerprintOf(old.Genesis))
	case err == nil:
		return nil
	case FileExists(home.path(configFile)):
		return err
	}
	for _, name := range []string{copyFile, partFile, headFile} {
		if err := removed(home.path(name)); err != nil {
			return err
		}
	}
	return nil
}

func (c *Client) fetchGenesis(ctx context.Context) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, callTimeout)
	defer cancel()
	stream, err := c.record.Entries(ctx, &servicev1.EntriesRequest{First: 0, End: 1})
	if err != nil {
		return nil, c.link.fault(err)
	}
	m, err := stream.Recv()
	if err != nil {
		return nil, c.link.fault(err)
	}
	if m.GetFirst() != 0 || len(m.GetEntries()) != 1 {
		return nil, distrust("the server does not show entry 0")
	}
	return m.GetEntries()[0].GetEntry(), nil
}
