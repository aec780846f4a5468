package yamldoc

import (
	"fmt"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
)

// place is where the decoder is; it becomes text only when something is wrong.
type place struct {
	parent *place
	step   string
	index  int // used where step is empty
}

func (p *place) String() string {
	if p == nil {
		return ""
	}
	up := p.parent.String()
	switch {
	case p.step == "":
		return fmt.Sprintf("%s[%d]", up, p.index)
	case up == "" || p.step[0] == '[':
		return up + p.step
	}
	return up + "." + p.step
}

type decoder struct {
	file      string
	left      int      // nodes that may still be looked at
	multiline []string // fields whose text may have several lines
	all       bool     // a fault is kept, and reading goes on after it
	faults    []error
}

// goOn keeps a fault where all are wanted; what is left ends the reading.
func (d *decoder) goOn(err error) error {
	if err == nil || !d.all || d.left < 0 || len(d.faults) >= MaxFaults-1 {
		return err
	}
	d.faults = append(d.faults, err)
	return nil
}

func (d *decoder) fault(n *yaml.Node, at *place, allowed, format string, args ...any) error {
	return &Error{File: d.file, Line: n.Line, Path: at.String(), Problem: fmt.Sprintf(format, args...), Allowed: allowed}
}

// enter follows an alias, counts the node, and refuses tags of the author's own.
func (d *decoder) enter(n *yaml.Node, at *place) (*yaml.Node, error) {
	if d.left--; d.left < 0 {
		return nil, d.fault(n, at, atMost, tooLarge)
	}
	if n.Kind == yaml.AliasNode {
		n = n.Alias
	}
	switch n.ShortTag() {
	case "!!map", "!!seq", "!!str", "!!int", "!!float", "!!bool", "!!timestamp":
		return n, nil
	case "!!null":
		return nil, d.fault(n, at, "a value, or no such field at all", "there is no value")
	case "!!merge":
		return nil, d.fault(n, at, "every field written out", "merging with << is not read")
	}
	return nil, d.fault(n, at, "values without a tag", "tag %.40q is not known", n.Tag)
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

// message fills m from a mapping. Fields of a well-known list are rows of numbers, those of a well-known value a number or text.
func (d *decoder) message(n *yaml.Node, at *place, m protoreflect.Message) error {
	n, err := d.enter(n, at)
	if err != nil {
		return err
	}
	if list, ok := m.Interface().(*structpb.ListValue); ok {
		return d.row(n, at, list)
	}
	if value, ok := m.Interface().(*structpb.Value); ok {
		return d.either(n, at, value)
	}
	fields := m.Descriptor().Fields()
	if n.Kind != yaml.MappingNode {
		return d.fault(n, at, fieldNames(fields), "%s where a block of fields belongs", describe(n))
	}
	seen := make(map[string]bool, len(n.Content)/2)
	for i := 0; i+1 < len(n.Content); i += 2 {
		if err := d.goOn(d.entry(n.Content[i], n.Content[i+1], at, m, seen)); err != nil {
			return err
		}
	}
	return nil
}

// entry reads one field with its name.
func (d *decoder) entry(key, value *yaml.Node, at *place, m protoreflect.Message, seen map[string]bool) error {
	fields := m.Descriptor().Fields()
	if key.Kind != yaml.ScalarNode {
		return d.fault(key, at, fieldNames(fields), "%s where a field's name belongs", describe(key))
	}
	inside := &place{parent: at, step: key.Value}
	fd := fields.ByTextName(key.Value)
	if fd == nil || key.ShortTag() == "!!merge" {
		return d.fault(key, at, fieldNames(fields), "unknown field %.60q", key.Value)
	}
	if seen[key.Value] {
		return d.fault(key, inside, "", "the field is given twice")
	}
	seen[key.Value] = true
	if one := fd.ContainingOneof(); one != nil && !one.IsSynthetic() {
		if other := m.WhichOneof(one); other != nil {
			return d.fault(key, at, "one of "+fieldNames(one.Fields()), "both %s and %s are given", other.Name(), fd.Name())
		}
	}
	return d.field(value, inside, m, fd)
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

func (d *decoder) field(n *yaml.Node, at *place, m protoreflect.Message, fd protoreflect.FieldDescriptor) error {
	switch {
	case fd.IsMap():
		return d.pairs(n, at, m.Mutable(fd).Map(), fd)
	case fd.IsList():
		return d.list(n, at, m.Mutable(fd).List(), fd)
	case fd.Message() != nil:
		// Mutable also marks an empty block as given.
		return d.message(n, at, m.Mutable(fd).Message())
	}
	n, err := d.enter(n, at)
	if err != nil {
		return err
	}
	v, err := d.scalar(n, at, fd)
	if err != nil {
		return err
	}
	m.Set(fd, v)
	return nil
}

func (d *decoder) list(n *yaml.Node, at *place, list protoreflect.List, fd protoreflect.FieldDescriptor) error {
	n, err := d.enter(n, at)
	if err != nil {
		return err
	}
	if n.Kind != yaml.SequenceNode {
		return d.fault(n, at, "a list, as in [a, b]", "%s where a list belongs", describe(n))
	}
	for i, item := range n.Content {
		inside := &place{parent: at, index: i}
		if fd.Message() != nil {
			if err := d.goOn(d.message(item, inside, list.AppendMutable().Message())); err != nil {
				return err
			}
			continue
		}
		item, err := d.enter(item, inside)
		if err != nil {
			return err
		}
		v, err := d.scalar(item, inside, fd)
		if err != nil {
			return err
		}
		list.Append(v)
	}
	return nil
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

func (d *decoder) pairs(n *yaml.Node, at *place, pairs protoreflect.Map, fd protoreflect.FieldDescriptor) error {
	n, err := d.enter(n, at)
	if err != nil {
		return err
	}
	if n.Kind != yaml.MappingNode {
		return d.fault(n, at, "pairs, as in {0: off, 1: on}", "%s where pairs belong", describe(n))
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, err := d.enter(n.Content[i], at)
		if err != nil {
			return err
		}
		inside := &place{parent: at, step: "[" + key.Value + "]"}
		k, err := d.scalar(named(key, fd.MapKey()), inside, fd.MapKey())
		if err != nil {
			return err
		}
		if pairs.Has(k.MapKey()) {
			return d.fault(n.Content[i], inside, "", "the key is given twice")
		}
		if fd.MapValue().Message() != nil {
			if err := d.message(n.Content[i+1], inside, pairs.Mutable(k.MapKey()).Message()); err != nil {
				return err
			}
			continue
		}
		value, err := d.enter(n.Content[i+1], inside)
		if err != nil {
			return err
		}
		v, err := d.scalar(value, inside, fd.MapValue())
		if err != nil {
			return err
		}
		pairs.Set(k.MapKey(), v)
	}
	return nil
}

// row reads a list of numbers into a well-known list.
func (d *decoder) row(n *yaml.Node, at *place, list *structpb.ListValue) error {
	if n.Kind != yaml.SequenceNode {
		return d.fault(n, at, "a list of numbers, as in [1, 2]", "%s where a row of numbers belongs", describe(n))
	}
	for i, item := range n.Content {
		inside := &place{parent: at, index: i}
		item, err := d.enter(item, inside)
		if err != nil {
			return err
		}
		v, err := d.double(item, inside)
		if err != nil {
			return err
		}
		list.Values = append(list.Values, structpb.NewNumberValue(v))
	}
	return nil
}

// either reads a number or text.
func (d *decoder) either(n *yaml.Node, at *place, value *structpb.Value) error {
	if tag := n.ShortTag(); tag == "!!int" || tag == "!!float" {
		v, err := d.double(n, at)
		value.Kind = &structpb.Value_NumberValue{NumberValue: v}
		return err
	}
	s, err := d.text(n, at, false)
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
