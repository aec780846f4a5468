package pgtest

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

const childVariable = "WITNESSMARK_PGTEST_CHILD"

// TestNothingIsLeft kills a process that runs a cluster, and just meant to kill that: neither server nor folder is left.
func TestNothingIsLeft(t *testing.T) {
	need(t)
	if os.Getenv(childVariable) != "" {
		c := Start(t)
		freeze(c.running.Process)
		fmt.Println("cluster", c.dir)
		time.Sleep(time.Minute) // it is killed before that
	}
	child := exec.Command(os.Args[0], "-test.run=^TestNothingIsLeft$")
	child.Env = append(os.Environ(), childVariable+"=1")
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	dir := ""
	for lines := bufio.NewScanner(out); dir == "" && lines.Scan(); {
		dir, _ = strings.CutPrefix(lines.Text(), "cluster ")
		if dir == lines.Text() {
			dir = ""
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "data", "postmaster.pid")); dir == "" || err != nil {
		t.Fatalf("folder %q: %v", dir, err)
	}
	text, err := os.ReadFile(filepath.Join(dir, "data", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	pid := 0
	if _, err := fmt.Sscan(string(text), &pid); err != nil {
		t.Fatal(err)
	}
	if err := child.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = child.Wait()
	for until := time.Now().Add(30 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		_, folder := os.Stat(dir)
		state, process := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		if errors.Is(folder, os.ErrNotExist) && (process != nil || strings.Contains(string(state), ") Z ")) {
			return
		}
		if time.Now().After(until) {
			t.Fatalf("folder: %v; process: %s", folder, state)
		}
	}
}

// TestDatabasesAreApart gives each test its own database, empty although another was there before.
func TestDatabasesAreApart(t *testing.T) {
	var urls []string
	t.Run("first", func(t *testing.T) {
		urls = append(urls, URL(t), URL(t))
		if _, err := shared.cluster.sql("d1", "CREATE SCHEMA witnessmark; CREATE TABLE witnessmark.state ()"); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("second", func(t *testing.T) {
		urls = append(urls, URL(t))
		if out, err := shared.cluster.sql("d1", "SELECT to_regclass('witnessmark.state') IS NULL"); err != nil || out != "t" {
			t.Errorf("%q, %v", out, err)
		}
	})
	if urls[0] == urls[1] || urls[2] != urls[0] && urls[2] != urls[1] {
		t.Errorf("%q", urls)
	}
}
