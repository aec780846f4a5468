package server

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestReasonsAreListed: every reason that the code gives is in README.md's table.
func TestReasonsAreListed(t *testing.T) {
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) == 0 {
		t.Fatal("found no source", err)
	}
	given := regexp.MustCompile(`(?:refused|invalid)\("([a-z-]+)"|reason: +"([a-z-]+)"|detailed\(codes\.\w+, "[^"]*", "([a-z-]+)"`)
	n := 0
	for _, f := range files {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		src, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range given.FindAllStringSubmatch(string(src), -1) {
			n++
			if reason := m[1] + m[2] + m[3]; !strings.Contains(string(readme), "`"+reason+"`") {
				t.Errorf("%s gives reason %s, which README.md does not list", f, reason)
			}
		}
	}
	if n < 50 {
		t.Errorf("found only %d places that give a reason", n)
	}
}
