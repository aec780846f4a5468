package workshop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strings"

	"witnessmark/client"
)

// unitName is the unit's of a daemon that systemd runs for a person.
const unitName = program + ".service"

// asUnit has systemd run the daemon for this person, and waits until it answers.
func asUnit(ctx context.Context, path string, p *plan, home *client.Home) (*Daemon, error) {
	if _, err := systemctl(ctx, "show", "--property=Version"); err != nil {
		return nil, err
	}
	folder, err := os.UserConfigDir()
	if err != nil {
		return nil, err
	}
	file := filepath.Join(folder, "systemd", "user", unitName)
	if client.FileExists(file) {
		return nil, fmt.Errorf("%s is there already", file)
	}
	text, err := output(ctx, path, "unit", "--data", p.Folder, "--listen", p.Listen)
	if err != nil {
		return nil, err
	}
	p.Unit = file
	if err := p.write(home); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return nil, err
	}
	if err := (client.Out{Path: file}).Write([]byte(text)); err != nil {
		return nil, err
	}
	if _, err := systemctl(ctx, "daemon-reload"); err != nil {
		return nil, err
	}
	if _, err := systemctl(ctx, "enable", "--now", unitName); err != nil {
		return nil, err
	}
	if err := answers(ctx, p.Listen, func() error { return unitFailed(ctx) }); err != nil {
		return nil, err
	}
	d := &Daemon{Unit: file, Says: []string{"the workshop's server is the systemd user unit " + file}}
	if !lingers(ctx) {
		d.Says = append(d.Says, "it runs while you are logged in to this machine; to have it run always: loginctl enable-linger")
	}
	return d, nil
}

// unitFailed is what a daemon said that systemd had to start more than once.
func unitFailed(ctx context.Context) error {
	again, err := systemctl(ctx, "show", "--property=NRestarts", "--value", unitName)
	if again = strings.TrimSpace(again); err != nil || again == "0" || again == "" {
		return err
	}
	said, err := output(ctx, "journalctl", "--user", "--unit", unitName, "--identifier", program, "--lines=1", "--output=cat")
	return errors.Join(fmt.Errorf("the unit fails: %s", cmp.Or(lastLine(said), "journalctl --user --unit "+unitName)), err)
}

// lingers says whether systemd runs a person's units also while they are not logged in.
func lingers(ctx context.Context) bool {
	me, err := user.Current()
	if err != nil {
		return false
	}
	out, err := output(ctx, "loginctl", "show-user", me.Username, "--property=Linger", "--value")
	return err == nil && strings.TrimSpace(out) == "yes"
}

// removeUnit takes away the unit of a beginning that failed.
func (p *plan) removeUnit(ctx context.Context) error {
	if p.Unit == "" {
		return nil
	}
	if client.FileExists(p.Unit) {
		if _, err := systemctl(ctx, "disable", "--now", unitName); err != nil {
			return err
		}
	}
	if err := removed(p.Unit); err != nil {
		return err
	}
	if _, err := systemctl(ctx, "daemon-reload"); err != nil {
		return err
	}
	p.Unit = ""
	return nil
}

func systemctl(ctx context.Context, args ...string) (string, error) {
	return output(ctx, "systemctl", append([]string{"--user"}, args...)...)
}
