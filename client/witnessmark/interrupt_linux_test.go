package main

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/lockedfile"
	"golang.org/x/sys/unix"

	"witnessmark/client"
	"witnessmark/store/signoff"
)

// stopped starts a command, sends it a signal once ready says so, and wants its status to be that signal's.
func stopped(t *testing.T, c *exec.Cmd, signal syscall.Signal, ready func(said string) bool) {
	t.Helper()
	said := &heard{}
	c.Stderr = said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	stuck := time.AfterFunc(time.Minute, func() { _ = c.Process.Kill() })
	defer stuck.Stop()
	for !ready(said.String()) {
		time.Sleep(10 * time.Millisecond)
	}
	if err := c.Process.Signal(signal); err != nil {
		t.Fatal(err)
	}
	_ = c.Wait()
	if got := c.ProcessState.ExitCode(); got != 128+int(signal) {
		t.Errorf("%v: status %d after %v\n%.300s", c.Args, got, signal, said.String())
	}
}

// used is how much of the processor's time a process has had, in the system's ticks; of one that is gone, more
// than any: its status tells the rest.
func used(c *exec.Cmd) int {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", c.Process.Pid))
	f := strings.Fields(string(b[bytes.LastIndexByte(b, ')')+1:]))
	if err != nil || len(f) < 13 || f[0] == "Z" {
		return math.MaxInt
	}
	user, _ := strconv.Atoi(f[11])
	system, _ := strconv.Atoi(f[12])
	return user + system
}

// heard is what a command said so far.
type heard struct {
	mu  sync.Mutex
	all []byte
}

func (h *heard) Write(b []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.all = append(h.all, b...)
	return len(b), nil
}

func (h *heard) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return string(h.all)
}

// homeOf is a folder of somebody who is logged in to a server that is not there.
func homeOf(t *testing.T, server string, passphrase []byte) (dir, key string) {
	t.Helper()
	dir = t.TempDir()
	key = filepath.Join(dir, "id")
	public, err := client.NewKey(key, "", passphrase)
	if err != nil {
		t.Fatal(err)
	}
	config := fmt.Sprintf(`{"server": %q, "key": %q, "genesis": "%064d", "server_key": %q}`, server, key, 0, signoff.FormatPublicKey(public))
	if err := os.WriteFile(filepath.Join(dir, "config.json"), []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir, key
}

// A signal ends a command wherever it is: reckoning, waiting for a server that never answers, waiting for
// another command of the same person.
func TestSignalEndsAtOnce(t *testing.T) {
	demo := filepath.Join("..", "..", "testdata", "demo")
	dir, key := homeOf(t, "127.0.0.1:1", nil)
	t.Setenv("WITNESSMARK_HOME", dir)
	long := filepath.Join(t.TempDir(), "long.csv")
	if err := os.WriteFile(long, longRun(2_000_000), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, signal := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP} {
		reckoning := exec.Command("witnessmark", "run", "show", long)
		stopped(t, reckoning, signal, func(string) bool { return used(reckoning) > 20 })

		addr, reached := silentServer(t)
		silent := exec.Command("witnessmark", "login", addr, "--key", key, "--fingerprint", "SHA256:x")
		stopped(t, silent, signal, func(string) bool { return len(reached) > 0 })

		unlock, err := lockedfile.MutexAt(filepath.Join(dir, "lock")).Lock()
		if err != nil {
			t.Fatal(err)
		}
		waiting := exec.Command("witnessmark", "whoami")
		stopped(t, waiting, signal, func(said string) bool { return strings.Contains(said, "server not reached") })
		unlock()
	}
	if out, err := exec.Command("witnessmark", "check", filepath.Join(demo, "asfound.bin"), "--definition", filepath.Join(demo, "dx1-1.8t.yaml"),
		"--limits", filepath.Join(demo, "dx1-road-98.yaml")).CombinedOutput(); err != nil {
		t.Errorf("a command that nobody interrupts: %v\n%s", err, out)
	}
}

// silentServer takes one connection, and says nothing.
func silentServer(t *testing.T) (addr string, reached chan net.Conn) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	reached = make(chan net.Conn, 1)
	go func() {
		if c, err := l.Accept(); err == nil {
			reached <- c
		}
	}()
	return l.Addr().String(), reached
}

// longRun is a run that takes some seconds to be read.
func longRun(rows int) []byte {
	var b bytes.Buffer
	b.WriteString("time [s],engine_speed [1/min],torque [N.m]\n")
	for i := range rows {
		fmt.Fprintf(&b, "%.2f,%d,%d\n", float64(i)/100, 1500+i%5000, 200+i%50)
	}
	return b.Bytes()
}

// pseudoTerminal is both ends of a terminal; nobody types at it unless the test does.
func pseudoTerminal(t *testing.T) (master, slave *os.File) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skip("no pseudo-terminals here:", err)
	}
	t.Cleanup(func() { master.Close() })
	fd := int(master.Fd())
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err == nil {
		err = unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0)
	}
	if err == nil {
		slave, err = os.OpenFile(fmt.Sprint("/dev/pts/", n), os.O_RDWR|unix.O_NOCTTY, 0)
	}
	if err != nil {
		t.Skip("no pseudo-terminals here:", err)
	}
	t.Cleanup(func() { slave.Close() })
	return master, slave
}

// At a passphrase's prompt a signal ends the command too, be it sent or typed, and the terminal shows again what is typed.
func TestSignalAtAPrompt(t *testing.T) {
	dir, _ := homeOf(t, "127.0.0.1:1", []byte("open sesame"))
	t.Setenv("WITNESSMARK_HOME", dir)
	for _, typed := range []bool{false, true} {
		master, slave := pseudoTerminal(t)
		shows := func() bool {
			state, err := unix.IoctlGetTermios(int(slave.Fd()), unix.TCGETS)
			if err != nil {
				t.Fatal(err)
			}
			return state.Lflag&unix.ECHO != 0
		}
		if !shows() {
			t.Fatal("the terminal hides what is typed from the start")
		}
		c := exec.Command("witnessmark", "whoami")
		c.Stdin = slave
		c.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
		prompt, err := c.StderrPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		if text, err := bufio.NewReader(prompt).ReadString(':'); err != nil || !strings.Contains(text, "passphrase of") {
			t.Fatalf("%q, %v", text, err)
		}
		for shows() {
			time.Sleep(time.Millisecond)
		}
		if typed {
			_, err = master.Write([]byte{3}) // Ctrl-C
		} else {
			err = c.Process.Signal(syscall.SIGINT)
		}
		if err != nil {
			t.Fatal(err)
		}
		_ = c.Wait()
		if got := c.ProcessState.ExitCode(); got != 130 || !shows() {
			t.Errorf("typed %v: status %d, shows what is typed: %v", typed, got, shows())
		}
	}
}
