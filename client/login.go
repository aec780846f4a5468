package client

import (
	"context"
	"crypto"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// Login pins a ledger: confirm is shown the genesis' fingerprint and says whether it is the one that
// init printed. Nothing is kept unless the whole ledger verifies from there, and had, where seen is not
// empty, at SIZE entries the ROOT that somebody else has seen. Of several addresses, with commas, one
// that shows another server is refused, and those that do not answer are kept, and told in Silent.
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
	return login(ctx, home, Config{Server: strings.ReplaceAll(addr, " ", ""), Key: keyPath}, signer, confirm, given)
}

// LoginWith is Login with a key that is open already, to the ledger of a fingerprint, which had the head seen where that is not the zero one.
func LoginWith(ctx context.Context, home *Home, addr, keyPath string, signer crypto.Signer, fingerprint string, seen Head) (*Client, error) {
	return login(ctx, home, Config{Server: addr, Key: keyPath}, signer, Confirming(fingerprint), seen)
}

func login(ctx context.Context, home *Home, config Config, signer crypto.Signer, confirm func(string) error, given Head) (*Client, error) {
	c, err := newClient(home, config, signer, nil)
	if err != nil {
		return nil, err
	}
	if err := c.pin(ctx, confirm, given); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return c, nil
}

// Confirming is for Login, where the fingerprint is known beforehand.
func Confirming(fingerprint string) func(string) error {
	return func(found string) error {
		if found == fingerprint {
			return nil
		}
		return &Error{Kind: Distrust, Text: fmt.Sprintf("the server's ledger is %s, and not %s", found, fingerprint),
			Try: "ask the lead for the fingerprint that init printed"}
	}
}

func (c *Client) pin(ctx context.Context, confirm func(string) error, given Head) error {
	config := &c.own.config
	raw, genesis, err := fetchGenesis(ctx, c.link)
	if err != nil {
		return err
	}
	config.Genesis, config.ServerKey = HashHex(raw), genesis.GetServerKey()
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
	back, err := c.settled(genesis.GetContinues())
	if err != nil {
		return err
	}
	if err := c.keep(ctx, given); err != nil {
		return errors.Join(err, back())
	}
	return nil
}

// keep catches up from nothing, and keeps the ledger that was confirmed.
func (c *Client) keep(ctx context.Context, given Head) error {
	if err := c.Sync(ctx); err != nil {
		return err
	}
	err := c.View(func(s *record.State) error {
		if err := given.seen(s); err != nil {
			return err
		}
		_, err := c.meIn(s)
		return err
	})
	if err == nil && len(c.link.roads) > 1 {
		err = c.others(ctx)
	}
	if err != nil {
		return err
	}
	return c.own.home.writeJSON(configFile, c.own.config)
}

// others asks every address whether it is the same server's, the first one last: that is used from then on.
func (c *Client) others(ctx context.Context) error {
	for _, r := range slices.Backward(c.link.roads) {
		err := c.link.callOn(ctx, []*road{r}, func(p *patient, of grpc.ClientConnInterface) error {
			h, err := servicev1.NewRecordClient(of).Head(p, &servicev1.HeadRequest{})
			if err != nil {
				return err
			}
			if _, err := c.own.open(h.GetCheckpoint()); err != nil {
				return distrust("the checkpoint of the server at %s does not verify: %v", r.addr, err)
			}
			return nil
		})
		if KindOf(err) == Away {
			c.Silent = append(c.Silent, err.Error())
		} else if err != nil {
			return err
		}
	}
	return nil
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

// settled refuses a home of another ledger, unless this one goes on from that: then what there is of that is set
// aside, and back undoes it. What a login that came to nothing left is taken away, by the next one too where it was killed.
func (c *Client) settled(continues *recordv1.Continues) (back func() error, err error) {
	home := c.own.home
	old, err := home.Config()
	back = func() error { return nil }
	switch {
	case err == nil && old.Genesis == c.own.config.Genesis:
		return back, nil
	case err == nil && old.Genesis == continues.GetGenesis():
		if err := (&ownCopy{home: home, config: old}).goesOn(continues); err != nil {
			return nil, err
		}
		c.Before, back, err = home.setBefore(old.Genesis)
		return back, err
	case err == nil:
		return nil, usage("use another WITNESSMARK_HOME for another ledger", "%s belongs to the ledger %s", home.Dir, fingerprintOf(old.Genesis))
	case FileExists(home.path(configFile)):
		return nil, err
	}
	return home.dropCopy, home.dropCopy()
}

// dropCopy removes what a home has of a ledger that it did not pin.
func (h *Home) dropCopy() error {
	return errors.Join(removed(h.path(copyFile)), removed(h.path(partFile)), removed(h.path(headFile)))
}

// fetchGenesis asks for entry 0.
func fetchGenesis(ctx context.Context, l *link) (raw []byte, g *recordv1.Genesis, err error) {
	var m *servicev1.EntriesResponse
	err = l.call(ctx, func(p *patient, of grpc.ClientConnInterface) error {
		p.brief()
		stream, err := servicev1.NewRecordClient(of).Entries(p, &servicev1.EntriesRequest{First: 0, End: 1})
		if err == nil {
			m, err = stream.Recv()
		}
		return err
	})
	if err != nil {
		return nil, nil, err
	}
	if m.GetFirst() != 0 || len(m.GetEntries()) != 1 {
		return nil, nil, distrust("the server does not show entry 0")
	}
	var e recordv1.Entry
	raw = m.GetEntries()[0].GetEntry()
	if err := proto.Unmarshal(raw, &e); err != nil || e.GetGenesis() == nil {
		return nil, nil, distrust("the server's entry 0 is not a genesis")
	}
	return raw, e.GetGenesis(), nil
}
