package signoff

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// maxDepth bounds nesting inside what is not known field by field.
const maxDepth = 64

// walker reads one JSON text token by token. encoding/json and protojson both forgive more than a
// signed text may contain: names in another case, names twice, null, numbers in quotes.
type walker struct{ d *json.Decoder }

func newWalker(at string, raw []byte) (*walker, error) {
	if !utf8.Valid(raw) {
		return nil, formError(at, "it is not UTF-8")
	}
	w := &walker{json.NewDecoder(bytes.NewReader(raw))}
	w.d.UseNumber()
	return w, nil
}

// end refuses anything but space after the value.
func (w *walker) end(at string) error {
	if _, err := w.d.Token(); err != io.EOF {
		return formError(at, "something follows the end of its object")
	}
	return nil
}

func (w *walker) token(at string) (json.Token, error) {
	t, err := w.d.Token()
	if err != nil {
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		return nil, formError(at, "%v", err)
	}
	return t, nil
}

// open reads one opening delimiter.
func (w *walker) open(at string, delim json.Delim, what string) error {
	t, err := w.token(at)
	if err != nil {
		return err
	}
	if t != delim {
		return formError(at, "%s, %s is allowed", tokenName(t), what)
	}
	return nil
}

// object reads an object and calls value for each name, which must read that value; no name comes twice.
func (w *walker) object(at string, value func(name string) error) error {
	if err := w.open(at, '{', "an object"); err != nil {
		return err
	}
	seen := map[string]bool{}
	for w.d.More() {
		t, err := w.token(at)
		if err != nil {
			return err
		}
		name, ok := t.(string)
		if !ok {
			return formError(at, "%s, a name is allowed", tokenName(t))
		}
		if seen[name] {
			return formError(at, "field %q is there twice", clip(name))
		}
		seen[name] = true
		if err := value(name); err != nil {
			return err
		}
	}
	_, err := w.token(at)
	return err
}

// list reads an array and calls value for each element, which must read it.
func (w *walker) list(at string, value func(at string) error) error {
	if err := w.open(at, '[', "a list"); err != nil {
		return err
	}
	for i := 0; w.d.More(); i++ {
		if err := value(fmt.Sprintf("%s[%d]", at, i)); err != nil {
			return err
		}
	}
	_, err := w.token(at)
	return err
}

// skip reads any value, still refusing names that come twice. Errors inside it name the place where
// it begins: a path that grew with the nesting would cost more than the text.
func (w *walker) skip(at string, depth int) error {
	if depth > maxDepth {
		return formError(at, "nested more than %d deep", maxDepth)
	}
	t, err := w.token(at)
	if err != nil {
		return err
	}
	switch t {
	case json.Delim('{'):
		seen := map[string]bool{}
		for w.d.More() {
			name, err := w.token(at)
			if err != nil {
				return err
			}
			text, ok := name.(string)
			if !ok || seen[text] {
				return formError(at, "field %q is there twice", clip(text))
			}
			seen[text] = true
			if err := w.skip(at, depth+1); err != nil {
				return err
			}
		}
		_, err = w.token(at)
	case json.Delim('['):
		for w.d.More() {
			if err := w.skip(at, depth+1); err != nil {
				return err
			}
		}
		_, err = w.token(at)
	}
	return err
}

// checkMessage walks one JSON text against a message's descriptor. Exact proto names are allowed
// and nothing else; the one exception, at the top, is a single unknown field that holds an
// object, whose name it answers.
func checkMessage(at string, raw []byte, d protoreflect.MessageDescriptor) (unknown string, err error) {
	w, err := newWalker(at, raw)
	if err != nil {
		return "", err
	}
	err = w.object(at, func(name string) error {
		field := d.Fields().ByName(protoreflect.Name(name))
		if field != nil {
			return w.field(at+"."+name, field)
		}
		// The kinds of today are found in a body's oneof under their names: what is unknown
		// and no object, or not alone, is a mistake and no newer kind.
		if unknown != "" || !newerName(name) {
			return unknownField(at, name, d)
		}
		unknown = name
		return w.object(at+"."+name, func(inner string) error { return w.skip(at+"."+name+"."+clip(inner), 2) })
	})
	if err != nil {
		return "", err
	}
	return unknown, w.end(at)
}

// newerName is whether a name is written as proto names are: camelCase spellings of known
// fields must not pass for newer kinds.
func newerName(name string) bool {
	return name != "" && strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789_") == ""
}

// formOf reads the form of an action, whatever else it holds: 0 where it states none. It is not ok
// where that is no whole number, or the payload not one JSON object without names twice.
func formOf(payloadType string, payload []byte) (form uint64, ok bool) {
	w, err := newWalker("action", payload)
	if err != nil {
		return 0, false
	}
	inAction := func(name string) error {
		if name != "form" {
			return w.skip(name, 2)
		}
		t, err := w.token(name)
		n, isNumber := t.(json.Number)
		if err != nil || !isNumber || !isWhole(n) {
			return formError(name, "%s, allowed is a whole number in digits", tokenName(t))
		}
		form, _ = strconv.ParseUint(n.String(), 10, 64) // the most there is, where it is more
		return nil
	}
	top := inAction
	if payloadType == StatementType {
		top = func(name string) error {
			if name == "predicate" {
				return w.object(name, inAction)
			}
			return w.skip(name, 1)
		}
	}
	if err = w.object("action", top); err == nil {
		err = w.end("action")
	}
	return form, err == nil
}

func isWhole(n json.Number) bool { return strings.Trim(n.String(), "0123456789") == "" }

func unknownField(at, name string, d protoreflect.MessageDescriptor) error {
	return formError(at, "field %q is unknown, allowed are %s", clip(name), fieldNames(d))
}

func (w *walker) field(at string, f protoreflect.FieldDescriptor) error {
	switch {
	case f.IsMap():
		return w.object(at, func(name string) error { return w.single(at+"."+clip(name), f.MapValue()) })
	case f.IsList():
		return w.list(at, func(at string) error { return w.single(at, f) })
	}
	return w.single(at, f)
}

func (w *walker) single(at string, f protoreflect.FieldDescriptor) error {
	if f.Kind() == protoreflect.MessageKind {
		d := f.Message()
		return w.object(at, func(name string) error {
			field := d.Fields().ByName(protoreflect.Name(name))
			if field == nil {
				return unknownField(at, name, d)
			}
			return w.field(at+"."+name, field)
		})
	}
	t, err := w.token(at)
	if err != nil {
		return err
	}
	ok, allowed := false, ""
	switch f.Kind() {
	case protoreflect.StringKind:
		_, ok = t.(string)
		allowed = "a text"
	case protoreflect.BoolKind:
		_, ok = t.(bool)
		allowed = "true or false"
	case protoreflect.Uint32Kind:
		n, isNumber := t.(json.Number)
		ok = isNumber && isWhole(n)
		allowed = "a whole number in digits"
	default:
		allowed = "nothing: this version signs no " + f.Kind().String()
	}
	if !ok {
		return formError(at, "%s, allowed is %s", tokenName(t), allowed)
	}
	return nil
}

// strictObject reads one object into a struct whose names are all given, all needed and exact.
func strictObject(at string, raw []byte, into any, names ...string) error {
	w, err := newWalker(at, raw)
	if err != nil {
		return err
	}
	found := 0
	err = w.object(at, func(name string) error {
		for _, n := range names {
			if n == name {
				found++
				return w.skip(at+"."+name, 1)
			}
		}
		return formError(at, "field %q is unknown, allowed are %s", clip(name), strings.Join(names, ", "))
	})
	if err != nil {
		return err
	}
	if err := w.end(at); err != nil {
		return err
	}
	if found != len(names) {
		return formError(at, "%d of its fields are there, needed are %s", found, strings.Join(names, ", "))
	}
	if err := json.Unmarshal(raw, into); err != nil {
		return formError(at, "%v", err)
	}
	return nil
}

func tokenName(t json.Token) string {
	switch v := t.(type) {
	case nil:
		return "null"
	case string:
		return fmt.Sprintf("text %q", clip(v))
	case json.Number:
		return "number " + clip(v.String())
	case bool:
		return fmt.Sprint(v)
	case json.Delim:
		if v == '{' || v == '}' {
			return "an object"
		}
		return "a list"
	}
	return "something else"
}
