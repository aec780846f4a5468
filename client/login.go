package client

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// Login pins a ledger: confirm is shown the genesis' fingerprint and says whether it is the one that
// init printed. Nothing is kept unless the whole ledger verifies from there, and had, where seen is not
// empty, at SIZE entries the ROOT that somebody else has seen.
func Login(ctx context.Context, home *Home, addr, keyPath string, ask Passphrase, confirm func(fingerprint string) error, seen string) (*Client, error) {
	keyPath, err := filepath.Abs(keyPath)
	if err != nil {
		return nil, err
	}
	given, err := parseHead(seen)
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
	if err := c.pin(ctx, confirm, given); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return c, nil
}

func (c *Client) pin(ctx context.Context, confirm func(string) error, given Head) error {
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
	err = c.View(func(s *record.State) error {
		if root := s.Root(given.Size); given.Size > 0 && hex.EncodeToString(root[:]) != given.Root {
			return &Error{Kind: Distrust, Text: fmt.Sprintf("the server's ledger of %d entries is not the one whose head you were given, %d:%s", s.Size(), given.Size, given.Root),
				Try: "nothing was kept; ask the lead and whoever gave you the head which ledger is the workshop's"}
		}
		_, err := c.meIn(s)
		return err
	})
	if err != nil {
		return err
	}
	return home.writeJSON(configFile, config)
}

// parseHead reads SIZE:ROOT; of nothing it is the zero Head.
func parseHead(text string) (h Head, err error) {
	if text == "" {
		return h, nil
	}
	size, root, _ := strings.Cut(text, ":")
	h.Root = root
	h.Size, err = strconv.ParseUint(size, 10, 64)
	if _, bad := image.ParseHash(root); bad != nil || err != nil || h.Size == 0 {
		err = usage("witnessmark ledger head, on a colleague's machine, prints one", "%.100q is no head; allowed: SIZE:ROOT", text)
	}
	return h, err
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
