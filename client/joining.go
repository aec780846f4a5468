package client

import (
	"context"
	"crypto"
	"crypto/ed25519"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"time"

	"witnessmark/store/signoff"
)

// joiningFile is there from BeginJoining until a lead has enrolled the key.
const joiningFile = "joining.json"

// ErrNotEnrolled is that no lead has enrolled the key yet: whoever joins goes on waiting.
var ErrNotEnrolled = errors.New("no lead has enrolled your key yet")

// Joining is a person on the way into a workshop: they hold an invitation, and a lead has, or has not yet, enrolled them by their
// introduction. It is kept in their folder. Its methods may be called by one at a time.
type Joining struct {
	Invitation   Invitation
	Introduction Introduction
	Key          string // path of the key, as in Config

	home   *Home
	signer crypto.Signer // nil before Unlock
}

// joiningText is a Joining as it is kept.
type joiningText struct {
	Invitation   string `json:"invitation"`
	Introduction string `json:"introduction"`
	Key          string `json:"key"`
}

// BeginJoining makes the key where there is none, and keeps that its person joins; another beginning in that folder takes the place of
// the last. Where it fails, nothing was made.
func BeginJoining(home *Home, i Invitation, name string, roles []string, key OwnKey) (*Joining, error) {
	if err := checkName(name); err != nil {
		return nil, err
	}
	if err := checkRoles(roles); err != nil {
		return nil, err
	}
	if home.LoggedIn() {
		config, err := home.Config()
		if err != nil {
			return nil, err
		}
		if pinned := fingerprintOf(config.Genesis); pinned != i.Fingerprint {
			return nil, usage("use another WITNESSMARK_HOME for another ledger", "%s belongs to the ledger %s, and the invitation is to %s", home.Dir, pinned, i.Fingerprint)
		}
	}
	var err error
	if key.Path, err = filepath.Abs(key.Path); err != nil {
		return nil, err
	}
	signer, undo, err := key.Open()
	if err != nil {
		return nil, err
	}
	j := &Joining{Invitation: i, Key: key.Path, home: home, signer: signer}
	j.Introduction = Introduction{Name: name, Roles: roles, Key: signoff.FormatPublicKey(signer.Public().(ed25519.PublicKey))}
	if err := os.MkdirAll(home.Dir, 0o700); err != nil { // the key may lie elsewhere
		return nil, errors.Join(err, undo())
	}
	if err := home.writeJSON(joiningFile, joiningText{i.String(), j.Introduction.String(), key.Path}); err != nil {
		return nil, errors.Join(err, undo())
	}
	return j, nil
}

// JoiningIn is who joins in a folder; nil where nobody does.
func JoiningIn(home *Home) (*Joining, error) {
	var text joiningText
	found, err := home.readJSON(joiningFile, &text)
	if err == nil && !found {
		return nil, nil
	}
	j := &Joining{Key: text.Key, home: home}
	if err == nil {
		j.Invitation, err = ParseInvitation(text.Invitation)
	}
	if err == nil {
		j.Introduction, err = ParseIntroduction(text.Introduction)
	}
	if err != nil {
		return nil, &Error{Kind: Failed, Text: home.path(joiningFile) + " is damaged", Err: err, Try: "join with the invitation once more"}
	}
	return j, nil
}

// Unlock opens the key of a Joining that was found in a folder.
func (j *Joining) Unlock(ask Passphrase) error {
	signer, err := LoadSigner(j.Key, ask)
	if err != nil {
		return err
	}
	if line := signoff.FormatPublicKey(signer.Public().(ed25519.PublicKey)); line != j.Introduction.Key {
		return usage("join with the invitation once more", "%s holds another key than the one that you introduced yourself with", j.Key)
	}
	j.signer = signer
	return nil
}

// Locked says whether Unlock has to come first.
func (j *Joining) Locked() bool { return j.signer == nil }

// Try logs in, by the rules of Login: the ledger must have the invitation's fingerprint and head. It is ErrNotEnrolled until a lead
// has enrolled the key, and of the kind Away where the server cannot be reached: Later says so of either. A ledger that is not
// to be trusted ends the joining.
func (j *Joining) Try(ctx context.Context) (*Client, error) {
	if j.Locked() {
		return nil, usage("type its passphrase", "the key %s is not open", j.Key)
	}
	free, err := j.home.acting(ctx) // a command and a desk may both wait
	if err != nil {
		return nil, err
	}
	defer free()
	if !FileExists(j.home.path(joiningFile)) {
		return j.joined()
	}
	i := j.Invitation
	c, err := LoginWith(ctx, j.home, strings.Join(i.Addresses, ","), j.Key, j.signer, i.Fingerprint, i.Head)
	switch {
	case errors.Is(err, errStranger):
		return nil, &Error{Kind: Refused, Err: ErrNotEnrolled, Try: "send the lead your introduction: " + j.Introduction.String()}
	case KindOf(err) == Distrust:
		return nil, errors.Join(err, j.GiveUp())
	case err != nil:
		return nil, err
	}
	if err := j.GiveUp(); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return c, nil
}

// joined is the client of somebody who was logged in meanwhile, by another process.
func (j *Joining) joined() (*Client, error) {
	config, err := j.home.Config()
	if err != nil {
		return nil, err
	}
	pinned, err := config.serverKey()
	if err != nil {
		return nil, err
	}
	return newClient(j.home, config, j.signer, pinned)
}

// GiveUp forgets the joining; the key stays.
func (j *Joining) GiveUp() error { return removed(j.home.path(joiningFile)) }

// askAgain is how long Wait waits before it asks again.
const askAgain = 2 * time.Second

// Later says whether Try may do what it just could not.
func Later(err error) bool { return errors.Is(err, ErrNotEnrolled) || KindOf(err) == Away }

// Wait tries until a lead has enrolled the key. A server that cannot be reached is asked again; lost is told why, once each time.
func (j *Joining) Wait(ctx context.Context, lost func(error)) (*Client, error) {
	for away := false; ; {
		c, err := j.Try(ctx)
		if ctx.Err() != nil || !Later(err) {
			return c, err
		}
		was := away
		if away = KindOf(err) == Away; away && !was {
			lost(err)
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(askAgain):
		}
	}
}
