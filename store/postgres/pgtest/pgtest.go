// Package pgtest gives tests a PostgreSQL of their own: private clusters in temporary folders, gone with the
// process that started them, however it ends.
package pgtest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
)

var shared struct {
	mu      sync.Mutex
	cluster *Cluster
	err     error
	made    int
	free    []string // databases that no test uses
}

// URL is a new, empty database in the process's shared cluster, which is started when first asked for. Where
// PostgreSQL's programs are missing the test is skipped, and fails with CI set.
func URL(t testing.TB) string {
	t.Helper()
	_, url := Shared(t)
	return url
}

// Shared is URL with the cluster, for a test that nothing else runs beside: it leaves the cluster as it was, and running.
func Shared(t testing.TB) (*Cluster, string) {
	t.Helper()
	need(t)
	shared.mu.Lock()
	defer shared.mu.Unlock()
	if shared.made == 0 {
		shared.cluster, shared.err = start("")
	}
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	if len(shared.free) == 0 {
		shared.made++
		name := fmt.Sprint("d", shared.made)
		if _, err := shared.cluster.sql("postgres", "CREATE DATABASE "+name); err != nil {
			t.Fatalf("create database: %v", err)
		}
		shared.free = append(shared.free, name)
	}
	name := shared.free[len(shared.free)-1]
	shared.free = shared.free[:len(shared.free)-1]
	t.Cleanup(func() { giveBack(name) })
	return shared.cluster, shared.cluster.url(name)
}

// giveBack empties a database for the next test, which is quicker than making one; where it cannot be emptied it is left alone.
func giveBack(name string) {
	_, err := shared.cluster.sql("postgres", "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '"+name+"'")
	if err == nil {
		_, err = shared.cluster.sql(name, "SET client_min_messages = error; SET lock_timeout = '5s'; DROP SCHEMA IF EXISTS witnessmark CASCADE")
	}
	if err == nil {
		shared.mu.Lock()
		shared.free = append(shared.free, name)
		shared.mu.Unlock()
	}
}

// need skips a test that PostgreSQL's programs are missing for.
func need(t testing.TB) {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("it needs sockets in folders")
	}
	for _, name := range []string{"initdb", "postgres", "pg_basebackup"} {
		if _, err := program(name); err != nil {
			const how = "it needs PostgreSQL 13 or newer: apt-get install postgresql"
			if os.Getenv("CI") != "" {
				t.Fatalf("%v; %s", err, how)
			}
			t.Skipf("%v; %s", err, how)
		}
	}
}

// program finds one of PostgreSQL's: Debian keeps some of them out of the path.
func program(name string) (string, error) {
	newest, path := 0, ""
	found, _ := filepath.Glob("/usr/lib/postgresql/[0-9]*/bin/" + name)
	for _, at := range found {
		version, err := strconv.Atoi(strings.Split(at, "/")[4])
		if err == nil && version > newest { // 9.6 is none
			newest, path = version, at
		}
	}
	if path != "" {
		return path, nil
	}
	return exec.LookPath(name)
}
