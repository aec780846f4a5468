package client

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"witnessmark/store/built"
	"witnessmark/store/disk"
)

// What a check-up says of one thing: it is well, it is to be mended, or that cannot be told now.
const (
	Well    = "well"
	Mend    = "mend"
	Unknown = "unknown"
)

// Checked is what a check-up says of one thing.
type Checked struct {
	About string `json:"about"`
	State string `json:"state"`
	Says  string `json:"says"`
	Try   string `json:"try"` // what mends it
}

// CheckUp looks at a person's set-up: login, key, server, clock, versions, disks, the copy of the ledger and what
// others left. It mends nothing. Of a key with a passphrase the server is asked what it tells those whom it knows only
// where ask is not nil; runs is what starts the server, where this folder began it. The error is that there is nothing to look at.
func CheckUp(ctx context.Context, home *Home, runs string, ask Passphrase) ([]Checked, error) {
	u := &checkUp{home: home, runs: runs, ask: ask, version: built.Version(), disk: disk.Of, silence: 10 * time.Second, temp: os.TempDir()}
	err := u.run(ctx)
	return u.found, err
}

type checkUp struct {
	home  *Home
	runs  string
	ask   Passphrase
	found []Checked

	version string
	disk    func(dir string) (size, free uint64, err error)
	silence time.Duration // of a server, after which it does not answer
	temp    string        // the system's folder for what is there for a while
}

func (u *checkUp) say(about, state, try, format string, args ...any) {
	u.found = append(u.found, Checked{about, state, OneLine(fmt.Sprintf(format, args...)), OneLine(try)})
}

func (u *checkUp) well(about, format string, args ...any) { u.say(about, Well, "", format, args...) }

func (u *checkUp) mend(about, try, format string, args ...any) {
	u.say(about, Mend, try, format, args...)
}

// wrong is an error that somebody can mend.
func (u *checkUp) wrong(about string, err error) {
	try := TryOf(err)
	if try == "" && errors.Is(err, fs.ErrPermission) {
		try = "make it yours to read and write, all of it: " + u.home.Dir
	}
	u.mend(about, try, "%v", err)
}

func (u *checkUp) run(ctx context.Context) error {
	info, err := os.Stat(u.home.Dir)
	switch {
	case err == nil && !info.IsDir():
		return usage("set WITNESSMARK_HOME to a folder of your own", "%s is no folder", u.home.Dir)
	case err == nil:
		_, err = os.ReadDir(u.home.Dir)
	case errors.Is(err, fs.ErrNotExist):
		err = nil
	}
	if err != nil {
		return &Error{Kind: Failed, Text: "your folder cannot be looked at", Err: err}
	}
	if config, pinned, ok := u.login(); ok {
		own := &ownCopy{home: u.home, config: config}
		public, signer := u.key(config.Key)
		answer := u.servers(ctx, own, pinned, signer)
		u.person(own, u.copy(own), public, answer)
		u.pending()
	}
	u.room()
	u.leftovers()
	return ctx.Err()
}

// login is what config.json says, where all of it can be used.
func (u *checkUp) login() (config Config, pinned ed25519.PublicKey, ok bool) {
	config, err := u.home.Config()
	if KindOf(err) == Usage { // there is none
		u.joining(err)
		return config, nil, false
	}
	if err == nil {
		_, err = addressesOf(config.Server)
	}
	if err == nil && fingerprintOf(config.Genesis) == "" {
		err = errors.New("it names no ledger")
	}
	if err == nil {
		pinned, err = config.serverKey()
	}
	if err == nil && config.Key == "" {
		err = errors.New("it names no key")
	}
	if err != nil {
		again := "move it away, and log in again: witnessmark login HOST:PORT --key FILE"
		var head Head // so that an older ledger is not taken for the one that was seen
		if found, bad := u.home.readJSON(headFile, &head); found && bad == nil {
			seen := fmt.Sprintf("%d:%s", head.Size, head.Root)
			if _, bad = parseHead(seen); bad == nil {
				again += " --head " + seen
			}
		}
		u.mend("login", again, "%s is damaged: %v", u.home.path(configFile), err)
		return config, nil, false
	}
	u.well("login", "to %s at %s", fingerprintOf(config.Genesis), config.Server)
	return config, pinned, true
}

// joining is for who is not logged in: they may be on the way.
func (u *checkUp) joining(err error) {
	switch j, bad := JoiningIn(u.home); {
	case bad != nil:
		u.wrong("login", bad)
	case j != nil:
		u.mend("login", "witnessmark join, which shows the line for the lead, and goes on", "you are joining the ledger %s, and are not enrolled yet", j.Invitation.Fingerprint)
	default:
		u.mend("login", TryOf(err)+"; where you were sent an invitation: witnessmark join 'LINE' --name NAME --role ROLE", "%v", err)
	}
}

// room looks at the disk of the person's folder, or where that would be.
func (u *checkUp) room() {
	dir := u.home.Dir
	for dir != filepath.Dir(dir) && !FileExists(dir) {
		dir = filepath.Dir(dir)
	}
	size, free, err := u.disk(dir)
	if err != nil {
		u.say("disk", Unknown, "", "%v", err)
		return
	}
	u.disked("disk", "of your folder", "make room on it: what is signed and what is taken to a car is written there first", size, free)
}

func (u *checkUp) disked(about, what, try string, size, free uint64) {
	const gib = 1 << 30
	says := fmt.Sprintf("%.1f of %.1f GiB are free on the disk %s", float64(free)/gib, float64(size)/gib, what)
	if disk.NearlyFull(size, free) {
		u.mend(about, try, "%s", says)
		return
	}
	u.well(about, "%s", says)
}
