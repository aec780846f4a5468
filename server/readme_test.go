package server

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"witnessmark/store/bolt"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// TestExamples runs what README.md shows to other programs, as it stands there, against a server:
// with the key that it makes, enrolled as a lead between the two.
func TestExamples(t *testing.T) {
	if _, err := exec.LookPath("grpcurl"); err != nil {
		const how = "grpcurl is not here: go install github.com/fullstorydev/grpcurl/cmd/grpcurl@v1.9.3"
		if os.Getenv("CI") != "" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	first, rest := "", ""
	for _, m := range regexp.MustCompile("(?s)\n```sh( key)?\n(.*?)\n```\n").FindAllStringSubmatch(string(fileBytes(t, "README.md")), -1) {
		if m[1] != "" {
			first += m[2] + "\n"
		} else {
			rest += m[2] + "\n"
		}
	}
	b := newBench(t)
	b.released("AB 12 CD")
	dir := t.TempDir()
	run := func(script string) string {
		t.Helper()
		cmd := exec.Command("bash", "-c", "set -euo pipefail\n"+script)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "ADDR="+b.srv.Addr(), "BASE="+hashOf(demoFile(t, "asfound.bin")), "CANDIDATE="+hashOf(demoFile(t, "submission-2.bin")),
			"DEFINITION="+b.revision(record.Definitions, definitionName).GetSha256())
		var said bytes.Buffer
		cmd.Stderr = &said
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%v: %s\n%s\n%s", err, said.String(), script, out)
		}
		return string(out)
	}
	key, err := signoff.ParsePublicKey("management.pub", []byte(run(first)))
	if err != nil {
		t.Fatal(err)
	}
	enrol := enrolAction("management", b.keys["lead"], "lead")
	enrol.GetEnrol().PublicKey = signoff.FormatPublicKey(key)
	b.must("lead", enrol)
	out := run(rest)
	for _, want := range []string{`"SERVING"`, "witnessmark.service.v1.Comparisons", "rpc List", `"text": "AB 12 CD"`, `"number": 1`, `"name": "dx1-1.8t"`,
		`"name": "dx1-road-98"`, `"name": "calibrator"`, `"name": "management"`, `"checkpoint"`, `"boost.target"`} {
		if !strings.Contains(out, want) {
			t.Errorf("no %s in\n%.4000s", want, out)
		}
	}
	e, err := bolt.OpenReadOnly(filepath.Join(dir, "backup.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if found, err := checkStore(e); err != nil || found.Entries != b.size() || len(found.Found) > 0 {
		t.Errorf("the backup: %+v %v", found, err)
	}
}

// TestReasonsAreListed: every reason that the code gives is in README.md's table, and every one that
// is there is given.
func TestReasonsAreListed(t *testing.T) {
	_, table, _ := strings.Cut(string(fileBytes(t, "README.md")), "## Reasons")
	listed := map[string]bool{}
	for _, m := range regexp.MustCompile("`([a-z-]+)`").FindAllStringSubmatch(table, -1) {
		listed[m[1]] = true
	}
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) == 0 {
		t.Fatal("found no source", err)
	}
	given := map[string]bool{}
	reason := regexp.MustCompile(`invalid\("([a-z-]+)"|reason: +"([a-z-]+)"|detailed\(codes\.\w+, "[^"]*", "([a-z-]+)"`)
	for _, f := range files {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		for _, m := range reason.FindAllStringSubmatch(string(fileBytes(t, f)), -1) {
			word := m[1] + m[2] + m[3]
			if given[word] = true; !listed[word] {
				t.Errorf("%s gives reason %s, which README.md does not list", f, word)
			}
		}
	}
	for word := range listed {
		if !given[word] {
			t.Errorf("README.md lists reason %s, which nothing gives", word)
		}
	}
}
