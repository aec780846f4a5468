// Package severity is the order of the words that findings and verdicts use.
package severity

import (
	"fmt"
	"slices"
	"strings"
)

// Level is how bad a finding is, or the worst of them: clear, or a signal word of ANSI Z535.6.
type Level string

// The levels, least first.
const (
	Clear   Level = "clear"
	Notice  Level = "notice"
	Caution Level = "caution"
	Warning Level = "warning"
	Danger  Level = "danger"
)

var levels = []Level{Clear, Notice, Caution, Warning, Danger}

// Parse reads a word; the error says which are allowed.
func Parse(word string) (Level, error) {
	if !slices.Contains(levels, Level(word)) {
		return "", fmt.Errorf("%.60q is no severity; allowed: %s", word, strings.Join(Words(), ", "))
	}
	return Level(word), nil
}

// Of reads a word of a report or an action. One that is not known is the worst there is: what
// nobody understands must not pass.
func Of(word string) Level {
	if l, err := Parse(word); err == nil {
		return l
	}
	return Danger
}

// Words are all levels, least first: clear, then what a finding can be.
func Words() []string {
	words := make([]string, len(levels))
	for i, l := range levels {
		words[i] = string(l)
	}
	return words
}

// Rank is 0 for clear to 4 for danger, and for what is not known.
func (l Level) Rank() int { return slices.Index(levels, Of(string(l))) }

// AtLeast says whether l is as bad as m, or worse.
func (l Level) AtLeast(m Level) bool { return l.Rank() >= m.Rank() }

// Worse says whether a is worse than b.
func Worse(a, b Level) bool { return a.Rank() > b.Rank() }
