//go:build unix

package main

import (
	"bytes"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
)

// TestReadme runs every block of README.md as it stands there, in the order of the page: in one folder,
// with the demo's files in it and a home of its own for each person. The comment before a block names the
// person, and `clone` where it is for the clone's folder. A line that serves until it is ended is left running. In
// a block of kind console, `$ ` begins a command and the lines below are what it prints; `…` alone stands for any
// lines. Two names are put in: where the daemon listens, and the ledger's fingerprint.
func TestReadme(t *testing.T) {
	if underRace {
		t.Skip("the scripts have the same commands, and are watched by the race detector")
	}
	if testing.Short() {
		t.Skip("builds the commands")
	}
	if _, err := exec.LookPath("bash"); err != nil {
		t.Skip("bash is not installed")
	}
	page, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	r := newReader(t)
	blocks := regexp.MustCompile("(?ms)^(?:<!-- ([a-z ]+) -->\n)?```(sh|console)\n(.*?)^```$").FindAllStringSubmatch(string(page), -1)
	if len(blocks) < 8 {
		t.Fatalf("%d blocks of commands in README.md; the page has more", len(blocks))
	}
	for _, b := range blocks {
		who, clone := strings.CutPrefix(b[1], "clone")
		if who = strings.TrimSpace(who); who == "" {
			who = "lead"
		}
		r.dir = r.work
		if clone {
			r.dir = r.root
		}
		if b[2] == "sh" {
			for line := range strings.Lines(b[3]) {
				r.command(who, strings.TrimSpace(line))
			}
			continue
		}
		for _, c := range strings.Split("\n"+b[3], "\n$ ")[1:] {
			command, want, _ := strings.Cut(c, "\n")
			if got := r.command(who, command); !asShown(got, want) {
				t.Errorf("%s prints\n%s\nand README.md says\n%s", command, got, want)
			}
		}
	}
}

// reader is who follows the page.
type reader struct {
	*testing.T
	root, work, dir, homes, bin, addr, fingerprint string
}

func newReader(t *testing.T) *reader {
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "localhost:0")
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
	top := t.TempDir()
	r := &reader{T: t, root: root, work: filepath.Join(top, "work"), homes: filepath.Join(top, "homes"), bin: filepath.Join(top, "bin"), addr: l.Addr().String()}
	if err := os.CopyFS(r.work, os.DirFS(filepath.Join(root, "testdata", "demo"))); err != nil {
		t.Fatal(err)
	}
	return r
}

var serves = regexp.MustCompile(`witnessmark demo$|witnessmarkd serve|witnessmark desk|tray --watch`)

// command runs one line as a person and gives what it printed. `go test ./...` is what runs this.
func (r *reader) command(who, line string) string {
	r.Helper()
	line, _, _ = strings.Cut(line, " #")
	if line = strings.TrimSpace(line); line == "" || strings.HasPrefix(line, "#") || line == "go test ./..." {
		return ""
	}
	line = strings.NewReplacer("workshop.local:7017", r.addr, "SHA256:…", r.fingerprint).Replace(line)
	home := filepath.Join(r.homes, who)
	if err := os.MkdirAll(home, 0o700); err != nil {
		r.Fatal(err)
	}
	cmd := exec.Command("bash", "-c", "set -euo pipefail\n"+line)
	cmd.Dir = r.dir
	cmd.Env = append(os.Environ(), "HOME="+home, "XDG_CONFIG_HOME="+filepath.Join(home, "config"), "WITNESSMARK_HOME=", "SSH_AUTH_SOCK=",
		"GOBIN="+r.bin, "PATH="+r.bin+string(filepath.ListSeparator)+os.Getenv("PATH"), "GOCACHE="+goEnv(r.T, "GOCACHE"), "GOMODCACHE="+goEnv(r.T, "GOMODCACHE"))
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if serves.MatchString(line) {
		r.leave(cmd, line)
		return ""
	}
	if err := cmd.Run(); err != nil && cmd.ProcessState.ExitCode() != 1 && !strings.Contains(out.String(), "try:") && !strings.Contains(out.String(), "witnessmark: ") {
		r.Fatalf("%s\n%v\n%s", line, err, out.String())
	}
	if m := regexp.MustCompile(`SHA256:\S{43}`).FindString(out.String()); m != "" && strings.HasPrefix(line, "witnessmarkd init") {
		r.fingerprint = m
	}
	return out.String()
}

// leave starts what serves, and ends it with the test.
func (r *reader) leave(cmd *exec.Cmd, line string) {
	log, err := os.CreateTemp(r.TempDir(), "served")
	if err != nil {
		r.Fatal(err)
	}
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Start(); err != nil {
		r.Fatal(err)
	}
	r.Cleanup(func() {
		syscall.Kill(-cmd.Process.Pid, syscall.SIGINT)
		cmd.Wait()
	})
	for range 1200 {
		if said, _ := os.ReadFile(log.Name()); bytes.Contains(said, []byte("http://")) || bytes.Contains(said, []byte("listening")) || strings.Contains(line, "tray") {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	said, _ := os.ReadFile(log.Name())
	r.Fatalf("%s does not serve\n%s", line, said)
}

func goEnv(t *testing.T, name string) string {
	out, err := exec.Command("go", "env", name).Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(out))
}

var times = regexp.MustCompile(`\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ`)

// asShown compares what was printed with what the page shows, in which `…` alone stands for any lines, and a time for any.
func asShown(got, want string) bool {
	lines := func(s string) []string {
		var out []string
		for line := range strings.Lines(strings.TrimRight(times.ReplaceAllString(s, "TIME"), "\n")) {
			out = append(out, strings.TrimRight(line, " \n"))
		}
		return out
	}
	g, w := lines(got), lines(want)
	for {
		switch {
		case len(w) == 0:
			return len(g) == 0
		case w[0] == "…":
			for i := range len(g) + 1 {
				if asShown(strings.Join(g[i:], "\n"), strings.Join(w[1:], "\n")) {
					return true
				}
			}
			return false
		case len(g) == 0 || g[0] != w[0]:
			return false
		}
		g, w = g[1:], w[1:]
	}
}

func TestPrinted(t *testing.T) {
	for _, c := range []struct {
		got, want string
		same      bool
	}{
		{"a\nb\n", "a\nb", true}, {"a\nb", "a", false}, {"a", "a\nb", false}, {"a\nb\nc", "a\n…\nc", true}, {"a\nc", "a\n…\nc", true},
		{"at 2026-11-27T05:18:32Z", "at 2025-01-02T03:04:05Z", true}, {"a\nb\nd", "a\n…\nc", false}, {"a\nb", "…", true}, {"x\na\nb", "…\na\n…", true}, {"", "", true}, {"a", "", false},
	} {
		if asShown(c.got, c.want) != c.same {
			t.Errorf("%q against %q", c.got, c.want)
		}
	}
}
