package workshop

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"witnessmark/client"
	"witnessmark/store/signoff"
)

// program is the daemon's.
const program = "witnessmarkd"

// begins is how long a daemon may take until it answers.
const begins = 30 * time.Second

// Daemon is a workshop's daemon that this program has run.
type Daemon struct {
	// Unit is the file of the systemd user unit that runs it; empty where it is a child of this process, and ends with it.
	Unit string
	// Says is which way it runs, and what that means, a line each.
	Says []string

	child *child
}

// Stop ends a daemon that is a child; a unit goes on.
func (d *Daemon) Stop() error {
	if d == nil || d.child == nil {
		return nil
	}
	return d.child.stop()
}

// find looks for the daemon's program.
func find() (string, error) {
	own, err := os.Executable()
	if err != nil {
		return "", err
	}
	beside := filepath.Join(filepath.Dir(own), program)
	if info, err := os.Stat(beside); err == nil && info.Mode().IsRegular() && info.Mode()&0o111 != 0 {
		return beside, nil
	}
	path, err := exec.LookPath(program)
	if err != nil {
		return "", usage("install it there (it runs on Linux alone), or join a workshop that runs elsewhere", "%s was found neither beside %s nor on PATH", program, own)
	}
	return filepath.Abs(path)
}

// init makes the ledger, and answers with its fingerprint.
func (p *plan) init(ctx context.Context, o Options, path string, lead ed25519.PublicKey) (fingerprint string, err error) {
	file := filepath.Join(o.Home.Dir, "lead.pub")
	if err := os.WriteFile(file, []byte(signoff.FormatPublicKey(lead)+"\n"), 0o600); err != nil {
		return "", err
	}
	defer os.Remove(file)
	args := []string{"init", "--data", p.Folder, "--lead", o.Lead, "--lead-key", file}
	if o.OnePerson {
		args = append(args, "--one-person")
	}
	out, err := output(ctx, path, args...)
	return strings.TrimSpace(out), err
}

// serve has the daemon run, as a unit where that can be, and waits until it answers.
func (p *plan) serve(ctx context.Context, o Options, path string) (err error) {
	if p.daemon, err = asUnit(ctx, path, p, o.Home); err == nil || ctx.Err() != nil {
		return err
	}
	if p.removeUnit(ctx) != nil {
		return err // and undo tries once more, and says so
	}
	if err := p.write(o.Home); err != nil {
		return err
	}
	why := "it is no systemd user unit: " + client.OneLine(err.Error())
	if p.daemon, err = asChild(ctx, path, p, o.Say); err == nil {
		p.daemon.Says = append(p.daemon.Says, why)
	}
	return err
}

// stop has the daemon of a beginning that failed end.
func (p *plan) stop(ctx context.Context) error {
	return errors.Join(p.daemon.Stop(), p.removeUnit(ctx))
}

// answers waits until something listens at an address; ended says that it is of no use to wait.
func answers(ctx context.Context, listen string, ended func() error) error {
	listen, _ = here(listen)
	return patiently(ctx, begins, func() (bool, error) {
		if err := ended(); err != nil {
			return true, err
		}
		c, err := net.DialTimeout("tcp", listen, time.Second)
		if err != nil {
			return false, fmt.Errorf("the server does not answer at %s: %w", listen, err)
		}
		return true, c.Close()
	})
}

// patiently tries again and again until something is done, for so long at most.
func patiently(ctx context.Context, most time.Duration, try func() (done bool, err error)) error {
	end := time.Now().Add(most)
	for {
		done, err := try()
		if done || time.Now().After(end) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// output runs a program and answers with what it prints; its error is its last line.
func output(ctx context.Context, path string, args ...string) (string, error) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	cmd := exec.CommandContext(ctx, path, args...)
	dieWithUs(cmd)
	cmd.WaitDelay = time.Second
	cmd.Env = environment()
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	err := cmd.Run()
	if ctx.Err() != nil {
		return "", ctx.Err()
	}
	var exit *exec.ExitError
	if errors.As(err, &exit) && said.Len() > 0 {
		err = errors.New(lastLine(said.String()))
	}
	if err != nil {
		return "", fmt.Errorf("%s %s: %w", filepath.Base(path), args[0], err)
	}
	return out.String(), nil
}

// lastLine is the last thing that a program said, without its name before it.
func lastLine(text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	return client.OneLine(strings.TrimPrefix(lines[len(lines)-1], program+": "))
}

// environment is without the database of another ledger.
func environment() []string {
	return slices.DeleteFunc(os.Environ(), func(v string) bool { return strings.HasPrefix(v, "WITNESSMARK_DATABASE=") })
}
