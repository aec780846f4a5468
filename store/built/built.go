// Package built says what a program was built from, and which of two is the older.
package built

import (
	"runtime/debug"
	"strings"

	"golang.org/x/mod/semver"
)

// Version is that of this program: the module's, the revision where it is known, and Go's.
func Version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "not known"
	}
	text := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" || s.Key == "vcs.modified" && s.Value == "true" {
			text += " " + strings.Replace(s.Value, "true", "modified", 1)
		}
	}
	return text + " " + info.GoVersion
}

// Older says whether version a is older than b; known is false where one of them tells nothing of that, as what was
// built outside of a repository.
func Older(a, b string) (older, known bool) {
	a, _, _ = strings.Cut(a, " ")
	b, _, _ = strings.Cut(b, " ")
	if !semver.IsValid(a) || !semver.IsValid(b) {
		return false, false
	}
	return semver.Compare(a, b) < 0, true
}
