package tables_test

import (
	"io/fs"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// rules are the arrows of the architecture: what a package's non-test code may never reach.
var rules = []struct {
	packages string
	never    []string
}{
	{"witnessmark/tables/...", []string{"google.golang.org/grpc", "go.etcd.io/bbolt", "net", "net/http", "witnessmark/store", "witnessmark/server", "witnessmark/client"}},
	{"witnessmark/store/record", pureNever}, {"witnessmark/store/claims", pureNever}, {"witnessmark/store/ledger", pureNever}, {"witnessmark/store/signoff", pureNever},
	{"witnessmark/store/...", []string{"google.golang.org/grpc", "witnessmark/server", "witnessmark/client", "witnessmark/proto/witnessmark/service/v1"}},
	{"witnessmark/server", []string{"witnessmark/client"}},
	{"witnessmark/client", clientNever}, {"witnessmark/client/desk/...", clientNever}, {"witnessmark/client/workshop", clientNever},
	{"witnessmark/client/demo", []string{"google.golang.org/grpc", "witnessmark/store", "witnessmark/server"}},
	{"witnessmark/client/sheet", []string{"google.golang.org/grpc", "witnessmark/proto/witnessmark/service/v1", "witnessmark/server"}},
}

// pureNever is what the pure parts of the store stay away from.
var pureNever = []string{"google.golang.org/grpc", "go.etcd.io/bbolt", "witnessmark/store/bolt", "witnessmark/store/memory", "witnessmark/server", "witnessmark/client"}

// clientNever leaves a client one engine, for its own copy of the ledger.
var clientNever = []string{"witnessmark/store/memory", "witnessmark/store/postgres", "witnessmark/server"}

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
// store; what they show came out of the client, in the words of the pure packages.
func TestTheDeskSeesOnlyWhatTheClientVerified(t *testing.T) {
	for _, line := range goList(t, "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "witnessmark/client/desk/...") {
		words := strings.Fields(line)
		for _, imported := range words[1:] {
			pure := slices.Contains([]string{"witnessmark/store/record", "witnessmark/store/signoff", "witnessmark/store/claims",
				"witnessmark/store/held"}, imported) // the last knows folders in use, and no ledger
			if strings.HasPrefix(imported, "google.golang.org/grpc") || strings.HasPrefix(imported, "witnessmark/store") && !pure ||
				strings.HasPrefix(imported, "witnessmark/server") || imported == "witnessmark/proto/witnessmark/service/v1" {
				t.Errorf("%s imports %s", words[0], imported)
			}
		}
	}
}

// TestNothingIsCompiledUnderTestdata: ./... passes over such folders, so tests there never run.
func TestNothingIsCompiledUnderTestdata(t *testing.T) {
	folders := 0
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && path != ".." && strings.HasPrefix(d.Name(), "."):
			return fs.SkipDir
		case d.IsDir() && d.Name() == "testdata":
			folders++
		case filepath.Ext(path) == ".go" && strings.Contains(filepath.ToSlash(path), "/testdata/"):
			t.Errorf("%s is never compiled", path)
		}
		return nil
	})
	if err != nil || folders == 0 {
		t.Errorf("%d folders of test data, %v", folders, err)
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
