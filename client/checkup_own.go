package client

import (
	"bytes"
	"cmp"
	"crypto"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/held"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// key opens the key, where that needs no passphrase or somebody is there to be asked for it.
func (u *checkUp) key(path string) (public ed25519.PublicKey, signer crypto.Signer) {
	signer, err := LoadSigner(path, func(file string) ([]byte, error) {
		if u.ask == nil {
			return nil, errUnasked
		}
		return u.ask(file)
	})
	if err == nil {
		public, _ = signer.Public().(ed25519.PublicKey)
		u.well("key", "%s opens: %s", path, signoff.Fingerprint(public))
		return public, signer
	}
	public = publicHalf(path)
	switch {
	case errors.Is(err, errUnasked) && public != nil:
		u.well("key", "%s is there, behind its passphrase: %s", path, signoff.Fingerprint(public))
	case errors.Is(err, errUnasked):
		u.say("key", Unknown, "witnessmark check-up --passphrase", "%s is there, and tells nothing without its passphrase", path)
	case errors.Is(err, fs.ErrNotExist):
		u.mend("key", "put it back from where you keep a copy; else make a new one with witnessmark key new, and a lead enrols that under your name", "%s is not there", path)
	case errors.Is(err, signoff.ErrPassphrase):
		u.mend("key", "witnessmark check-up --passphrase, once more", "%v", err)
	default:
		u.mend("key", cmp.Or(TryOf(err), "log in with a key that is one: witnessmark login HOST:PORT --key FILE"), "%v", err)
	}
	return public, nil
}

// publicHalf is what a key's file says of itself without being opened; nil where it says nothing.
func publicHalf(path string) ed25519.PublicKey {
	line, err := ReadBounded(path, MaxKeyFile)
	if err != nil {
		return nil
	}
	var missing *ssh.PassphraseMissingError
	switch raw, err := ssh.ParseRawPrivateKey(line); {
	case errors.As(err, &missing) && missing.PublicKey != nil:
		line = ssh.MarshalAuthorizedKey(missing.PublicKey)
	case err == nil:
		signer, err := ssh.NewSignerFromKey(raw)
		if err != nil {
			return nil
		}
		line = ssh.MarshalAuthorizedKey(signer.PublicKey())
	}
	public, err := signoff.ParsePublicKey(path, bytes.TrimSpace(line))
	if err != nil {
		return nil
	}
	return public
}

// person says whether the key is somebody's: by a server's refusal where there was one, else by the copy.
func (u *checkUp) person(own *ownCopy, whole bool, public ed25519.PublicKey, answer error) {
	switch {
	case KindOf(answer) == Refused:
		u.wrong("person", answer)
	case public == nil:
		u.say("person", Unknown, "", "whose key it is cannot be told")
	case !whole:
		u.say("person", Unknown, "", "whose key it is the copy of the ledger would tell")
	default:
		var me *recordv1.Person
		err := own.state(func(s *record.State) (err error) { me, err = personOf(s, public); return err })
		if err != nil {
			u.mend("person", tryEnrol, "%v", err)
			return
		}
		u.well("person", "%s (%s)", me.GetName(), strings.Join(me.GetRoles(), ", "))
	}
}

// copy holds the copy of the ledger to the head that is kept beside it, and says whether it can be asked.
func (u *checkUp) copy(own *ownCopy) (whole bool) {
	if kept := own.damaged(); len(kept) > 0 {
		u.mend("copies set aside", "have the disk looked at, and then remove "+strings.Join(kept, ", "), "%s kept, the newest of %s: what was read there was not what had been written",
			several(len(kept), "damaged copy of the ledger is", "damaged copies of the ledger are"), setAsideOn(kept[len(kept)-1]))
	}
	if !FileExists(u.home.path(copyFile)) {
		u.mend("copy", mend, "there is no copy of the ledger in %s", u.home.Dir)
		return false
	}
	head, err := own.head()
	if err == nil {
		err = damage(own.whole(head))
	}
	if err == nil {
		err = own.state(func(s *record.State) error {
			if s.Unapplied() {
				return unknownEntry()
			}
			return nil
		})
	}
	if err != nil {
		u.wrong("copy", err)
		return KindOf(err) == Upgrade
	}
	u.well("copy", "%s, whole; the server was reached last on %s", several(int(head.Size), "entry", "entries"), head.Contact.Local().Format("2 Jan 2006, 15:04"))
	return true
}

func setAsideOn(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		return "a day that is not known"
	}
	return info.ModTime().Local().Format("2 Jan 2006")
}

// halfAnHour is more than whatever writes into pending takes; common practice, no source.
const halfAnHour = 30 * time.Minute

// pending counts what was signed and got no answer.
func (u *checkUp) pending() {
	entries, err := os.ReadDir(u.home.path(pendingDir))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		u.wrong("pending", err)
		return
	}
	waits := 0
	oldest := time.Now()
	for _, e := range entries {
		info, err := e.Info()
		if err != nil || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		if waits++; info.ModTime().Before(oldest) {
			oldest = info.ModTime()
		}
	}
	if waits == 0 {
		u.well("pending", "nothing that you signed waits for an answer")
		return
	}
	u.mend("pending", "witnessmark whoami, where the server can be reached: it is looked for in the ledger, and else sent again",
		"%s for the server's answer, since %s", several(waits, "action that you signed waits", "actions that you signed wait"), oldest.Local().Format("2 Jan 2006, 15:04"))
}

// What desks and demos that run have in the system's folder for what is there for a while.
const (
	DeskFolder = "witnessmark-desk-*"
	DemoFolder = "witnessmark-demo-*"
)

// leftovers are what processes that were killed left, and nobody uses.
func (u *checkUp) leftovers() {
	left := held.Left(u.home.Dir, "verify-*")
	for _, name := range []string{configFile, headFile, answerFile, joiningFile} {
		left = append(left, store.Left(u.home.path(name))...)
	}
	for _, pattern := range []string{DeskFolder, DemoFolder} {
		left = append(left, held.Left(u.temp, pattern)...)
	}
	begun, _ := filepath.Glob(u.home.path(filepath.Join(pendingDir, ".*"))) // the pattern is well formed
	for _, path := range begun {
		if info, err := os.Stat(path); err == nil && time.Since(info.ModTime()) > halfAnHour {
			left = append(left, path)
		}
	}
	if len(left) == 0 {
		u.well("leftovers", "none of a process that was killed")
		return
	}
	const shown = 5
	try := "remove " + strings.Join(left[:min(shown, len(left))], " ")
	if more := len(left) - shown; more > 0 {
		try += fmt.Sprintf(" and %d more like them", more)
	}
	u.mend("leftovers", try, "%s left by a process that was killed", several(len(left), "file or folder was", "files or folders were"))
}

// several is a number of things, in the words for one or for more.
func several(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}
