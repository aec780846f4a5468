package client

import (
	"cmp"
	"context"
	"crypto"
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"slices"
	"strings"
	"time"

	"witnessmark/store/built"
)

// errUnasked is that there was no key to ask a server with.
var errUnasked = errors.New("your key was not opened")

// heard is what a server said, and between which times of this machine it was asked.
type heard struct {
	addr          string
	before, after time.Time
	Condition
}

// servers asks each address of the server. The error is why the server tells this person nothing; nil where it does.
func (u *checkUp) servers(ctx context.Context, own *ownCopy, pinned ed25519.PublicKey, signer crypto.Signer) (why error) {
	unasked := signer == nil
	if unasked { // another's: the server ends the handshake, after it has shown its own
		_, other, err := ed25519.GenerateKey(rand.Reader)
		if err != nil {
			return err
		}
		signer = other
	}
	kept, _ := own.head() // what is wrong with it is the copy's affair
	var answers []heard
	for addr := range strings.SplitSeq(own.config.Server, ",") {
		a, err := u.server(ctx, own, addr, kept, signer, pinned, unasked)
		if a != nil {
			answers = append(answers, *a)
		}
		why = cmp.Or(err, why)
	}
	switch {
	case len(answers) > 0:
		u.conditions(answers)
		return nil
	case unasked:
		why = errUnasked
		try := "witnessmark check-up --passphrase"
		if slices.ContainsFunc(u.found, func(c Checked) bool { return c.About == "key" && c.State == Mend }) {
			try = "" // no passphrase opens that one
		}
		u.say("server's condition", Unknown, try, "its clock, version, disk and backups are told to whom it knows, and %v", why)
	case why != nil:
		u.say("server's condition", Unknown, "", "its clock, version, disk and backups could not be asked for")
	}
	return why
}

// server asks one address; the answer is nil where there is none.
func (u *checkUp) server(ctx context.Context, own *ownCopy, addr string, kept Head, signer crypto.Signer, pinned ed25519.PublicKey, unasked bool) (*heard, error) {
	config := own.config
	config.Server = addr
	c, err := newClient(u.home, config, signer, pinned)
	if err != nil {
		u.wrong("server", err)
		return nil, err
	}
	defer c.Close()
	c.link.silence, c.link.brief = u.silence, u.silence
	_, err = c.newest(ctx, kept)
	shown := c.link.shows(0)
	switch {
	case err == nil:
		u.well("server", "%s answers, and has the ledger that you have seen", addr)
	case shown && unasked && KindOf(err) == Refused:
		u.well("server", "%s answers with the key that you pinned", addr)
		return nil, nil
	case shown && KindOf(err) == Refused:
		u.well("server", "%s answers with the key that you pinned, and tells you nothing", addr)
		return nil, err
	case KindOf(err) == Away:
		u.mend("server", cmp.Or(u.runs, "ask the lead whether it runs, and whether this is its address; another one: witnessmark login HOST:PORT --key "+config.Key), "%v", err)
		return nil, err
	default:
		if c.link.refused(err) != "" {
			err = cmp.Or(c.begunAnew(ctx, addr), err)
		}
		u.wrong("server", err)
		return nil, err
	}
	a := &heard{addr: addr, before: time.Now()}
	a.Condition, err = c.Condition(ctx)
	if a.after = time.Now(); err != nil {
		u.say("server's condition", Unknown, TryOf(err), "%s: %v", addr, err)
		return nil, nil
	}
	return a, nil
}

// conditions are those of the servers of one ledger: each has a clock and a version of its own.
func (u *checkUp) conditions(answers []heard) {
	before := len(u.found)
	for _, a := range answers {
		const set = "have both machines set their clocks by the network"
		// Of its second the server tells the beginning.
		switch ahead, behind := a.Time.Sub(a.after), a.before.Sub(a.Time.Add(time.Second)); {
		case ahead > mostApart:
			u.mend("clock", set, "this machine's is %s behind that of the server at %s", ahead.Round(time.Second), a.addr)
		case behind > mostApart:
			u.mend("clock", set, "this machine's is %s ahead of that of the server at %s", behind.Round(time.Second), a.addr)
		}
	}
	if len(u.found) == before {
		u.well("clock", "within %.0f minutes of the server's", mostApart.Minutes())
	}
	before = len(u.found)
	for _, a := range answers {
		older, known := built.Older(u.version, a.Version)
		switch {
		case u.version == a.Version:
		case older:
			u.mend("version", "install the version that the server has", "this witnessmark is older than the server at %s: %s, and %s there", a.addr, u.version, a.Version)
		case !known:
			u.say("version", Unknown, "", "which is the older cannot be told: %s, and %s at %s", u.version, a.Version, a.addr)
		}
	}
	if len(u.found) == before {
		u.well("version", "%s, not older than the server's", u.version)
	}
	before = len(u.found)
	for _, a := range answers {
		if a.DiskSize > 0 {
			u.disked("server's disk", "of the server at "+a.addr, "have room made on it: the server takes nothing once it is full", a.DiskSize, a.DiskFree)
		}
	}
	if len(u.found) == before {
		u.say("server's disk", Unknown, "", "it is the database's, and not known")
	}
	u.backup(answers[0].Condition)
}

func (u *checkUp) backup(c Condition) {
	switch due := c.BackupDue(); {
	case due != "":
		u.mend("backup", "a lead makes one: witnessmark backup --out FILE; on the server's machine witnessmarkd backup does", "%s", due)
	case c.BackupsElsewhere:
		u.say("backup", Unknown, "", "the ledger is in a database, whose own backups nothing is known of")
	default:
		u.well("backup", "the last one was finished on %s", c.LastBackup.UTC().Format("2 Jan 2006, 15:04 UTC"))
	}
}
