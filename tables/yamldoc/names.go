package yamldoc

import "strings"

// maxName is the longest name or id.
const maxName = 100

// Name checks the name of a document, at path.
func (l *Locator) Name(path, name string) error {
	if name == "" || len(name) > maxName || !spelt(name, "._-", false) {
		return l.Errorf(path, "1 to 100 of a-z, 0-9, dot, underscore and hyphen", "%.60q cannot be a name", name)
	}
	return nil
}

// ID checks the id of what stands at path, and that seen, which maps ids to their places, does not
// hold it yet.
func (l *Locator) ID(path, id string, seen map[string]string) error {
	if id == "" || len(id) > maxName || !spelt(id[:1], "", true) || !spelt(id[1:], "._-", true) {
		return l.Errorf(path+".id", "letters, digits, dot, underscore and hyphen, at most 100, the first a letter or digit", "%.60q cannot be an id", id)
	}
	if other, twice := seen[id]; twice {
		return l.Errorf(path+".id", "each id once", "id %q is already used by %s", id, other)
	}
	seen[id] = path
	return nil
}

// spelt asks for lower-case letters, digits and what else is given, and capitals where those are allowed.
func spelt(s, besides string, capitals bool) bool {
	for i := range len(s) {
		c := s[i]
		switch {
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9', capitals && c >= 'A' && c <= 'Z', strings.IndexByte(besides, c) >= 0:
		default:
			return false
		}
	}
	return true
}
