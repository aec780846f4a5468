package yamldoc

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
)

// slowly is decode as it is written down most simply: field by field through the descriptors, with its place in hand all the time.
func slowly(name string, file []byte, m proto.Message, all bool, multiline ...string) []error {
	root, err := parse(name, file)
	if err != nil {
		return []error{err}
	}
	d := &slow{file: name, left: maxNodes, multiline: multiline, all: all}
	if err := d.message(root, nil, m.ProtoReflect()); err != nil {
		d.faults = append(d.faults, err)
	}
	return d.faults
}

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

type slow struct {
	file      string
	left      int      // nodes that may still be looked at
	multiline []string // fields whose text may have several lines
	all       bool     // a fault is kept, and reading goes on after it
	faults    []error
}

// goOn keeps a fault where all are wanted; what is left ends the reading.
func (d *slow) goOn(err error) error {
	if err == nil || !d.all || d.left < 0 || len(d.faults) >= MaxFaults-1 {
		return err
	}
	d.faults = append(d.faults, err)
	return nil
}

func (d *slow) fault(n *yaml.Node, at *place, allowed, format string, args ...any) error {
	return &Error{File: d.file, Line: n.Line, Path: at.String(), Problem: fmt.Sprintf(format, args...), Allowed: allowed}
}

// enter follows an alias, counts the node, and refuses tags of the author's own.
func (d *slow) enter(n *yaml.Node, at *place) (*yaml.Node, error) {
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

// message fills m from a mapping. Fields of a well-known list are rows of numbers, those of a well-known value a number or text.
func (d *slow) message(n *yaml.Node, at *place, m protoreflect.Message) error {
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
func (d *slow) entry(key, value *yaml.Node, at *place, m protoreflect.Message, seen map[string]bool) error {
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

func (d *slow) field(n *yaml.Node, at *place, m protoreflect.Message, fd protoreflect.FieldDescriptor) error {
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

func (d *slow) list(n *yaml.Node, at *place, list protoreflect.List, fd protoreflect.FieldDescriptor) error {
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

func (d *slow) pairs(n *yaml.Node, at *place, pairs protoreflect.Map, fd protoreflect.FieldDescriptor) error {
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
func (d *slow) row(n *yaml.Node, at *place, list *structpb.ListValue) error {
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
func (d *slow) either(n *yaml.Node, at *place, value *structpb.Value) error {
	if tag := n.ShortTag(); tag == "!!int" || tag == "!!float" {
		v, err := d.double(n, at)
		value.Kind = &structpb.Value_NumberValue{NumberValue: v}
		return err
	}
	s, err := d.text(n, at, false)
	value.Kind = &structpb.Value_StringValue{StringValue: s}
	return err
}

// A leading zero is refused, since YAML's versions disagree whether it means octal.
var (
	wholeNumber = regexp.MustCompile(`^[-+]?(0|[1-9][0-9]*|0x[0-9a-fA-F]+)$`)
	decimal     = regexp.MustCompile(`^[-+]?(0|[1-9][0-9]*)?(\.[0-9]*)?([eE][-+]?[0-9]+)?$`)
)

// scalar reads one value as fd's kind asks.
func (d *slow) scalar(n *yaml.Node, at *place, fd protoreflect.FieldDescriptor) (protoreflect.Value, error) {
	switch fd.Kind() {
	case protoreflect.StringKind:
		s, err := d.text(n, at, slices.Contains(d.multiline, string(fd.Name())))
		return protoreflect.ValueOfString(s), err
	case protoreflect.BoolKind:
		if n.ShortTag() != "!!bool" || n.Value != "true" && n.Value != "false" {
			return protoreflect.Value{}, d.fault(n, at, "true or false", "%s is not a yes or no", describe(n))
		}
		return protoreflect.ValueOfBool(n.Value == "true"), nil
	case protoreflect.DoubleKind:
		v, err := d.double(n, at)
		return protoreflect.ValueOfFloat64(v), err
	case protoreflect.Int32Kind:
		i, _, err := d.integer(n, at, 32, true, "-2147483648 to 2147483647")
		return protoreflect.ValueOfInt32(int32(i)), err
	case protoreflect.Int64Kind:
		i, _, err := d.integer(n, at, 64, true, "-9223372036854775808 to 9223372036854775807")
		return protoreflect.ValueOfInt64(i), err
	case protoreflect.Uint32Kind:
		_, u, err := d.integer(n, at, 32, false, "0 to 4294967295 (0xffffffff)")
		return protoreflect.ValueOfUint32(uint32(u)), err
	case protoreflect.Uint64Kind:
		_, u, err := d.integer(n, at, 64, false, "0 to 18446744073709551615 (0xffffffffffffffff)")
		return protoreflect.ValueOfUint64(u), err
	}
	return protoreflect.Value{}, d.fault(n, at, "", "fields of this kind cannot be written in YAML")
}

func (d *slow) integer(n *yaml.Node, at *place, bits int, signed bool, span string) (int64, uint64, error) {
	if !plain(n) || !wholeNumber.MatchString(n.Value) {
		return 0, 0, d.fault(n, at, "a whole number as in 256 or 0x100, without quotes", "%s is not a whole number", describe(n))
	}
	i, u, err := atoi(n.Value, bits, signed)
	if err != nil {
		return 0, 0, d.fault(n, at, span, "%.60s is out of range", n.Value)
	}
	return i, u, nil
}

// double reads a finite number; a whole one may be written in hexadecimal.
func (d *slow) double(n *yaml.Node, at *place) (float64, error) {
	if plain(n) && wholeNumber.MatchString(n.Value) {
		if i, err := strconv.ParseInt(n.Value, 0, 64); err == nil {
			return float64(i), nil
		}
	}
	if !plain(n) || !decimal.MatchString(n.Value) {
		return 0, d.fault(n, at, "a finite number as in 12.5 or 0x100, without quotes", "%s is not a number", describe(n))
	}
	v, err := strconv.ParseFloat(n.Value, 64)
	if errors.Is(err, strconv.ErrRange) {
		return 0, d.fault(n, at, "a finite number", "%.60s is out of range", n.Value)
	}
	if err != nil {
		return 0, d.fault(n, at, "a finite number as in 12.5 or 0x100, without quotes", "%s is not a number", describe(n))
	}
	return v, nil
}

// text reads a string, of one line unless more is asked for. What could make a terminal or a page show something else than what
// stands in the file is refused.
func (d *slow) text(n *yaml.Node, at *place, multiline bool) (string, error) {
	if n.Kind != yaml.ScalarNode {
		return "", d.fault(n, at, "text", "%s where text belongs", describe(n))
	}
	if tag := n.ShortTag(); tag != "!!str" {
		return "", d.fault(n, at, strconv.Quote(n.Value)+" in quotes, if text is meant", "%s is not text", n.Value)
	}
	if !utf8.ValidString(n.Value) {
		return "", d.fault(n, at, "UTF-8", "the text is not UTF-8")
	}
	if !multiline && strings.Contains(n.Value, "\n") {
		return "", d.fault(n, at, "text on one line", "the text has several lines")
	}
	for _, r := range n.Value {
		hidden := Hidden(r) && r != '\n' && r != '\t'
		if hidden {
			return "", d.fault(n, at, "printable text", "the text holds the control character U+%04X", r)
		}
	}
	return n.Value, nil
}
