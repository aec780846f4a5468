package yamldoc

import (
	"reflect"
	"strings"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
)

// plan is a kind of message, as the Go struct of it: found out once, so that no field is looked for in a descriptor
// while a file is read.
type plan struct {
	of        reflect.Type // the struct
	desc      protoreflect.MessageDescriptor
	byName    map[string]*field
	row, free bool // it is a well-known list, a well-known value
}

// field is one of a message's.
type field struct {
	fd      protoreflect.FieldDescriptor
	place   int                          // among the message's fields
	index   int                          // of the struct's field; of one of several that exclude each other there is none
	oneof   protoreflect.OneofDescriptor // nil where others may be given beside it
	message *plan                        // of the value, of each item or of a pair's value; nil where that is no message
}

var plans sync.Map // of *plan by reflect.Type

// planOf is the plan of a message's struct.
func planOf(m proto.Message) *plan {
	of := reflect.TypeOf(m).Elem()
	if p, ok := plans.Load(of); ok {
		return p.(*plan)
	}
	p := &plan{of: of, desc: m.ProtoReflect().Descriptor(), byName: map[string]*field{}}
	_, p.row = m.(*structpb.ListValue)
	if _, p.free = m.(*structpb.Value); !p.row && !p.free {
		p.find(m.ProtoReflect())
	}
	plans.Store(of, p)
	return p
}

func (p *plan) find(m protoreflect.Message) {
	at := map[string]int{} // in the struct
	for i := range p.of.NumField() {
		for _, word := range strings.Split(p.of.Field(i).Tag.Get("protobuf"), ",") {
			if name, ok := strings.CutPrefix(word, "name="); ok {
				at[name] = i
			}
		}
	}
	fields := p.desc.Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		f := &field{fd: fd, place: i, index: at[string(fd.Name())]}
		if one := fd.ContainingOneof(); one != nil && !one.IsSynthetic() {
			f.oneof = one
		}
		switch {
		case fd.IsMap() && fd.MapValue().Message() != nil:
			f.message = planOf(m.NewField(fd).Map().NewValue().Message().Interface())
		case fd.IsList() && fd.Message() != nil:
			f.message = planOf(m.NewField(fd).List().NewElement().Message().Interface())
		case !fd.IsMap() && fd.Message() != nil:
			f.message = planOf(m.NewField(fd).Message().Interface())
		}
		p.byName[string(fd.Name())] = f
	}
}

// reflection is a message by its struct.
func reflection(m reflect.Value) protoreflect.Message {
	return m.Addr().Interface().(proto.Message).ProtoReflect()
}

// together is how many messages of a kind are made at once.
const together = 32

// made is a new message.
func (d *decoder) made(p *plan) reflect.Value {
	s := d.spare[p]
	if s == nil {
		s = &spare{used: together}
		d.spare[p] = s
	}
	if s.used == together {
		s.all, s.used = reflect.MakeSlice(reflect.SliceOf(p.of), together, together), 0
	}
	s.used++
	return s.all.Index(s.used - 1).Addr()
}

// spare is messages of a kind, of which some are used.
type spare struct {
	all  reflect.Value
	used int
}

// store puts a value where a struct has it, by itself or behind a pointer.
func (f *field) store(into reflect.Value, v protoreflect.Value) {
	if into.Kind() == reflect.Pointer {
		into.Set(reflect.New(into.Type().Elem()))
		into = into.Elem()
	}
	set(into, v)
}

func set(into reflect.Value, v protoreflect.Value) {
	switch into.Kind() {
	case reflect.String:
		into.SetString(v.String())
	case reflect.Bool:
		into.SetBool(v.Bool())
	case reflect.Float64:
		into.SetFloat(v.Float())
	case reflect.Int32, reflect.Int64:
		into.SetInt(v.Int())
	case reflect.Uint32, reflect.Uint64:
		into.SetUint(v.Uint())
	}
}
