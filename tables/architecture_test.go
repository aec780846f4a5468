package tables_test

import (
	"os/exec"
	"strings"
	"testing"
)

// rules are the arrows of the architecture: what a package's non-test code may never reach.
var rules = []struct {
	packages string
	never    []string
}{
	{"witnessmark/tables/...", []string{"google.golang.org/grpc", "go.etcd.io/bbolt", "net", "net/http", "witnessmark/store", "witnessmark/server", "witnessmark/client"}},
	{"witnessmark/store/record", pureNever}, {"witnessmark/store/ledger", pureNever}, {"witnessmark/store/signoff", pureNever},
	{"witnessmark/store/...", []string{"google.golang.org/grpc", "witnessmark/server", "witnessmark/client", "witnessmark/proto/witnessmark/service/v1"}},
	{"witnessmark/server", []string{"witnessmark/client"}},
	{"witnessmark/client", []string{"go.etcd.io/bbolt", "witnessmark/store/bolt", "witnessmark/store/memory", "witnessmark/server"}},
	{"witnessmark/client/desk/...", []string{"go.etcd.io/bbolt", "witnessmark/store/bolt", "witnessmark/store/memory", "witnessmark/server"}},
	{"witnessmark/client/sheet", []string{"google.golang.org/grpc", "witnessmark/proto/witnessmark/service/v1", "witnessmark/server"}},
}

// pureNever is what the pure parts of the store stay away from.
var pureNever = []string{"google.golang.org/grpc", "go.etcd.io/bbolt", "witnessmark/store/bolt", "witnessmark/store/memory", "witnessmark/server", "witnessmark/client"}

// direct is what tables' own files may not import, though a library they use may.
var direct = []string{"os", "time", "net", "net/http", "math/rand", "math/rand/v2", "io/fs", "path/filepath"}

func TestArrowsPointOneWay(t *testing.T) {
	for _, r := range rules {
		deps := goList(t, "-deps", "-f", "{{.ImportPath}}", r.packages)
		if len(deps) < 2 {
			t.Fatalf("%s: go list found nothing to check", r.packages)
		}
		for _, d := range deps {
			for _, never := range r.never {
				// net itself, not what lies below it: net/url is a parser.
				if d == never || never != "net" && strings.HasPrefix(d, never+"/") {
					t.Errorf("%s reaches %s", r.packages, d)
				}
			}
		}
	}
}

func TestTablesKnowNoClockFilesOrChance(t *testing.T) {
	lines := goList(t, "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "witnessmark/tables/...")
	for _, line := range lines {
		words := strings.Fields(line)
		for _, imported := range words[1:] {
			for _, never := range direct {
				if imported == never {
					t.Errorf("%s imports %s", words[0], imported)
				}
			}
		}
	}
}

// TestTheDeskSeesOnlyWhatTheClientVerified: the desk's own files speak to no server and open no
// record; what they show came out of the client.
func TestTheDeskSeesOnlyWhatTheClientVerified(t *testing.T) {
	for _, line := range goList(t, "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "witnessmark/client/desk/...") {
		words := strings.Fields(line)
		for _, imported := range words[1:] {
			if strings.HasPrefix(imported, "google.golang.org/grpc") || strings.HasPrefix(imported, "witnessmark/store") ||
				strings.HasPrefix(imported, "witnessmark/server") || imported == "witnessmark/proto/witnessmark/service/v1" {
				t.Errorf("%s imports %s", words[0], imported)
			}
		}
	}
}

func goList(t *testing.T, args ...string) []string {
	t.Helper()
	out, err := exec.Command("go", append([]string{"list"}, args...)...).Output()
	if err != nil {
		t.Fatalf("go list %v: %v", args, err)
	}
	return strings.Split(strings.TrimSpace(string(out)), "\n")
}
