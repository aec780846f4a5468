package workshop

import (
	"context"
	"errors"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"time"

	"witnessmark/client"
)

// How long a daemon that failed is left alone, and how long one that was told to end may take.
const (
	startAgain = 2 * time.Second
	ends       = 30 * time.Second
)

// child runs a daemon for as long as this process lives; one that fails is started again.
type child struct {
	run  func() *exec.Cmd
	say  func(string)
	last tail

	mu       sync.Mutex
	cmd      *exec.Cmd
	stopping bool
	began    chan struct{} // closed when it has answered
	stopped  chan struct{} // closed when it was told to end
	done     chan struct{} // closed when it ended for good
}

// asChild starts a daemon and waits until it answers.
func asChild(ctx context.Context, path string, p *plan, say func(string)) (*Daemon, error) {
	if say == nil {
		say = func(string) {}
	}
	c := &child{say: say, began: make(chan struct{}), stopped: make(chan struct{}), done: make(chan struct{})}
	c.run = func() *exec.Cmd {
		cmd := exec.Command(path, "serve", "--data", p.Folder, "--listen", p.Listen)
		cmd.Env, cmd.Stderr = environment(), &c.last
		dieWithUs(cmd)
		return cmd
	}
	failed := make(chan error, 1)
	go c.keep(failed)
	err := answers(ctx, p.Listen, func() error {
		select {
		case err := <-failed:
			return err
		default:
			return nil
		}
	})
	if err != nil {
		return nil, errors.Join(err, c.stop())
	}
	close(c.began)
	return &Daemon{child: c, Says: []string{"the workshop's server is a part of this program, and ends with it"}}, nil
}

// keep runs the daemon until it is told to end, on a thread of its own (see dieWithUs).
func (c *child) keep(failed chan<- error) {
	runtime.LockOSThread()
	defer close(c.done)
	for {
		cmd := c.run()
		err := c.begin(cmd)
		if err == nil {
			err = cmd.Wait()
		}
		c.mu.Lock()
		stopping := c.stopping
		c.mu.Unlock()
		switch {
		case stopping:
			return
		case err == nil:
			err = errors.New("somebody else told it to")
		}
		why := "the workshop's server ended: " + c.last.why(err)
		select {
		case <-c.began:
			c.say(why + "; it is started again")
		default:
			failed <- errors.New(why)
			return
		}
		select {
		case <-c.stopped:
			return
		case <-time.After(startAgain):
		}
	}
}

func (c *child) begin(cmd *exec.Cmd) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.stopping {
		return context.Canceled
	}
	c.cmd = cmd
	return cmd.Start()
}

// stop ends the daemon as a service manager would, and waits for it.
func (c *child) stop() error {
	c.mu.Lock()
	if !c.stopping {
		c.stopping = true
		close(c.stopped)
		if c.cmd != nil && c.cmd.Process != nil {
			_ = c.cmd.Process.Signal(syscall.SIGTERM) // it may have ended already
		}
	}
	c.mu.Unlock()
	select {
	case <-c.done:
		return nil
	case <-time.After(ends):
		return errors.Join(errors.New("the workshop's server did not end when it was told to"), c.cmd.Process.Kill())
	}
}

// tail keeps the end of what a program says.
type tail struct {
	mu  sync.Mutex
	end []byte
}

const kept = 4 << 10

func (t *tail) Write(b []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.end = append(t.end, b...)
	t.end = t.end[max(0, len(t.end)-kept):]
	return len(b), nil
}

// why is the last thing that was said where the program said why it ended, else how it did.
func (t *tail) why(err error) string {
	t.mu.Lock()
	defer t.mu.Unlock()
	lines := strings.Split(strings.TrimSpace(string(t.end)), "\n")
	if said, ok := strings.CutPrefix(lines[len(lines)-1], program+": "); ok {
		return client.OneLine(said)
	}
	return err.Error()
}

// Resume starts the daemon again that a workshop's folder began as a child, for whoever could not reach it; nil where there is none, where
// systemd runs it, or where something listens at its address already.
func Resume(ctx context.Context, home *client.Home, say func(line string)) (*Daemon, error) {
	free, err := lock(home) // two desks may begin at once
	if err != nil {
		return nil, err
	}
	defer free()
	p, err := planIn(home)
	if p == nil || err != nil || p.Unit != "" || !home.LoggedIn() {
		return nil, err
	}
	if _, err := unused(ctx, p.Listen, 0); err != nil {
		return nil, nil
	}
	path, err := find()
	if err != nil {
		return nil, err
	}
	return asChild(ctx, path, p, say)
}
