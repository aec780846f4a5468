package yamldoc

import (
	"errors"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// A leading zero is refused, since YAML's versions disagree whether it means octal.
var (
	wholeNumber = regexp.MustCompile(`^[-+]?(0|[1-9][0-9]*|0x[0-9a-fA-F]+)$`)
	decimal     = regexp.MustCompile(`^[-+]?(0|[1-9][0-9]*)?(\.[0-9]*)?([eE][-+]?[0-9]+)?$`)
)

// scalar reads one value as fd's kind asks.
func (d *decoder) scalar(n *yaml.Node, at *place, fd protoreflect.FieldDescriptor) (protoreflect.Value, error) {
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

func (d *decoder) integer(n *yaml.Node, at *place, bits int, signed bool, span string) (int64, uint64, error) {
	if !plain(n) || !wholeNumber.MatchString(n.Value) {
		return 0, 0, d.fault(n, at, "a whole number as in 256 or 0x100, without quotes", "%s is not a whole number", describe(n))
	}
	i, u, err := atoi(n.Value, bits, signed)
	if err != nil {
		return 0, 0, d.fault(n, at, span, "%.60s is out of range", n.Value)
	}
	return i, u, nil
}

// plain says whether a value stands as it is: no quotes, no tag, no block of text.
func plain(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Style == 0 }

// double reads a finite number; a whole one may be written in hexadecimal.
func (d *decoder) double(n *yaml.Node, at *place) (float64, error) {
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
func (d *decoder) text(n *yaml.Node, at *place, multiline bool) (string, error) {
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

// Hidden says whether a character controls how text is shown: a control character, or one that turns its direction.
func Hidden(r rune) bool {
	return unicode.IsControl(r) || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069
}
