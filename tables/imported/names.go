package imported

import (
	"fmt"
	"strings"
	"unicode"

	"witnessmark/tables/yamldoc"
)

// axisLetters end the names of axes that are written out in their table.
var axisLetters = []string{"x", "y", "z", "4", "5"}

// ids are those that are used already.
type ids map[string]bool

// of makes a name an id that nothing else has.
func (u ids) of(name string) string {
	plain := Name(name)
	id := plain
	for n := 2; u[id]; n++ {
		id = fmt.Sprintf("%s_%d", plain, n)
	}
	u[id] = true
	return id
}

// Name is what of a name can be an id, or the name of a definition.
func Name(name string) string {
	id := strings.Map(func(r rune) rune {
		switch r = unicode.ToLower(r); {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '.', r == '_', r == '-':
			return r
		}
		return '_'
	}, name)
	if id = strings.TrimLeft(id, "._-"); id == "" {
		id = "x"
	}
	return id[:min(len(id), 90)]
}

// oneLine is a text without what cannot be printed.
func oneLine(s string) string {
	s = strings.ToValidUTF8(s, "")
	s = strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) || yamldoc.Hidden(r) {
			return ' '
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}
