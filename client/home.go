package client

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/rogpeppe/go-internal/lockedfile"
)

// Home is a person's folder: whom they are, which ledger they pinned, and their mirror of it.
type Home struct{ Dir string }

// Config is what login wrote.
type Config struct {
	Server string `json:"server"`
	// Key is the path of a private key, or of the public key of one that ssh-agent holds.
	Key string `json:"key"`
	// Genesis is the SHA-256 of entry 0, hex: the root of everything that is trusted.
	Genesis string `json:"genesis"`
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
func (h *Home) lock() (func(), error) {
	if err := os.MkdirAll(h.Dir, 0o700); err != nil {
		return nil, err
	}
	return lockedfile.MutexAt(h.path("lock")).Lock()
}

// Config reads what login wrote.
func (h *Home) Config() (Config, error) {
	var c Config
	b, err := os.ReadFile(h.path("config.json"))
	if errors.Is(err, fs.ErrNotExist) {
		return c, usage("witnessmark login HOST:PORT --key FILE", "you are not logged in (%s has no config.json)", h.Dir)
	}
	if err != nil {
		return c, err
	}
	if err := json.Unmarshal(b, &c); err != nil {
		return c, fmt.Errorf("%s: %w", h.path("config.json"), err)
	}
	return c, nil
}

func (h *Home) saveConfig(c Config) error {
	b, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return err
	}
	return WriteWhole(h.path("config.json"), append(b, '\n'), 0o600)
}

// WriteWhole replaces a file by a synced temporary one, so that it is never half written.
func WriteWhole(path string, b []byte, mode os.FileMode) error {
	t, err := stage(path, b, mode)
	if err != nil {
		return err
	}
	return t.commit()
}

// staged is a synced temporary file beside its target.
type staged struct{ temp, target string }

func stage(target string, b []byte, mode os.FileMode) (staged, error) {
	f, err := os.CreateTemp(filepath.Dir(target), "."+filepath.Base(target)+".*")
	if err != nil {
		return staged{}, err
	}
	s := staged{temp: f.Name(), target: target}
	_, err = f.Write(b)
	err = errors.Join(err, f.Chmod(mode), f.Sync(), f.Close())
	if err != nil {
		s.drop()
		return staged{}, err
	}
	return s, nil
}

func (s staged) commit() error {
	if err := os.Rename(s.temp, s.target); err != nil {
		s.drop()
		return err
	}
	syncDir(filepath.Dir(s.target))
	return nil
}

func (s staged) drop() { _ = os.Remove(s.temp) }

// syncDir makes a rename last; Windows cannot sync a folder and needs not.
func syncDir(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		_ = d.Close()
	}
}
