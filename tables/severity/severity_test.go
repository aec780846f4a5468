package severity

import (
	"slices"
	"strings"
	"testing"
)

// ANSI Z535.6 ranks its signal words danger, warning, caution, notice; clear is below all.
func TestOrder(t *testing.T) {
	words := []string{"clear", "notice", "caution", "warning", "danger"}
	if !slices.Equal(Words(), words) {
		t.Fatalf("words %q", Words())
	}
	for i, a := range words {
		if l, err := Parse(a); err != nil || string(l) != a || Of(a) != l || l.Rank() != i {
			t.Errorf("%s: %s, rank %d, %v", a, l, l.Rank(), err)
		}
		for j, b := range words {
			if Worse(Of(a), Of(b)) != (i > j) || Of(a).AtLeast(Of(b)) != (i >= j) {
				t.Errorf("%s against %s", a, b)
			}
		}
	}
}

func TestUnknownIsTheWorst(t *testing.T) {
	for _, word := range []string{"", "Danger", "clear ", "fatal"} {
		if _, err := Parse(word); err == nil || !strings.HasSuffix(err.Error(), "allowed: clear, notice, caution, warning, danger") {
			t.Errorf("Parse(%q): %v", word, err)
		}
		if Of(word) != Danger || Level(word).Rank() != 4 || !Worse(Level(word), Warning) {
			t.Errorf("%q passes", word)
		}
	}
}
