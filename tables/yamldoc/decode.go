package yamldoc

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
)

// step is one of those that lead to where the decoder is; they become text only when something is wrong.
type step struct {
	name  string
	index int // used where name is empty
}

type decoder struct {
	file      string
	left      int      // nodes that may still be looked at
	multiline []string // fields whose text may have several lines
	all       bool     // a fault is kept, and reading goes on after it
	faults    []error
	trail     []step
	spare     map[*plan]*spare
}

func (d *decoder) down(name string, index int) { d.trail = append(d.trail, step{name, index}) }

func (d *decoder) up() { d.trail = d.trail[:len(d.trail)-1] }

func (d *decoder) path() string {
	var b strings.Builder
	for _, s := range d.trail {
		switch {
		case s.name == "":
			fmt.Fprintf(&b, "[%d]", s.index)
			continue
		case b.Len() > 0 && s.name[0] != '[':
			b.WriteByte('.')
		}
		b.WriteString(s.name)
	}
	return b.String()
}

// goOn keeps a fault where all are wanted; what is left ends the reading.
func (d *decoder) goOn(err error) error {
	if err == nil || !d.all || d.left < 0 || len(d.faults) >= MaxFaults-1 {
		return err
	}
	d.faults = append(d.faults, err)
	return nil
}

func (d *decoder) fault(n *yaml.Node, allowed, format string, args ...any) error {
	return &Error{File: d.file, Line: n.Line, Path: d.path(), Problem: fmt.Sprintf(format, args...), Allowed: allowed}
}

// enter follows an alias, counts the node, and refuses tags of the author's own.
func (d *decoder) enter(n *yaml.Node) (*yaml.Node, error) {
	if d.left--; d.left < 0 {
		return nil, d.fault(n, atMost, tooLarge)
	}
	if n.Kind == yaml.AliasNode {
		n = n.Alias
	}
	switch n.ShortTag() {
	case "!!map", "!!seq", "!!str", "!!int", "!!float", "!!bool", "!!timestamp":
		return n, nil
	case "!!null":
		return nil, d.fault(n, "a value, or no such field at all", "there is no value")
	case "!!merge":
		return nil, d.fault(n, "every field written out", "merging with << is not read")
	}
	return nil, d.fault(n, "values without a tag", "tag %.40q is not known", n.Tag)
}

func describe(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a block of fields"
	case yaml.SequenceNode:
		return "a list"
	}
	return fmt.Sprintf("%.60q", n.Value)
}

// message fills the struct m, which p is the plan of, from a mapping. Fields of a well-known list are rows of numbers, those
// of a well-known value a number or text.
func (d *decoder) message(n *yaml.Node, p *plan, m reflect.Value) error {
	n, err := d.enter(n)
	if err != nil {
		return err
	}
	switch {
	case p.row:
		return d.row(n, m.Addr().Interface().(*structpb.ListValue))
	case p.free:
		return d.either(n, m.Addr().Interface().(*structpb.Value))
	}
	if n.Kind != yaml.MappingNode {
		return d.fault(n, fieldNames(p.desc.Fields()), "%s where a block of fields belongs", describe(n))
	}
	seen := make([]bool, len(p.byName))
	for i := 0; i+1 < len(n.Content); i += 2 {
		if err := d.goOn(d.entry(n.Content[i], n.Content[i+1], p, m, seen)); err != nil {
			return err
		}
	}
	return nil
}

// entry reads one field with its name.
func (d *decoder) entry(key, value *yaml.Node, p *plan, m reflect.Value, seen []bool) error {
	if key.Kind != yaml.ScalarNode {
		return d.fault(key, fieldNames(p.desc.Fields()), "%s where a field's name belongs", describe(key))
	}
	f := p.byName[key.Value]
	if f == nil || key.ShortTag() == "!!merge" {
		return d.fault(key, fieldNames(p.desc.Fields()), "unknown field %.60q", key.Value)
	}
	if seen[f.place] {
		d.down(key.Value, 0)
		defer d.up()
		return d.fault(key, "", "the field is given twice")
	}
	seen[f.place] = true
	if f.oneof != nil {
		if other := reflection(m).WhichOneof(f.oneof); other != nil {
			return d.fault(key, "one of "+fieldNames(f.oneof.Fields()), "both %s and %s are given", other.Name(), f.fd.Name())
		}
	}
	d.down(key.Value, 0)
	err := d.field(value, f, m)
	d.up()
	return err
}

func fieldNames(fields interface {
	Len() int
	Get(int) protoreflect.FieldDescriptor
}) string {
	names := make([]string, fields.Len())
	for i := range names {
		names[i] = string(fields.Get(i).Name())
	}
	if len(names) == 0 {
		return "an empty block {}"
	}
	return strings.Join(names, ", ")
}

// field reads the value of a field into its place in the struct m.
func (d *decoder) field(n *yaml.Node, f *field, m reflect.Value) error {
	switch {
	case f.fd.IsMap():
		return d.pairs(n, f, reflection(m).Mutable(f.fd).Map())
	case f.oneof != nil:
		return d.member(n, f, reflection(m))
	case f.fd.IsList():
		return d.list(n, f, m.Field(f.index))
	case f.message != nil:
		inside := d.made(f.message)
		m.Field(f.index).Set(inside) // also marks an empty block as given
		return d.message(n, f.message, inside.Elem())
	}
	v, err := d.one(n, f.fd)
	if err == nil {
		f.store(m.Field(f.index), v)
	}
	return err
}

// member reads the one that is given of several fields.
func (d *decoder) member(n *yaml.Node, f *field, m protoreflect.Message) error {
	if f.message != nil {
		return d.message(n, f.message, reflect.ValueOf(m.Mutable(f.fd).Message().Interface()).Elem())
	}
	v, err := d.one(n, f.fd)
	if err == nil {
		m.Set(f.fd, v)
	}
	return err
}

// one reads a value that is neither a message nor a list.
func (d *decoder) one(n *yaml.Node, fd protoreflect.FieldDescriptor) (protoreflect.Value, error) {
	n, err := d.enter(n)
	if err != nil {
		return protoreflect.Value{}, err
	}
	return d.scalar(n, fd)
}

func (d *decoder) list(n *yaml.Node, f *field, into reflect.Value) error {
	n, err := d.enter(n)
	if err != nil {
		return err
	}
	if n.Kind != yaml.SequenceNode {
		return d.fault(n, "a list, as in [a, b]", "%s where a list belongs", describe(n))
	}
	into.Grow(len(n.Content))
	for i, item := range n.Content {
		into.SetLen(i + 1)
		d.down("", i)
		err := d.item(item, f, into.Index(i))
		d.up()
		if f.message != nil {
			err = d.goOn(err)
		} else if err != nil {
			into.SetLen(i) // of messages, what is at fault has a place
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (d *decoder) item(n *yaml.Node, f *field, into reflect.Value) error {
	if f.message != nil {
		inside := d.made(f.message)
		into.Set(inside)
		return d.message(n, f.message, inside.Elem())
	}
	v, err := d.one(n, f.fd)
	if err == nil {
		set(into, v)
	}
	return err
}

// named is a key as text where text is asked for: a key needs no quotes, whatever it looks like.
func named(key *yaml.Node, fd protoreflect.FieldDescriptor) *yaml.Node {
	if fd.Kind() != protoreflect.StringKind || key.Kind != yaml.ScalarNode || key.Style != 0 || key.ShortTag() == "!!null" {
		return key
	}
	text := *key
	text.Tag = "!!str"
	return &text
}

func (d *decoder) pairs(n *yaml.Node, f *field, pairs protoreflect.Map) error {
	n, err := d.enter(n)
	if err != nil {
		return err
	}
	if n.Kind != yaml.MappingNode {
		return d.fault(n, "pairs, as in {0: off, 1: on}", "%s where pairs belong", describe(n))
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, err := d.enter(n.Content[i])
		if err != nil {
			return err
		}
		d.down("["+key.Value+"]", 0)
		err = d.pair(n.Content[i], key, n.Content[i+1], f, pairs)
		d.up()
		if err != nil {
			return err
		}
	}
	return nil
}

// pair reads one value and its key, which stands at written.
func (d *decoder) pair(written, key, value *yaml.Node, f *field, pairs protoreflect.Map) error {
	k, err := d.scalar(named(key, f.fd.MapKey()), f.fd.MapKey())
	if err != nil {
		return err
	}
	if pairs.Has(k.MapKey()) {
		return d.fault(written, "", "the key is given twice")
	}
	if f.message != nil {
		return d.message(value, f.message, reflect.ValueOf(pairs.Mutable(k.MapKey()).Message().Interface()).Elem())
	}
	v, err := d.one(value, f.fd.MapValue())
	if err == nil {
		pairs.Set(k.MapKey(), v)
	}
	return err
}

// row reads a list of numbers into a well-known list.
func (d *decoder) row(n *yaml.Node, list *structpb.ListValue) error {
	if n.Kind != yaml.SequenceNode {
		return d.fault(n, "a list of numbers, as in [1, 2]", "%s where a row of numbers belongs", describe(n))
	}
	for i, item := range n.Content {
		d.down("", i)
		item, err := d.enter(item)
		v := 0.0
		if err == nil {
			v, err = d.double(item)
		}
		d.up()
		if err != nil {
			return err
		}
		list.Values = append(list.Values, structpb.NewNumberValue(v))
	}
	return nil
}

// either reads a number or text.
func (d *decoder) either(n *yaml.Node, value *structpb.Value) error {
	if tag := n.ShortTag(); tag == "!!int" || tag == "!!float" {
		v, err := d.double(n)
		value.Kind = &structpb.Value_NumberValue{NumberValue: v}
		return err
	}
	s, err := d.text(n, "")
	value.Kind = &structpb.Value_StringValue{StringValue: s}
	return err
}

func atoi(s string, bits int, signed bool) (i int64, u uint64, err error) {
	if signed {
		i, err = strconv.ParseInt(s, 0, bits)
		return i, 0, err
	}
	u, err = strconv.ParseUint(strings.TrimPrefix(s, "+"), 0, bits)
	return 0, u, err
}
