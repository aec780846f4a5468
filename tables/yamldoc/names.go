package yamldoc

import "regexp"

var (
	namePattern = regexp.MustCompile(`^[a-z0-9._-]{1,100}$`)
	idPattern   = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$`)
)

// Name checks the name of a document, at path.
func (l *Locator) Name(path, name string) error {
	if !namePattern.MatchString(name) {
		return l.Errorf(path, "1 to 100 of a-z, 0-9, dot, underscore and hyphen", "%.60q cannot be a name", name)
	}
	return nil
}

// ID checks the id of what stands at path, and that seen, which maps ids to their places, does not
// hold it yet.
func (l *Locator) ID(path, id string, seen map[string]string) error {
	if !idPattern.MatchString(id) {
		return l.Errorf(path+".id", "letters, digits, dot, underscore and hyphen, at most 100, the first a letter or digit", "%.60q cannot be an id", id)
	}
	if other, twice := seen[id]; twice {
		return l.Errorf(path+".id", "each id once", "id %q is already used by %s", id, other)
	}
	seen[id] = path
	return nil
}
