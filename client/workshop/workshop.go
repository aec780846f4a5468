// Package workshop begins a workshop on this machine: the lead's key, the ledger, and the daemon that serves it, which is the
// witnessmarkd that lies beside this program or on PATH.
package workshop

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"witnessmark/client"
	"witnessmark/store/signoff"
)

// Where a daemon listens: to this machine alone, or to its networks too.
const (
	HereAlone = "127.0.0.1:7017"
	Networks  = ":7017"
)

// Options is what Start needs.
type Options struct {
	Home      *client.Home
	Folder    string // the server's: not there, or empty; where left out that of DefaultFolder
	Lead      string // the lead's name
	Key       client.OwnKey
	OnePerson bool   // a workshop whose authors sign their own, for good
	Listen    string // HOST:PORT; HereAlone where left out
	Address   string // HOST:PORT, or several with commas: how other machines reach it; found where left out
	Say       func(line string)
}

// Started is a workshop that runs, and its lead logged in.
type Started struct {
	Client *client.Client
	Daemon *Daemon
	Folder string
}

// DefaultFolder is where a person's workshop is kept unless they say where.
func DefaultFolder(home *client.Home) string { return filepath.Join(home.Dir, "workshop") }

// Start makes a workshop, has its daemon run, and logs its lead in. Where that fails, or was killed halfway before, what it had made is
// taken away.
func Start(ctx context.Context, o Options) (*Started, error) {
	free, err := lock(o.Home)
	if err != nil {
		return nil, err
	}
	defer free()
	p, path, err := o.plan()
	if err != nil {
		return nil, err
	}
	patience, err := clean(ctx, o.Home)
	if err != nil {
		return nil, err
	}
	if p.Listen, err = unused(ctx, p.Listen, patience); err != nil {
		return nil, err
	}
	if err := vacant(p.Folder); err != nil {
		return nil, err
	}
	if !client.FileExists(o.Key.Path) && !client.FileExists(o.Key.Path+".pub") {
		p.key = o.Key.Path
	}
	defer client.Unfinished()()
	s, err := p.begin(ctx, o, path)
	if err == nil {
		return s, nil
	}
	made := p.entries() != ""
	left := p.undo(context.WithoutCancel(ctx), o.Home)
	switch {
	case left != nil:
		return nil, fmt.Errorf("%w; and what was made could not all be taken away: %w", err, left)
	case made:
		return nil, fmt.Errorf("%w; the ledger that was made in %s is taken away again", err, p.Folder)
	}
	return nil, err
}

// plan settles what was left out, and refuses what cannot be begun before anything is made.
func (o *Options) plan() (p *plan, path string, err error) {
	if o.Home.LoggedIn() {
		return nil, "", usage("witnessmark desk; for another workshop use another WITNESSMARK_HOME", "%s belongs to a workshop already", o.Home.Dir)
	}
	switch joining, err := client.JoiningIn(o.Home); {
	case err != nil:
		return nil, "", err
	case joining != nil:
		return nil, "", usage("go on with it, or use another WITNESSMARK_HOME", "%s is joining a workshop already", joining.Introduction.Name)
	}
	if err := signoff.CheckName(o.Lead); err != nil {
		return nil, "", usage("another name", "%v", err)
	}
	if list := client.SplitList(o.Address); len(list) > 0 {
		if _, err := client.Reachable(strings.Join(list, ",")); err != nil {
			return nil, "", err
		}
	}
	o.Key.Path = cmp.Or(o.Key.Path, o.Home.KeyPath())
	if o.Key.Path, err = filepath.Abs(o.Key.Path); err != nil {
		return nil, "", err
	}
	p = &plan{Listen: cmp.Or(o.Listen, HereAlone)}
	if p.Folder, err = filepath.Abs(cmp.Or(o.Folder, DefaultFolder(o.Home))); err != nil {
		return nil, "", err
	}
	path, err = find()
	return p, path, err
}

// begin does what was planned, a step at a time, each of which undo takes back.
func (p *plan) begin(ctx context.Context, o Options, path string) (*Started, error) {
	if err := p.write(o.Home); err != nil {
		return nil, err
	}
	signer, _, err := o.Key.Open()
	if err != nil {
		return nil, err
	}
	fingerprint, err := p.init(ctx, o, path, signer.Public().(ed25519.PublicKey))
	if err != nil {
		return nil, err
	}
	if err := p.serve(ctx, o, path); err != nil {
		return nil, err
	}
	c, err := client.LoginWith(ctx, o.Home, p.addresses(ctx, o.Address), o.Key.Path, signer, fingerprint, client.Head{})
	if err != nil {
		return nil, err
	}
	return &Started{Client: c, Daemon: p.daemon, Folder: p.Folder}, nil
}

// addresses are where the server is reached: from this machine first, then from others.
func (p *plan) addresses(ctx context.Context, others string) string {
	list := client.SplitList(others)
	own, everywhere := here(p.Listen)
	if everywhere && len(list) == 0 {
		there := client.FromElsewhere(ctx, own)
		list = there[:min(1, len(there))]
	}
	return strings.Join(append([]string{own}, slices.DeleteFunc(list, func(addr string) bool { return addr == own })...), ",")
}

// here is where this machine reaches what listens at an address, and whether that listens to all of its networks.
func here(listen string) (addr string, everywhere bool) {
	host, port, _ := net.SplitHostPort(listen)
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		return net.JoinHostPort("127.0.0.1", port), true
	}
	return listen, false
}

// unused refuses an address that another program listens on, and chooses a port for port 0.
func unused(ctx context.Context, listen string, patience time.Duration) (string, error) {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return "", usage("HOST:PORT", "%.100q is not where a server can listen", listen)
	}
	var l net.Listener
	err = patiently(ctx, patience, func() (bool, error) {
		l, err = net.Listen("tcp", listen)
		return err == nil, err
	})
	if err != nil {
		return "", usage("another port, or end what runs there", "nothing can listen on %s: %v", listen, err)
	}
	_, port, _ := net.SplitHostPort(l.Addr().String())
	return net.JoinHostPort(host, port), l.Close()
}

// vacant refuses a folder that holds anything.
func vacant(folder string) error {
	names, err := os.ReadDir(folder)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil
	case err != nil:
		return usage("another folder", "%v", err)
	case len(names) > 0:
		return usage("another folder", "%s is not empty; a workshop begins in a folder of its own", folder)
	}
	return nil
}

func usage(try, format string, args ...any) error {
	return &client.Error{Kind: client.Usage, Text: fmt.Sprintf(format, args...), Try: try}
}
