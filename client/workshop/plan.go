package workshop

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/lockedfile"

	"witnessmark/client"
	"witnessmark/store"
)

// plan is what belongs to a workshop that this person's folder began. It is kept there before anything of it is made, so that a
// beginning that was killed can be taken away, and a daemon that is a child be started again.
type plan struct {
	Folder string `json:"folder"` // the server's
	Listen string `json:"listen"`
	Unit   string `json:"unit,omitempty"` // the file of the systemd unit; empty where the daemon is a child

	daemon *Daemon
	key    string // the private key that was made; empty where it was there before
}

const (
	planFile = "workshop.json"
	lockFile = "workshop.lock"
)

// lock keeps others out of beginning a workshop in a folder.
func lock(home *client.Home) (free func(), err error) {
	if err := os.MkdirAll(home.Dir, 0o700); err != nil {
		return nil, err
	}
	return lockedfile.MutexAt(filepath.Join(home.Dir, lockFile)).Lock()
}

func (p *plan) write(home *client.Home) error {
	b, err := json.MarshalIndent(p, "", "  ")
	if err != nil {
		return err
	}
	return store.WriteSynced(filepath.Join(home.Dir, planFile), append(b, '\n'))
}

// planIn is the plan that a folder keeps; nil where there is none.
func planIn(home *client.Home) (*plan, error) {
	path := filepath.Join(home.Dir, planFile)
	b, err := client.ReadBounded(path, client.MaxKeyFile)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	p := &plan{}
	if err == nil {
		err = json.Unmarshal(b, p)
	}
	if err != nil {
		return nil, &client.Error{Text: path + " is damaged", Err: err, Try: "move it away, and look what the workshop's folder holds"}
	}
	return p, nil
}

// Abandon takes away what a beginning that was killed has left, for whoever joins a workshop in that folder instead.
func Abandon(ctx context.Context, home *client.Home) error {
	if !client.FileExists(filepath.Join(home.Dir, planFile)) {
		return nil // and no lock is left where nothing is joined in the end
	}
	free, err := lock(home)
	if err != nil {
		return err
	}
	defer free()
	if home.LoggedIn() {
		return nil
	}
	_, err = clean(ctx, home)
	return err
}

// clean takes away what a beginning that was killed has left, but for the key: its passphrase was chosen, and is not to be
// chosen anew by a slip. Its daemon may need a while until it has let go.
func clean(ctx context.Context, home *client.Home) (patience time.Duration, err error) {
	p, err := planIn(home)
	if p == nil || err != nil {
		return 0, err
	}
	return ends, p.undo(ctx, home)
}

// undo takes away all that a plan names. A ledger that holds more than its beginning stays.
func (p *plan) undo(ctx context.Context, home *client.Home) error {
	if entries := p.entries(); entries != "" && entries != "1" {
		return usage("log in to it: witnessmark login "+p.Listen+" --key FILE", "%s holds a ledger of %s entries", p.Folder, entries)
	}
	if err := p.stop(ctx); err != nil {
		return err
	}
	var err error
	if p.entries() != "" {
		err = os.RemoveAll(p.Folder)
	}
	if p.key != "" {
		err = errors.Join(err, removed(p.key), removed(p.key+".pub"))
	}
	if err == nil {
		err = removed(filepath.Join(home.Dir, planFile))
	}
	return err
}

// entries is how many the checkpoint in the folder says that the ledger has; empty where there is none.
func (p *plan) entries() string {
	note, err := client.ReadBounded(filepath.Join(p.Folder, "checkpoint"), client.MaxKeyFile)
	if err != nil {
		return ""
	}
	_, rest, _ := strings.Cut(string(note), "\n")
	size, _, _ := strings.Cut(rest, "\n")
	return size
}

func removed(path string) error {
	if err := os.Remove(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}
