package yamldoc

import (
	"fmt"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Locator finds the lines of a document's fields. A nil one knows none.
type Locator struct {
	file string
	root func() *yaml.Node // nil where the file is no YAML
}

// Line is where the field at path stands, or where the nearest field around it does, from
// 1; 0 if not known. A path is written as in errors: tables[2].stored.type.
func (l *Locator) Line(path string) int {
	if l == nil {
		return 0
	}
	node := l.root()
	if node == nil {
		return 0
	}
	line := node.Line
	for _, step := range steps(path) {
		for node != nil && node.Kind == yaml.AliasNode {
			node = node.Alias
		}
		next, at := child(node, step)
		if next == nil {
			break
		}
		node, line = next, at
	}
	return line
}

// Errorf is an *Error at path. allowed says what would be right, and may be empty.
func (l *Locator) Errorf(path, allowed, format string, args ...any) error {
	e := &Error{Line: l.Line(path), Path: path, Problem: fmt.Sprintf(format, args...), Allowed: allowed}
	if l != nil {
		e.File = l.file
	}
	return e
}

// steps cuts a path into names and bracketed indices or keys.
func steps(path string) []string {
	var out []string
	for path != "" {
		if path[0] == '[' {
			end := strings.IndexByte(path, ']')
			if end < 0 {
				return out
			}
			out, path = append(out, path[:end]), path[end+1:]
			continue
		}
		path = strings.TrimPrefix(path, ".")
		end := strings.IndexAny(path, ".[")
		if end < 0 {
			end = len(path)
		}
		if end == 0 {
			return out
		}
		out, path = append(out, path[:end]), path[end:]
	}
	return out
}

// child is the node one step down, and its line: a field's is that of its name.
func child(node *yaml.Node, step string) (*yaml.Node, int) {
	if node == nil {
		return nil, 0
	}
	key, bracket := strings.CutPrefix(step, "[")
	switch {
	case node.Kind == yaml.SequenceNode && bracket:
		if i, err := strconv.Atoi(key); err == nil && i >= 0 && i < len(node.Content) {
			return node.Content[i], node.Content[i].Line
		}
	case node.Kind == yaml.MappingNode:
		for i := 0; i+1 < len(node.Content); i += 2 {
			if node.Content[i].Value == key || bracket && sameInteger(node.Content[i].Value, key) {
				return node.Content[i+1], node.Content[i].Line
			}
		}
	}
	return nil, 0
}

func sameInteger(a, b string) bool {
	x, errX := strconv.ParseInt(a, 0, 64)
	y, errY := strconv.ParseInt(b, 0, 64)
	return errX == nil && errY == nil && x == y
}
