package client

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/rogpeppe/go-internal/lockedfile"

	"witnessmark/store"
)

// Home is a person's folder: whom they are, which ledger they pinned, their copy of it, what they
// signed and got no answer for, and the bytes that they looked at last.
type Home struct{ Dir string }

// Names in a home.
const (
	configFile  = "config.json"
	headFile    = "head.json"
	copyFile    = "ledger.db"
	partFile    = "ledger.new" // a copy on its way: it takes the other's name once it is verified
	damagedFile = "ledger.damaged-"
	answerFile  = "answered.json" // which of the server's addresses answered last
	erasingFile = "erasing"       // stands while the copy's file may hold what was erased
	pendingDir  = "pending"
	blobsDir    = "blobs"
	stepLock    = "lock"        // held for as long as one step with the copy takes
	actingLock  = "acting.lock" // held from settling what is pending to the last byte of an action
)

// Config is what login wrote.
type Config struct {
	// Server is HOST:PORT, or several with commas: addresses of one server, or of several on one ledger.
	Server string `json:"server"`
	// Key is the path of a private key, or of the public key of one that ssh-agent holds.
	Key string `json:"key"`
	// Genesis is the SHA-256 of entry 0, hex: the root of everything that is trusted.
	Genesis string `json:"genesis"`
	// ServerKey is the key that entry 0 names, in OpenSSH form.
	ServerKey string `json:"server_key"`
}

// DefaultHome is WITNESSMARK_HOME, or a folder in the user's configuration folder.
func DefaultHome() (*Home, error) {
	if dir := os.Getenv("WITNESSMARK_HOME"); dir != "" {
		return &Home{Dir: dir}, nil
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return nil, usage("set WITNESSMARK_HOME to a folder of your own", "no folder for your settings: %v", err)
	}
	return &Home{Dir: filepath.Join(dir, "witnessmark")}, nil
}

func (h *Home) path(name string) string { return filepath.Join(h.Dir, name) }

// lock keeps other commands and the desk of the same person out; call the answer to let them in.
func (h *Home) lock(name string) (func(), error) {
	if err := os.MkdirAll(h.Dir, 0o700); err != nil {
		return nil, err
	}
	return lockedfile.MutexAt(h.path(name)).Lock()
}

// acting has a person's actions follow one another; whoever does not want to wait any longer ends the context.
func (h *Home) acting(ctx context.Context) (unlock func(), err error) {
	locked := make(chan func())
	failed := make(chan error, 1)
	go func() {
		unlock, err := h.lock(actingLock)
		if err != nil {
			failed <- err
			return
		}
		select {
		case <-ctx.Done():
			unlock() // nobody is there to have it
		case locked <- unlock:
		}
	}()
	select {
	case unlock := <-locked:
		return unlock, nil
	case err := <-failed:
		return nil, err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// Config reads what login wrote.
func (h *Home) Config() (Config, error) {
	var c Config
	found, err := h.readJSON(configFile, &c)
	if err == nil && !found {
		err = usage("witnessmark login HOST:PORT --key FILE", "you are not logged in (%s has no %s)", h.Dir, configFile)
	}
	return c, err
}

// answered is the address that answered last; where that is not known, nothing depends on it.
func (h *Home) answered() string {
	var addr string
	_, _ = h.readJSON(answerFile, &addr)
	return addr
}

func (h *Home) answers(addr string) { _ = h.writeJSON(answerFile, addr) }

func (h *Home) readJSON(name string, v any) (found bool, err error) {
	b, err := ReadBounded(h.path(name), maxSetting)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	if err := json.Unmarshal(b, v); err != nil {
		return false, fmt.Errorf("%s: %w", h.path(name), err)
	}
	return true, nil
}

func (h *Home) writeJSON(name string, v any) error {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	defer Unfinished()()
	store.Sweep(h.path(name))
	return store.WriteSynced(h.path(name), append(b, '\n'))
}

// FileExists says whether a path is taken already.
func FileExists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// removed removes a file that may be gone already.
func removed(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}
