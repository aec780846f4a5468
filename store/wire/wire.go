// Package wire tells what a protobuf message takes in memory before it is decoded: two bytes that
// say "an empty message" become hundreds.
package wire

import (
	"fmt"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// maxDepth is how deep messages may lie in each other; what this project says needs a tenth of it.
const maxDepth = 100

// Unmarshal decodes a message, unless it would take more than most bytes.
func Unmarshal(b []byte, m proto.Message, most int) error {
	if Cost(b, m.ProtoReflect().Descriptor(), most) > most {
		return fmt.Errorf("the message is too large once it is decoded; allowed are %d bytes", most)
	}
	return proto.Unmarshal(b, m)
}

// Cost is about how many bytes the message in b takes once it is decoded, and more than most as soon as
// that is certain: no more of it is looked at then. What is no message costs what was read until there.
func Cost(b []byte, d protoreflect.MessageDescriptor, most int) int {
	w := walk{left: most}
	w.message(b, d, 0)
	return most - w.left
}

// walk has what may still be spent.
type walk struct{ left int }

// message spends on one message and all that is in it, and says whether to go on.
func (w *walk) message(b []byte, d protoreflect.MessageDescriptor, depth int) bool {
	before, seen := w.left, uint64(0) // fields, by index; no message of this project has more than 64
	// State, unknown fields and size, and a word or two for each field.
	if w.left -= 64 + 16*d.Fields().Len(); depth > maxDepth {
		w.left = -1
	}
	for len(b) > 0 && w.left >= 0 {
		number, kind, n := protowire.ConsumeTag(b)
		if n < 0 {
			return false
		}
		size := protowire.ConsumeFieldValue(number, kind, b[n:])
		if size < 0 {
			return false
		}
		f := d.Fields().ByNumber(number)
		if f != nil && kind == protowire.BytesType && grows(f) {
			// Once more: what it holds is copied to where there is room for both, however little comes with it.
			if bit := uint64(1) << (f.Index() % 64); seen&bit != 0 {
				w.left -= before - w.left
			} else {
				seen |= bit
			}
		}
		if !w.field(b[n:n+size], f, kind, depth) {
			return false
		}
		b = b[n+size:]
	}
	return w.left >= 0
}

// field spends on one value: what a list holds of it, and its bytes.
func (w *walk) field(value []byte, f protoreflect.FieldDescriptor, kind protowire.Type, depth int) bool {
	if f == nil {
		w.left -= 4*len(value) + 6 // kept one by one, in bytes that are copied as they grow
		return w.left >= 0
	}
	if f.IsList() || f.IsMap() {
		w.left -= 64 // its place, in a slice that is copied as it grows, or in a map
	}
	if kind != protowire.BytesType {
		return w.left >= 0
	}
	inner, n := protowire.ConsumeBytes(value)
	switch {
	case n < 0:
		return false
	case f.Message() != nil:
		return w.message(inner, f.Message(), depth+1)
	case numbers(f):
		w.left -= packed(inner, f.Kind())
	default:
		w.left -= len(inner)
	}
	return w.left >= 0
}

// grows says that a field which comes twice is one value that grew: a message that is no item of a list, or a list of numbers.
func grows(f protoreflect.FieldDescriptor) bool {
	if f.Message() != nil {
		return !f.IsList() && !f.IsMap()
	}
	return numbers(f)
}

// numbers says that a field is a list of numbers.
func numbers(f protoreflect.FieldDescriptor) bool {
	return f.IsList() && f.Message() == nil && f.Kind() != protoreflect.StringKind && f.Kind() != protoreflect.BytesKind
}

// packed is what numbers take that lie in b one after another. The decoder counts them as this does, and makes room at once.
func packed(b []byte, kind protoreflect.Kind) int {
	n := 0
	for _, v := range b {
		if v < 0x80 { // of a varint, its last byte
			n++
		}
	}
	switch kind {
	case protoreflect.DoubleKind, protoreflect.Fixed64Kind, protoreflect.Sfixed64Kind, protoreflect.FloatKind, protoreflect.Fixed32Kind, protoreflect.Sfixed32Kind:
		return len(b)
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Uint64Kind:
		return 8 * n
	}
	return 4 * n
}
