// Package yamlout writes definitions and limits as a person would: what yamldoc reads back into the same message.
package yamlout

import (
	"bytes"
	"cmp"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
)

// wide is where an entry of a list is written on several lines.
const wide = 150

// hexadecimal are fields that are addresses, or bits.
var hexadecimal = map[protoreflect.Name]bool{"address": true, "start": true, "end": true, "size": true, "mask": true, "init": true, "equals": true}

// Write is a message as YAML, with the fields that it has and no others. The same message gives the same bytes.
func Write(m proto.Message) []byte {
	w := &writer{order: map[protoreflect.FullName][]protoreflect.FieldDescriptor{}}
	w.block(m.ProtoReflect(), "")
	if w.Len() == 0 {
		w.WriteString("{}\n")
	}
	return w.Bytes()
}

type writer struct {
	bytes.Buffer
	order map[protoreflect.FullName][]protoreflect.FieldDescriptor // the fields of messages, as they are written
}

// given are the fields that a message has, in order.
func (w *writer) given(m protoreflect.Message) []protoreflect.FieldDescriptor {
	name := m.Descriptor().FullName()
	all := w.order[name]
	if all == nil {
		for fields, i := m.Descriptor().Fields(), 0; i < fields.Len(); i++ {
			all = append(all, fields.Get(i))
		}
		slices.SortFunc(all, func(a, b protoreflect.FieldDescriptor) int {
			return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.Number(), b.Number()))
		})
		w.order[name] = all
	}
	out := make([]protoreflect.FieldDescriptor, 0, 8)
	for _, fd := range all {
		if m.Has(fd) {
			out = append(out, fd)
		}
	}
	return out
}

// rank is a field's place: its number, but for what belongs beside another one.
func rank(fd protoreflect.FieldDescriptor) int {
	if fd.Parent().Name() != "IdentityField" {
		for _, name := range behind[fd.Name()] {
			if beside := fd.ContainingMessage().Fields().ByName(name); beside != nil {
				return 2*int(beside.Number()) + 1
			}
		}
	}
	return 2 * int(fd.Number())
}

// behind are fields that are written behind an earlier one, the first that there is.
var behind = map[protoreflect.Name][]protoreflect.Name{"known_as": {"title", "id"}, "kind": {"id"}, "encoding": {"id"}, "unit_text": {"unit"}, "regions": {"size"}}

// block writes fields on lines of their own: the document's, and those of messages right below it.
func (w *writer) block(m protoreflect.Message, indent string) {
	for _, fd := range w.given(m) {
		v := m.Get(fd)
		w.WriteString(indent + string(fd.Name()) + ":")
		switch {
		case fd.IsList() && fd.Message() != nil && fd.Message().FullName() != "google.protobuf.ListValue":
			w.WriteByte('\n')
			w.entries(v.List(), indent+"  ")
		case fd.Message() != nil && !fd.IsMap() && indent == "" && len(w.given(v.Message())) > 0:
			w.WriteByte('\n')
			w.block(v.Message(), "  ")
		default:
			w.WriteByte(' ')
			w.value(fd, v)
			w.WriteByte('\n')
		}
	}
}

// entries are one line each, or, where that is wide, one line a field.
func (w *writer) entries(list protoreflect.List, indent string) {
	for i := range list.Len() {
		m := list.Get(i).Message()
		from := w.Len()
		w.WriteString(indent + "- ")
		w.message(m)
		if line := w.Len() - from; line > wide && len(w.given(m)) > 1 {
			w.Truncate(from)
			for k, fd := range w.given(m) {
				mark := "  "
				if k == 0 {
					mark = "- "
				}
				w.WriteString(indent + mark + string(fd.Name()) + ": ")
				w.value(fd, m.Get(fd))
				w.WriteByte('\n')
			}
			continue
		}
		w.WriteByte('\n')
	}
}

// message writes on one line.
func (w *writer) message(m protoreflect.Message) {
	switch v := m.Interface().(type) {
	case *structpb.Value:
		if s, isText := v.GetKind().(*structpb.Value_StringValue); isText {
			w.text(s.StringValue)
		} else {
			w.number(v.GetNumberValue())
		}
		return
	case *structpb.ListValue:
		w.WriteByte('[')
		for i, one := range v.GetValues() {
			w.comma(i)
			w.number(one.GetNumberValue())
		}
		w.WriteByte(']')
		return
	}
	w.WriteByte('{')
	for i, fd := range w.given(m) {
		w.comma(i)
		w.WriteString(string(fd.Name()) + ": ")
		w.value(fd, m.Get(fd))
	}
	w.WriteByte('}')
}

func (w *writer) comma(i int) {
	if i > 0 {
		w.WriteString(", ")
	}
}

func (w *writer) value(fd protoreflect.FieldDescriptor, v protoreflect.Value) {
	switch {
	case fd.IsMap():
		w.pairs(fd, v.Map())
	case fd.IsList():
		w.WriteByte('[')
		for i := range v.List().Len() {
			w.comma(i)
			w.one(fd, v.List().Get(i))
		}
		w.WriteByte(']')
	default:
		w.one(fd, v)
	}
}

// pairs are in the order of their keys, numbers as numbers.
func (w *writer) pairs(fd protoreflect.FieldDescriptor, pairs protoreflect.Map) {
	var keys []protoreflect.MapKey
	pairs.Range(func(k protoreflect.MapKey, _ protoreflect.Value) bool {
		keys = append(keys, k)
		return true
	})
	slices.SortFunc(keys, func(a, b protoreflect.MapKey) int {
		return cmp.Or(cmp.Compare(first(a.String()), first(b.String())), strings.Compare(a.String(), b.String()))
	})
	w.WriteByte('{')
	for i, k := range keys {
		w.comma(i)
		if s := k.String(); whole.MatchString(s) {
			w.WriteString(s) // a key needs no quotes
		} else {
			w.text(s)
		}
		w.WriteString(": ")
		w.one(fd.MapValue(), pairs.Get(k))
	}
	w.WriteByte('}')
}

// first is the number that a key begins with; those without come last.
func first(key string) int64 {
	from, _, _ := strings.Cut(key, "..")
	if n, err := strconv.ParseInt(strings.TrimSpace(from), 0, 64); err == nil {
		return n
	}
	return 1<<63 - 1
}

func (w *writer) one(fd protoreflect.FieldDescriptor, v protoreflect.Value) {
	switch {
	case fd.Message() != nil:
		w.message(v.Message())
	case fd.Kind() == protoreflect.StringKind:
		w.text(v.String())
	case fd.Kind() == protoreflect.DoubleKind:
		w.number(v.Float())
	case hexadecimal[fd.Name()] && (fd.Kind() == protoreflect.Uint32Kind || fd.Kind() == protoreflect.Uint64Kind):
		w.WriteString("0x" + strconv.FormatUint(v.Uint(), 16))
	default:
		w.WriteString(v.String())
	}
}
