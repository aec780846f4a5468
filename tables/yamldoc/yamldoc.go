// Package yamldoc reads one YAML document, as a person writes it, into a protobuf message
// by the message's own field names, and refuses everything that the message has no place for.
package yamldoc

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"
)

// MaxBytes is the largest document that Decode looks at.
const MaxBytes = 16 << 20

// MaxFaults is how many faults of a document are looked for.
const MaxFaults = 200

// maxNodes is the most values of a document, those that aliases stand for too. The parser makes all that stand in the file before
// anything else is looked at, a few hundred bytes each: the worst document takes 0.8 GB for as long as it is read.
const maxNodes = 3 << 19

const tooLarge = "the document is too large"

var atMost = fmt.Sprintf("at most %d values, aliases written out", maxNodes)

// Error is one fault of a document. Line is 0 where it is not known.
type Error struct {
	File    string
	Line    int
	Path    string // as in tables[2].stored.type; empty for the document itself
	Problem string
	Allowed string // empty where the problem says it all
}

func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d", e.Line)
	}
	for _, part := range []string{e.Path, What(e)} {
		if part != "" && b.Len() > 0 {
			b.WriteString(": ")
		}
		b.WriteString(part)
	}
	return b.String()
}

// Decode reads file into m, which should be empty. name is what errors call the file.
// Text is one line long but in the fields that multiline names. Every error is an *Error, for the first fault found. The locator knows the lines of
// what was read, for faults of meaning that are found later.
func Decode(name string, file []byte, m proto.Message, multiline ...string) (*Locator, error) {
	at, faults := decode(name, file, m, &decoder{multiline: multiline})
	if len(faults) > 0 {
		return nil, faults[0]
	}
	return at, nil
}

// DecodeAll is Decode that goes on after a fault, up to MaxFaults: what stands at one has no value then.
// The locator is nil where the file is no YAML.
func DecodeAll(name string, file []byte, m proto.Message, multiline ...string) (*Locator, []error) {
	return decode(name, file, m, &decoder{multiline: multiline, all: true})
}

func decode(name string, file []byte, m proto.Message, d *decoder) (*Locator, []error) {
	root, err := parse(name, file)
	if err != nil {
		return nil, []error{err}
	}
	d.file, d.left, d.spare = name, maxNodes, map[*plan]*spare{}
	if err := d.message(root, planOf(m), reflect.ValueOf(m).Elem()); err != nil {
		d.faults = append(d.faults, err)
	}
	return Locate(name, file), d.faults
}

// Locate is the locator of a file whose message is already at hand. A file that is not
// YAML has no lines, which the locator then leaves out. It reads the file when it is first asked for a line.
func Locate(name string, file []byte) *Locator {
	return &Locator{file: name, root: sync.OnceValue(func() *yaml.Node {
		root, err := parse(name, file)
		if err != nil {
			return nil
		}
		return root
	})}
}

var syntaxLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)`)

// parse gives the root node of the only document in file.
func parse(name string, file []byte) (root *yaml.Node, err error) {
	if len(file) > MaxBytes {
		return nil, &Error{File: name, Problem: fmt.Sprintf("the file is %d bytes long", len(file)),
			Allowed: fmt.Sprintf("at most %d bytes", MaxBytes)}
	}
	if marks(file) > maxNodes {
		return nil, &Error{File: name, Problem: tooLarge, Allowed: atMost}
	}
	// The parser is not ours: whatever it trips over is the document's fault, never a crash.
	defer func() {
		if r := recover(); r != nil {
			root, err = nil, &Error{File: name, Problem: "is not YAML that can be read"}
		}
	}()
	dec := yaml.NewDecoder(bytes.NewReader(file))
	var doc, more yaml.Node
	if err := dec.Decode(&doc); err != nil {
		return nil, syntax(name, err)
	}
	switch err := dec.Decode(&more); {
	case err == nil:
		return nil, &Error{File: name, Line: more.Line, Problem: "a second document begins here", Allowed: "one document in a file"}
	case !errors.Is(err, io.EOF):
		return nil, syntax(name, err)
	}
	if doc.Kind != yaml.DocumentNode || len(doc.Content) != 1 {
		return nil, syntax(name, io.EOF)
	}
	return doc.Content[0], nil
}

// marks counts what may stand before a value, without reading the file as YAML: about as many as there are values.
func marks(file []byte) int {
	n := 0
	for i, c := range file {
		switch c {
		case ',', ':', '[', '{', '?', '\n':
			n++
		case '-':
			if i+1 < len(file) && (file[i+1] == ' ' || file[i+1] == '\n') {
				n++
			}
		}
	}
	return n
}

// syntax turns the parser's error into one of ours, with the line in its place.
func syntax(name string, err error) error {
	if errors.Is(err, io.EOF) {
		return &Error{File: name, Problem: "there is nothing in the file", Allowed: "one YAML document"}
	}
	e := &Error{File: name, Problem: "is not YAML: " + err.Error()}
	first, _, _ := strings.Cut(err.Error(), "\n")
	if m := syntaxLine.FindStringSubmatch(first); m != nil {
		e.Line, _ = strconv.Atoi(m[1])
		e.Problem = "is not YAML: " + m[2]
	}
	return e
}
