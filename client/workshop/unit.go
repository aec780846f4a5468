package workshop

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"witnessmark/client"
)

// unitName is the unit's of a daemon that systemd runs for a person.
const unitName = program + ".service"

// asUnit has systemd run the daemon for this person, and waits until it answers. It fails where systemd does not run for them, and
// then nothing is left of the unit.
func asUnit(ctx context.Context, path string, p *plan, home *client.Home) (d *Daemon, err error) {
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
	defer func() {
		if err != nil {
			err = errors.Join(err, p.removeUnit(context.WithoutCancel(ctx)))
		}
	}()
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
	err = answers(ctx, p.Listen, func() error {
		if _, err := systemctl(ctx, "is-failed", "--quiet", unitName); err == nil {
			return errors.New("the unit failed: journalctl --user --unit " + unitName)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &Daemon{Unit: file, Says: []string{"the workshop's server is the systemd user unit " + file,
		"it runs while you are logged in to this machine; to have it run always: loginctl enable-linger"}}, nil
}

// removeUnit takes away the unit of a beginning that failed.
func (p *plan) removeUnit(ctx context.Context) error {
	if p.Unit == "" {
		return nil
	}
	var stopped error
	if client.FileExists(p.Unit) {
		_, stopped = systemctl(ctx, "disable", "--now", unitName)
	}
	err := removed(p.Unit)
	if _, reload := systemctl(ctx, "daemon-reload"); err == nil {
		err = reload
	}
	if err = errors.Join(stopped, err); err == nil {
		p.Unit = ""
	}
	return err
}

func systemctl(ctx context.Context, args ...string) (string, error) {
	return output(ctx, "systemctl", append([]string{"--user"}, args...)...)
}
