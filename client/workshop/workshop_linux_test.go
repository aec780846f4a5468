package workshop

import (
	"context"
	"errors"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"witnessmark/client"
	"witnessmark/store/signoff"
)

var ctx = context.Background()

func TestMain(m *testing.M) {
	if len(os.Args) == 3 && os.Args[1] == "begin" {
		begin(os.Args[2])
	}
	status := m.Run()
	if madeFor != "" {
		_ = os.RemoveAll(madeFor)
	}
	os.Exit(status)
}

// madeFor is the folder that built made; empty where it made none.
var madeFor string

// underIt is set where the tests run under a systemd of their own: to the folder with the daemon's program.
const underIt = "WITNESSMARK_TEST_SYSTEMD"

// built is a folder with the real daemon's program.
var built = sync.OnceValues(func() (string, error) {
	if dir := os.Getenv(underIt); dir != "" {
		return dir, nil
	}
	dir, err := os.MkdirTemp("", "witnessmark-workshop-test-*")
	if madeFor = dir; err == nil {
		var out []byte
		if out, err = exec.Command("go", "build", "-o", dir, "witnessmark/server/witnessmarkd").CombinedOutput(); err != nil {
			err = errors.New(string(out))
		}
	}
	return dir, err
})

// machine is a person's machine: the daemon's program is on PATH, and systemd does not run for them.
type machine struct {
	testing.TB
	home *client.Home
	bin  string // first on PATH
	real string // the daemon's program
}

func newMachine(t *testing.T) *machine {
	t.Helper()
	dir, err := built()
	if err != nil {
		t.Fatal(err)
	}
	m := &machine{t, &client.Home{Dir: filepath.Join(t.TempDir(), "home")}, t.TempDir(), filepath.Join(dir, program)}
	t.Setenv("PATH", m.bin+":"+dir+":/usr/bin:/bin")
	t.Setenv("XDG_CONFIG_HOME", filepath.Join(t.TempDir(), "config"))
	t.Setenv("WITNESSMARK_DATABASE", "postgres://another/ledger") // which is none of this workshop's
	m.script("systemctl", `echo "Failed to connect to bus: No medium found" >&2; exit 1`)
	return m
}

// script puts a program in front of all others of its name.
func (m *machine) script(name, text string) {
	m.Helper()
	if err := os.WriteFile(filepath.Join(m.bin, name), []byte("#!/bin/sh\n"+strings.ReplaceAll(text, "REAL", m.real)+"\n"), 0o700); err != nil {
		m.Fatal(err)
	}
}

func (m *machine) options() Options {
	return Options{Home: m.home, Lead: "lead", Listen: "127.0.0.1:0"}
}

// starts wants a workshop to start, and to be whole.
func (m *machine) starts(o Options) *Started {
	m.Helper()
	s, err := Start(ctx, o)
	if err != nil {
		m.Fatal(err)
	}
	m.Cleanup(func() { _, _ = s.Client.Close(), s.Daemon.Stop() })
	me, err := s.Client.Me()
	if err != nil || me.GetName() != o.Lead || strings.Join(me.GetRoles(), ",") != "lead" {
		m.Errorf("the lead is %v, %v", me, err)
	}
	if i, err := s.Client.Invite(); err != nil || i.Head.Size != 1 {
		m.Errorf("invitation %s, %v", i, err)
	}
	return s
}

// refuses wants no workshop, for a reason in one line, and everything as it was.
func (m *machine) refuses(o Options, says string) {
	m.Helper()
	before := m.files()
	s, err := Start(ctx, o)
	if err == nil {
		_, _ = s.Client.Close(), s.Daemon.Stop()
		m.Fatalf("it starts; want %q", says)
	}
	if text := err.Error(); !strings.Contains(text, says) || strings.ContainsAny(text, "\n\r") {
		m.Errorf("%q; want %q in one line", text, says)
	}
	if after := m.files(); !slices.Equal(before, after) {
		m.Errorf("%s: before it there were %q, and now %q", says, before, after)
	}
}

// files are those of the person, but for a lock's.
func (m *machine) files() (names []string) {
	m.Helper()
	for _, dir := range []string{m.home.Dir, os.Getenv("XDG_CONFIG_HOME")} {
		_ = filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
			if err == nil && !d.IsDir() && d.Name() != lockFile {
				names = append(names, path)
			}
			return nil
		})
	}
	return names
}

func typed(passphrase string) client.Passphrase {
	return func(string) ([]byte, error) { return []byte(passphrase), nil }
}

// Without systemd the daemon is a child. It ends with its parent, and is started again by the next.
func TestStartAsChild(t *testing.T) {
	m := newMachine(t)
	o := m.options()
	o.OnePerson, o.Key = true, client.OwnKey{New: typed("correct horse")}
	s := m.starts(o)
	if says := strings.Join(s.Daemon.Says, "\n"); s.Daemon.Unit != "" || !strings.Contains(says, "ends with it") || !strings.Contains(says, "No medium found") {
		t.Errorf("it says %q", says)
	}
	if !s.Client.OnePerson() || s.Folder != DefaultFolder(m.home) {
		t.Errorf("one person: %v, in %s", s.Client.OnePerson(), s.Folder)
	}
	if _, err := client.LoadSigner(m.home.KeyPath(), typed("wrong")); !errors.Is(err, signoff.ErrPassphrase) {
		t.Errorf("the key's passphrase: %v", err)
	}
	if d, err := Resume(ctx, m.home, nil); d != nil || err != nil {
		t.Errorf("started beside itself: %v, %v", d, err)
	}
	m.refuses(m.options(), "belongs to a workshop already")
	if err := s.Daemon.Stop(); err != nil {
		t.Fatal(err)
	}
	if err := s.Client.Sync(ctx); client.KindOf(err) != client.Away {
		t.Errorf("after its end: %v", err)
	}
	d, err := Resume(ctx, m.home, nil)
	if err != nil || d == nil {
		t.Fatal(err)
	}
	if err := s.Client.Sync(ctx); err != nil {
		t.Errorf("started again: %v", err)
	}
	if err := d.Stop(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(filepath.Join(s.Folder, "server.key")); err != nil {
		t.Error(err)
	}
}

// To others a workshop that listens on the network has another address than to its own machine.
func TestStartOnTheNetwork(t *testing.T) {
	m := newMachine(t)
	o := m.options()
	o.Listen, o.Address = ":0", "bay.lan:7017, office.lan:7017"
	s := m.starts(o)
	if got := s.Client.Server(); !strings.HasPrefix(got, "127.0.0.1:") || !strings.HasSuffix(got, ",bay.lan:7017,office.lan:7017") {
		t.Errorf("the server is at %s", got)
	}
	if i, err := s.Client.Invite(); err != nil || strings.Join(i.Addresses, ",") != "bay.lan:7017,office.lan:7017" {
		t.Errorf("%s, %v", i, err)
	}
}

// Everything that is wrong is said in one line, and nothing is left of it: the last try is the right one.
func TestStartRefuses(t *testing.T) {
	m := newMachine(t)
	with := func(change func(*Options)) Options {
		o := m.options()
		change(&o)
		return o
	}
	m.refuses(with(func(o *Options) { o.Lead = "le/ad" }), "U+002F")
	m.refuses(with(func(o *Options) { o.Listen = "nowhere" }), "is not where a server can listen")
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	m.refuses(with(func(o *Options) { o.Listen = taken.Addr().String() }), "address already in use")
	full := filepath.Join(m.home.Dir, "full")
	if err := errors.Join(os.MkdirAll(full, 0o700), os.WriteFile(filepath.Join(full, "a map"), nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	m.refuses(with(func(o *Options) { o.Folder = full }), "full is not empty")
	m.refuses(with(func(o *Options) { o.Folder = filepath.Join(full, "a map", "x") }), "not a directory")
	for address, says := range map[string]string{"bay.lan": `"bay.lan" is not where a server is`, "bay.lan:7017, bay.lan:x": `"bay.lan:x" has no port`} {
		m.refuses(with(func(o *Options) { o.Address = address }), says)
	}
	m.refuses(with(func(o *Options) {
		o.Key.New = func(string) ([]byte, error) { return nil, errors.New("the two passphrases differ; no key was made") }
	}), "the two passphrases differ")
	locked := client.OwnKey{Path: filepath.Join(m.home.Dir, "locked"), Ask: typed("wrong")}
	if _, err := client.NewKey(locked.Path, "", []byte("right")); err != nil {
		t.Fatal(err)
	}
	m.refuses(with(func(o *Options) { o.Key = locked }), "passphrase")
	if err := os.Chmod(locked.Path, 0o644); err != nil {
		t.Fatal(err)
	}
	m.refuses(with(func(o *Options) { o.Key = locked }), "is a private key that others can read")
	if err := os.Chmod(locked.Path, 0o600); err != nil {
		t.Fatal(err)
	}
	m.script(program, `echo "witnessmarkd: the disk is on fire" >&2; exit 2`)
	m.refuses(m.options(), "witnessmarkd init: the disk is on fire")
	m.script(program, `case $1 in serve) echo "witnessmarkd: the lock is stuck" >&2; exit 2;; esac; exec REAL "$@"`)
	m.refuses(m.options(), "the workshop's server ended: the lock is stuck; the ledger that was made in ")
	i, err := client.ParseInvitation("witnessmark invitation h:1 SHA256:" + strings.Repeat("A", 43) + " 1:" + strings.Repeat("0", 64))
	if err != nil {
		t.Fatal(err)
	}
	joining, err := client.BeginJoining(m.home, i, "Anna", []string{"lead"}, client.OwnKey{Path: m.home.KeyPath()})
	if err != nil {
		t.Fatal(err)
	}
	m.refuses(m.options(), "Anna is joining a workshop already")
	if err := joining.GiveUp(); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", t.TempDir())
	m.refuses(m.options(), "witnessmarkd was found neither beside ")
	t.Setenv("PATH", m.bin+":"+filepath.Dir(m.real)+":/usr/bin:/bin")
	if err := os.Remove(filepath.Join(m.bin, program)); err != nil {
		t.Fatal(err)
	}
	locked.Ask = typed("right")
	m.starts(with(func(o *Options) { o.Key = locked }))
}

// A daemon that is killed, or told to end by somebody else, is started again, and that is said.
func TestChildThatFails(t *testing.T) {
	m := newMachine(t)
	said := make(chan string, 1)
	o := m.options()
	o.Say = func(line string) { said <- line }
	s := m.starts(o)
	c := s.Daemon.child
	for _, by := range []struct {
		signal syscall.Signal
		says   string
	}{{syscall.SIGKILL, "signal: killed"}, {syscall.SIGTERM, "somebody else told it to"}} {
		c.mu.Lock()
		err := c.cmd.Process.Signal(by.signal)
		c.mu.Unlock()
		if err != nil {
			t.Fatal(err)
		}
		if line := <-said; line != "the workshop's server ended: "+by.says+"; it is started again" {
			t.Error(line)
		}
		err = patiently(ctx, time.Minute, func() (bool, error) {
			err := s.Client.Sync(ctx)
			return err == nil, err
		})
		if err != nil {
			t.Error(err)
		}
	}
}

// chosen is the passphrase of a key that is made by a beginning that is killed.
const chosen = "correct horse"

// begin is a process that begins a workshop in a folder, and is killed.
func begin(dir string) {
	s, err := Start(ctx, Options{Home: &client.Home{Dir: dir}, Lead: "lead", Listen: "127.0.0.1:0", Key: client.OwnKey{New: typed(chosen)}})
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "began"), []byte(s.Client.Server()), 0o600)
	}
	if err != nil {
		_, _ = os.Stderr.WriteString(err.Error())
		os.Exit(2)
	}
	select {}
}

// killedAfter has a process begin a workshop, and kills it once a file is there.
func (m *machine) killedAfter(file string) {
	m.Helper()
	own, err := os.Executable()
	if err != nil {
		m.Fatal(err)
	}
	cmd := exec.Command(own, "begin", m.home.Dir)
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		m.Fatal(err)
	}
	err = patiently(ctx, time.Minute, func() (bool, error) {
		_, err := os.Stat(filepath.Join(m.home.Dir, file))
		return err == nil, err
	})
	_ = cmd.Process.Kill()
	_ = cmd.Wait()
	if err != nil {
		m.Fatal(err)
	}
}

// A beginning that was killed, wherever, is in nobody's way; a daemon ends with the process whose child it is.
func TestKilledBeginnings(t *testing.T) {
	for _, hang := range []string{"init", "serve"} {
		m := newMachine(t)
		m.script(program, `if [ $1 = `+hang+` ]; then touch `+m.home.Dir+`/hangs; exec sleep 60; fi; exec REAL "$@"`)
		m.killedAfter("hangs")
		if err := errors.Join(os.Remove(filepath.Join(m.bin, program)), os.Remove(filepath.Join(m.home.Dir, "hangs"))); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(filepath.Join(m.home.Dir, planFile)); err != nil {
			t.Fatal(err)
		}
		slip := m.options()
		slip.Key = client.OwnKey{Ask: typed("corect horse"), New: typed("corect horse")}
		if _, err := Start(ctx, slip); !errors.Is(err, signoff.ErrPassphrase) {
			t.Errorf("another passphrase than the key's: %v", err)
		}
		o := m.options()
		o.Key.Ask = typed(chosen)
		m.starts(o)
	}
	m := newMachine(t)
	m.killedAfter("began")
	addr, err := os.ReadFile(filepath.Join(m.home.Dir, "began"))
	if err != nil {
		t.Fatal(err)
	}
	err = patiently(ctx, time.Minute, func() (bool, error) {
		c, err := net.Dial("tcp", string(addr))
		if err == nil {
			return false, errors.Join(errors.New("the daemon goes on"), c.Close())
		}
		return true, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	d, err := Resume(ctx, m.home, nil)
	if err != nil || d == nil {
		t.Fatal(err)
	}
	defer d.Stop()
	c, err := client.Open(m.home, typed(chosen))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if err := c.Sync(ctx); err != nil {
		t.Error(err)
	}
	if err := Abandon(ctx, m.home); err != nil || !client.FileExists(filepath.Join(m.home.Dir, planFile)) {
		t.Errorf("a workshop that is theirs is abandoned: %v", err)
	}
}

// Whoever joins a workshop where a beginning was killed runs no server of it.
func TestAbandoned(t *testing.T) {
	m := newMachine(t)
	if err := Abandon(ctx, m.home); err != nil || len(m.files()) > 0 {
		t.Errorf("where nothing began: %v, %q", err, m.files())
	}
	m.script(program, `if [ $1 = serve ]; then touch `+m.home.Dir+`/hangs; exec sleep 60; fi; exec REAL "$@"`)
	m.killedAfter("hangs")
	if err := errors.Join(os.Remove(filepath.Join(m.home.Dir, "hangs")), Abandon(ctx, m.home)); err != nil {
		t.Fatal(err)
	}
	if left := m.files(); !slices.Equal(left, []string{m.home.KeyPath(), m.home.KeyPath() + ".pub"}) {
		t.Errorf("there is left %q", left)
	}
}

// What a plan names is taken away only where nobody has used it.
func TestUsedLedgerStays(t *testing.T) {
	m := newMachine(t)
	s := m.starts(m.options())
	other := filepath.Join(t.TempDir(), "calibrator")
	if _, err := client.NewKey(other, "", nil); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Client.Enrol(ctx, "calibrator", []string{"calibrator"}, other+".pub"); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.Client.Close(), s.Daemon.Stop(), os.Remove(filepath.Join(m.home.Dir, "config.json"))); err != nil {
		t.Fatal(err)
	}
	m.refuses(m.options(), "holds a ledger of 2 entries")
	if err := os.WriteFile(filepath.Join(m.home.Dir, planFile), []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	m.refuses(m.options(), planFile+" is damaged")
}
