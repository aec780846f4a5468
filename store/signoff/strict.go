package signoff

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/go-json-experiment/json/jsontext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// maxDepth bounds nesting inside what is not known field by field.
const maxDepth = 64

// reader reads one JSON text token by token. jsontext refuses names twice and what is not UTF-8; what
// else a signed text may not contain, such as null and numbers in quotes, is refused here.
type reader struct {
	root string // what errors call the whole text
	d    *jsontext.Decoder
}

// Fields that came with a later form than their kinds are written only where they are set: an older program
// knows no such field, and would refuse what this one takes.
var (
	carriedField = fieldOf((*recordv1.OpenJob)(nil), "definition_carried")
	runOfField   = fieldOf((*recordv1.AddRun)(nil), "of")
)

func fieldOf(m proto.Message, name protoreflect.Name) protoreflect.FieldDescriptor {
	return m.ProtoReflect().Descriptor().Fields().ByName(name)
}

// decoders are used again, for what they learn of memory with each text.
var decoders = sync.Pool{New: func() any { return new(jsontext.Decoder) }}

// readAll has value read a text, and refuses anything but space after it.
func readAll(root string, raw []byte, value func(*reader) error) error {
	r := &reader{root, decoders.Get().(*jsontext.Decoder)}
	defer decoders.Put(r.d)
	r.d.Reset(bytes.NewBuffer(raw))
	if err := value(r); err != nil {
		return err
	}
	if _, err := r.d.ReadToken(); err != io.EOF {
		return formError(root, "something follows the end of its object")
	}
	return nil
}

func (r *reader) token() (jsontext.Token, error) {
	t, err := r.d.ReadToken()
	if err != nil {
		err = r.syntax(err)
	}
	return t, err
}

// raw is any value as it is written.
func (r *reader) raw() ([]byte, error) {
	v, err := r.d.ReadValue()
	if err != nil {
		err = r.syntax(err)
	}
	return bytes.Clone(v), err
}

func (r *reader) syntax(err error) error {
	var wrong *jsontext.SyntacticError
	switch {
	case !errors.As(err, &wrong):
		return formError(r.root, "%v", io.ErrUnexpectedEOF)
	case errors.Is(err, jsontext.ErrDuplicateName):
		return r.wrong(wrong.JSONPointer.Parent(), "field %q is there twice", clip(wrong.JSONPointer.LastToken()))
	}
	return r.wrong(wrong.JSONPointer, "%v", wrong.Err)
}

// bad is an error about what was just read.
func (r *reader) bad(format string, args ...any) error {
	return r.wrong(r.d.StackPointer(), format, args...)
}

func (r *reader) wrong(at jsontext.Pointer, format string, args ...any) error {
	place := r.root
	for name := range at.Tokens() {
		if strings.Trim(name, "0123456789") == "" {
			place += "[" + name + "]"
			continue
		}
		quoted := strconv.Quote(clip(name))
		place += "." + quoted[1:len(quoted)-1]
	}
	return formError(place, format, args...)
}

// open reads one opening delimiter.
func (r *reader) open(delim jsontext.Kind, what string) error {
	t, err := r.token()
	if err == nil && t.Kind() != delim {
		err = r.bad("%s, %s is allowed", tokenName(t), what)
	}
	return err
}

// object reads an object and calls value for each name, which must read that value.
func (r *reader) object(value func(name string) error) error {
	if err := r.open('{', "an object"); err != nil {
		return err
	}
	for r.d.PeekKind() != '}' {
		name, err := r.token()
		if err != nil {
			return err
		}
		if err := value(name.String()); err != nil {
			return err
		}
	}
	_, err := r.token()
	return err
}

// whole reads an object of fields that are all needed.
func (r *reader) whole(value func(name string) error, names ...string) error {
	found := 0
	err := r.object(func(name string) error {
		if !slices.Contains(names, name) {
			return r.bad("field %q is unknown, allowed are %s", clip(name), strings.Join(names, ", "))
		}
		found++
		return value(name)
	})
	if err == nil && found != len(names) {
		err = r.bad("%d of its fields are there, needed are %s", found, strings.Join(names, ", "))
	}
	return err
}

// list reads an array and calls value for each element, which must read it.
func (r *reader) list(value func() error) error {
	if err := r.open('[', "a list"); err != nil {
		return err
	}
	for r.d.PeekKind() != ']' {
		if err := value(); err != nil {
			return err
		}
	}
	_, err := r.token()
	return err
}

// skip reads any value.
func (r *reader) skip() error {
	for depth := r.d.StackDepth(); ; {
		if _, err := r.token(); err != nil {
			return err
		}
		switch now := r.d.StackDepth(); {
		case now > maxDepth:
			return r.bad("nested more than %d deep", maxDepth)
		case now == depth:
			return nil
		}
	}
}

func (r *reader) text(into *string) error {
	t, err := r.token()
	if err == nil && t.Kind() != '"' {
		err = r.bad("%s, allowed is a text", tokenName(t))
	}
	if err == nil {
		*into = t.String()
	}
	return err
}

// number reads a whole number, and is the most there is where it is more.
func (r *reader) number() (uint64, error) {
	t, err := r.token()
	if err == nil && (t.Kind() != '0' || strings.Trim(t.String(), "0123456789") != "") {
		err = r.bad("%s, allowed is a whole number in digits", tokenName(t))
	}
	if err != nil {
		return 0, err
	}
	n, _ := strconv.ParseUint(t.String(), 10, 64)
	return n, nil
}

// action fills an action. Exact proto names are allowed and nothing else; the one exception is a single
// unknown field that holds an object, whose name it answers.
func (r *reader) action(m protoreflect.Message) (unknown string, err error) {
	err = r.object(func(name string) error {
		if f := m.Descriptor().Fields().ByName(protoreflect.Name(name)); f != nil {
			return r.field(m, f)
		}
		// The kinds of today are found in a body's oneof under their names: what is unknown
		// and no object, or not alone, is a mistake and no newer kind.
		if unknown != "" || !newerName(name) {
			return r.unknownField(name, m)
		}
		unknown = name
		return r.object(func(string) error { return r.skip() })
	})
	return unknown, err
}

// newerName is whether a name is written as proto names are: camelCase spellings of known
// fields must not pass for newer kinds.
func newerName(name string) bool {
	return name != "" && strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789_") == ""
}

func (r *reader) message(m protoreflect.Message) error {
	return r.object(func(name string) error {
		f := m.Descriptor().Fields().ByName(protoreflect.Name(name))
		if f == nil {
			return r.unknownField(name, m)
		}
		return r.field(m, f)
	})
}

func (r *reader) unknownField(name string, m protoreflect.Message) error {
	return r.bad("field %q is unknown, allowed are %s", clip(name), fieldNames(m.Descriptor()))
}

func (r *reader) field(m protoreflect.Message, f protoreflect.FieldDescriptor) error {
	if one := f.ContainingOneof(); one != nil && m.WhichOneof(one) != nil {
		return r.bad("the oneof %s is %s already, one alone is allowed", one.Name(), m.WhichOneof(one).Name())
	}
	switch {
	case f.IsMap():
		return r.object(func(name string) error {
			v, err := r.scalar(f.MapValue())
			if err == nil {
				m.Mutable(f).Map().Set(protoreflect.ValueOfString(name).MapKey(), v)
			}
			return err
		})
	case f.IsList() && f.Message() != nil:
		return r.list(func() error { return r.message(m.Mutable(f).List().AppendMutable().Message()) })
	case f.IsList():
		return r.list(func() error {
			v, err := r.scalar(f)
			if err == nil {
				m.Mutable(f).List().Append(v)
			}
			return err
		})
	case f.Message() != nil:
		return r.message(m.Mutable(f).Message())
	}
	v, err := r.scalar(f)
	if err == nil {
		m.Set(f, v)
	}
	return err
}

func (r *reader) scalar(f protoreflect.FieldDescriptor) (protoreflect.Value, error) {
	switch f.Kind() {
	case protoreflect.StringKind:
		var text string
		err := r.text(&text)
		if err == nil && text == "" && f == runOfField {
			err = r.bad("empty, allowed is a name or no such field")
		}
		return protoreflect.ValueOfString(text), err
	case protoreflect.Uint32Kind:
		n, err := r.number()
		if err == nil && n > math.MaxUint32 {
			err = r.bad("number %d, at most %d is allowed", n, uint32(math.MaxUint32))
		}
		return protoreflect.ValueOfUint32(uint32(n)), err
	case protoreflect.BoolKind:
		t, err := r.token()
		if err == nil && t.Kind() != 't' && t.Kind() != 'f' {
			err = r.bad("%s, allowed is true or false", tokenName(t))
		}
		if err == nil && t.Kind() == 'f' && f == carriedField {
			err = r.bad("false, allowed is true or no such field")
		}
		return protoreflect.ValueOfBool(t.Kind() == 't'), err
	}
	return protoreflect.Value{}, r.bad("this version signs no %s", f.Kind())
}

func tokenName(t jsontext.Token) string {
	switch t.Kind() {
	case '"':
		return fmt.Sprintf("text %q", clip(t.String()))
	case '0':
		return "number " + clip(t.String())
	case '{':
		return "an object"
	case '[':
		return "a list"
	}
	return t.String() // null, true or false
}
