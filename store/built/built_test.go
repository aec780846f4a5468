package built_test

import (
	"runtime"
	"strings"
	"testing"

	"witnessmark/store/built"
)

// The order is that of Semantic Versioning 2.0.0, section 11, and of Go's pseudo-versions, which begin with the time of
// a commit: go.dev/ref/mod, "Pseudo-versions".
func TestOlder(t *testing.T) {
	for _, c := range []struct {
		a, b         string
		older, known bool
	}{
		{"v1.2.0 go1.26", "v1.10.0 go1.26", true, true},
		{"v1.10.0", "v1.2.0", false, true},
		{"v1.2.0", "v1.2.0 0123abc modified go1.27", false, true},
		{"v1.0.0-alpha.1", "v1.0.0", true, true},
		{"v0.0.0-20261126090000-aaaaaaaaaaaa", "v0.0.0-20261127090000-000000000000", true, true},
		{"v0.0.0-20261127090000-aaaaaaaaaaaa+dirty go1.26", "v0.0.0-20261127090000-aaaaaaaaaaaa go1.26", false, true},
		{"v0.0.0-20261127090000-aaaaaaaaaaaa", "v1.0.0", true, true},
		{"(devel) go1.26", "v1.0.0", false, false},
		{"v1.0.0", "", false, false},
		{"not known", "v1.0.0", false, false},
	} {
		if older, known := built.Older(c.a, c.b); older != c.older || known != c.known {
			t.Errorf("%q and %q: older %v, known %v; want %v, %v", c.a, c.b, older, known, c.older, c.known)
		}
	}
}

func TestVersion(t *testing.T) {
	if v := built.Version(); !strings.HasSuffix(v, " "+runtime.Version()) || strings.ContainsAny(v, "\r\n") {
		t.Errorf("%q", v)
	}
}
