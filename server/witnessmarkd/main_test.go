package main

import (
	"bufio"
	"crypto/ed25519"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/signoff"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"witnessmarkd": main})
}

// TestScripts runs each behaviour of the command as a script.
func TestScripts(t *testing.T) { runScripts(t, "testdata", nil) }

// TestDatabaseScripts runs those that need a database, which is theirs alone.
func TestDatabaseScripts(t *testing.T) {
	runScripts(t, filepath.Join("testdata", "database"), map[string]string{"URL": pgtest.URL(t), "OTHER": pgtest.URL(t)})
}

func runScripts(t *testing.T, dir string, variables map[string]string) {
	testscript.Run(t, testscript.Params{
		Dir:                 dir,
		RequireUniqueNames:  true,
		RequireExplicitExec: true,
		Setup: func(e *testscript.Env) error {
			for name, value := range variables {
				e.Setenv(name, value)
			}
			pub := signoff.FormatPublicKey(leadKey().Public().(ed25519.PublicKey))
			return os.WriteFile(filepath.Join(e.WorkDir, "lead.pub"), []byte(pub+" somebody@bay\n"), 0o600)
		},
	})
}

func leadKey() ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed([]byte("the lead's key of the command's t")[:32])
}

var listening = regexp.MustCompile(`msg=listening addr=(127\.0\.0\.1:\d+)`)

// TestServeUntilSIGTERM runs the real daemon: it says where it listens, serves, and stops
// cleanly with status 0 when it is told to. What it leaves can be served again.
func TestServeUntilSIGTERM(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	pub := filepath.Join(t.TempDir(), "lead.pub")
	line := signoff.FormatPublicKey(leadKey().Public().(ed25519.PublicKey))
	if err := os.WriteFile(pub, []byte(line+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("witnessmarkd", "init", "--data", dir, "--lead", "lead", "--lead-key", pub).CombinedOutput()
	if err != nil {
		t.Fatalf("init: %v\n%s", err, out)
	}
	for range 2 {
		serveOnce(t, dir)
	}
	out, err = exec.Command("witnessmarkd", "check", "--data", dir).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "all is well") {
		t.Errorf("check: %v\n%s", err, out)
	}
}

// started is a daemon that serves a folder, where it listens, and what else it says.
func started(t *testing.T, dir string, variables ...string) (cmd *exec.Cmd, addr string, lines *bufio.Scanner) {
	t.Helper()
	cmd = exec.Command("witnessmarkd", "serve", "--data", dir, "--listen", "127.0.0.1:0")
	cmd.Env = append(os.Environ(), variables...)
	stderr, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	lines = bufio.NewScanner(stderr)
	for addr == "" && lines.Scan() {
		if m := listening.FindStringSubmatch(lines.Text()); m != nil {
			addr = m[1]
		}
	}
	if addr == "" {
		t.Fatal("it did not say where it listens")
	}
	answers(t, addr)
	return cmd, addr, lines
}

// answers wants a daemon to know the lead.
func answers(t *testing.T, addr string) {
	t.Helper()
	conn, err := tls.Dial("tcp", addr, clientTLS(t))
	if err != nil {
		t.Fatalf("connect: %v", err)
	}
	conn.Close()
}

// TestServeDatabase runs two daemons on one database, with one folder. One is killed: the other goes on, and so does the
// next one, which takes away what was left.
func TestServeDatabase(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	pub := filepath.Join(t.TempDir(), "lead.pub")
	line := signoff.FormatPublicKey(leadKey().Public().(ed25519.PublicKey))
	if err := os.WriteFile(pub, []byte(line+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	variable := databaseVariable + "=" + pgtest.URL(t)
	begin := exec.Command("witnessmarkd", "init", "--data", dir, "--lead", "lead", "--lead-key", pub)
	begin.Env = append(os.Environ(), variable)
	if out, err := begin.CombinedOutput(); err != nil {
		t.Fatalf("init: %v\n%s", err, out)
	}
	one, _, _ := started(t, dir, variable)
	two, addr, _ := started(t, dir, variable)
	if err := one.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = one.Wait()
	answers(t, addr)
	three, _, _ := started(t, dir, variable)
	for _, cmd := range []*exec.Cmd{two, three} {
		if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Fatal(err)
		}
		if err := cmd.Wait(); err != nil {
			t.Errorf("after SIGTERM: %v", err)
		}
	}
	if names, err := os.ReadDir(dir); err != nil || len(names) != 1 {
		t.Errorf("in the folder lie %v, %v; want the key alone", names, err)
	}
}

func serveOnce(t *testing.T, dir string) {
	t.Helper()
	cmd, addr, lines := started(t, dir)
	second, err := exec.Command("witnessmarkd", "serve", "--data", dir, "--listen", "127.0.0.1:0").CombinedOutput()
	if exit, ok := err.(*exec.ExitError); !ok || exit.ExitCode() != 2 || !strings.HasPrefix(string(second), "witnessmarkd: ") || !strings.Contains(string(second), "another process holds it") {
		t.Errorf("a second daemon on the same folder: %v\n%s", err, second)
	}
	copied := filepath.Join(t.TempDir(), "copy.db")
	for i, want := range []string{"", "copy.db"} {
		out, err := exec.Command("witnessmarkd", "backup", "--data", dir, "--out", copied).CombinedOutput()
		if (err == nil) != (want == "") || strings.Count(string(out), "\n") != i || !strings.Contains(string(out), want) {
			t.Errorf("backup %d of a running server: %v\n%s", i, err, out)
		}
	}
	again := filepath.Join(t.TempDir(), "again")
	out, err := exec.Command("witnessmarkd", "restore", "--data", again, "--in", copied, "--server-key", filepath.Join(dir, "server.key")).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "1 entries") {
		t.Errorf("the backup of a running server: %v\n%s", err, out)
	}
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	var rest strings.Builder
	for lines.Scan() {
		fmt.Fprintln(&rest, lines.Text())
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("after SIGTERM: %v\n%s", err, rest.String())
	}
	if !strings.Contains(rest.String(), "msg=stopped") {
		t.Errorf("it did not say that it stopped: %s", rest.String())
	}
	if c, err := net.DialTimeout("tcp", addr, time.Second); err == nil {
		c.Close()
		t.Error("it still listens")
	}
}

func clientTLS(t *testing.T) *tls.Config {
	t.Helper()
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(nil, template, template, leadKey().Public(), leadKey())
	if err != nil {
		t.Fatal(err)
	}
	return &tls.Config{
		Certificates:       []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: leadKey()}},
		InsecureSkipVerify: true, // whether it answers is all that is asked
		NextProtos:         []string{"h2"},
	}
}

// TestUnits has systemd read the units, with a program that is there in the place of ours, and no word of complaint; and
// once more with what a database adds to them.
func TestUnits(t *testing.T) {
	if _, err := exec.LookPath("systemd-analyze"); err != nil {
		const how = "systemd-analyze is not here: apt-get install systemd"
		if os.Getenv("CI") != "" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	units, err := filepath.Glob("*.service")
	timers, _ := filepath.Glob("*.timer")
	if units = append(units, timers...); err != nil || len(units) != 3 {
		t.Fatalf("units: %q %v", units, err)
	}
	dir := t.TempDir()
	args := []string{"verify", "--man=no"}
	for _, name := range units {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(string(raw), "\n") {
			if command, ok := strings.CutPrefix(line, "ExecStart="); ok {
				checkCommandLine(t, name, command)
			}
		}
		unit := strings.ReplaceAll(string(raw), "/usr/local/bin/witnessmarkd", os.Args[0])
		if err := os.WriteFile(filepath.Join(dir, name), []byte(unit), 0o600); err != nil {
			t.Fatal(err)
		}
		args = append(args, filepath.Join(dir, name))
	}
	verify := func() {
		t.Helper()
		cmd := exec.Command("systemd-analyze", args...)
		cmd.Env = append(os.Environ(), "SYSTEMD_UNIT_PATH="+dir+":")
		if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
			t.Errorf("%v\n%s", err, out)
		}
	}
	verify()
	added, err := os.ReadFile("database.conf")
	if err != nil || !strings.Contains(string(added), "\n# "+databaseVariable+"=postgres://") {
		t.Fatalf("it does not say where the URL is: %v", err)
	}
	for _, name := range []string{"witnessmarkd.service.d", "witnessmarkd-backup.service.d"} {
		if err := errors.Join(os.Mkdir(filepath.Join(dir, name), 0o700), os.WriteFile(filepath.Join(dir, name, "database.conf"), added, 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	verify()
}

// checkCommandLine has the daemon itself read the options that a unit gives it.
func checkCommandLine(t *testing.T, unit, command string) {
	t.Helper()
	_, args, found := strings.Cut(command, "/usr/local/bin/witnessmarkd ")
	if !found {
		t.Fatalf("%s does not start witnessmarkd: %s", unit, command)
	}
	fields := strings.Fields(strings.NewReplacer("'", "", `"`, "").Replace(regexp.MustCompile(`\$\([^)]*\)`).ReplaceAllString(args, "now")))
	for i, f := range fields {
		if strings.HasPrefix(f, "/var/lib/") {
			fields[i] = filepath.Join(t.TempDir(), "nowhere")
		}
	}
	out, err := exec.Command("witnessmarkd", fields...).CombinedOutput()
	if err == nil || !strings.Contains(string(out), "is not a server's folder") {
		t.Errorf("%s: witnessmarkd %q: %v\n%s", unit, fields, err, out)
	}
}
