package yamldoc

import (
	"errors"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// scalar reads one value as fd's kind asks.
func (d *decoder) scalar(n *yaml.Node, fd protoreflect.FieldDescriptor) (protoreflect.Value, error) {
	switch fd.Kind() {
	case protoreflect.StringKind:
		s, err := d.text(n, fd.Name())
		return protoreflect.ValueOfString(s), err
	case protoreflect.BoolKind:
		if n.ShortTag() != "!!bool" || n.Value != "true" && n.Value != "false" {
			return protoreflect.Value{}, d.fault(n, "true or false", "%s is not a yes or no", describe(n))
		}
		return protoreflect.ValueOfBool(n.Value == "true"), nil
	case protoreflect.DoubleKind:
		v, err := d.double(n)
		return protoreflect.ValueOfFloat64(v), err
	case protoreflect.Int32Kind:
		i, _, err := d.integer(n, 32, true, "-2147483648 to 2147483647")
		return protoreflect.ValueOfInt32(int32(i)), err
	case protoreflect.Int64Kind:
		i, _, err := d.integer(n, 64, true, "-9223372036854775808 to 9223372036854775807")
		return protoreflect.ValueOfInt64(i), err
	case protoreflect.Uint32Kind:
		_, u, err := d.integer(n, 32, false, "0 to 4294967295 (0xffffffff)")
		return protoreflect.ValueOfUint32(uint32(u)), err
	case protoreflect.Uint64Kind:
		_, u, err := d.integer(n, 64, false, "0 to 18446744073709551615 (0xffffffffffffffff)")
		return protoreflect.ValueOfUint64(u), err
	}
	return protoreflect.Value{}, d.fault(n, "", "fields of this kind cannot be written in YAML")
}

func (d *decoder) integer(n *yaml.Node, bits int, signed bool, span string) (int64, uint64, error) {
	if !plain(n) || !isWhole(n.Value) {
		return 0, 0, d.fault(n, "a whole number as in 256 or 0x100, without quotes", "%s is not a whole number", describe(n))
	}
	i, u, err := atoi(n.Value, bits, signed)
	if err != nil {
		return 0, 0, d.fault(n, span, "%.60s is out of range", n.Value)
	}
	return i, u, nil
}

// isWhole asks for digits, or 0x and hexadecimal ones, after a sign or none. A leading zero is refused, since YAML's versions
// disagree whether it means octal.
func isWhole(s string) bool {
	s = unsigned(s)
	if len(s) > 2 && s[:2] == "0x" {
		return strings.Trim(s[2:], "0123456789abcdefABCDEF") == ""
	}
	n := digits(s)
	return n > 0 && n == len(s) && (s[0] != '0' || n == 1)
}

// isDecimal asks for digits without a leading zero, a point and digits, and an exponent, each of which may be left out.
func isDecimal(s string) bool {
	s = unsigned(s)
	n := digits(s)
	if n > 1 && s[0] == '0' {
		return false
	}
	if s = s[n:]; s != "" && s[0] == '.' {
		s = s[1+digits(s[1:]):]
	}
	if s == "" {
		return true
	}
	exponent := unsigned(s[1:])
	return (s[0] == 'e' || s[0] == 'E') && exponent != "" && digits(exponent) == len(exponent)
}

func unsigned(s string) string {
	if s != "" && (s[0] == '+' || s[0] == '-') {
		return s[1:]
	}
	return s
}

// digits is how many s begins with.
func digits(s string) int {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return i
		}
	}
	return len(s)
}

// plain says whether a value stands as it is: no quotes, no tag, no block of text.
func plain(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Style == 0 }

// double reads a finite number; a whole one may be written in hexadecimal.
func (d *decoder) double(n *yaml.Node) (float64, error) {
	if plain(n) && isWhole(n.Value) {
		if i, err := strconv.ParseInt(n.Value, 0, 64); err == nil {
			return float64(i), nil
		}
	}
	if !plain(n) || !isDecimal(n.Value) {
		return 0, d.fault(n, "a finite number as in 12.5 or 0x100, without quotes", "%s is not a number", describe(n))
	}
	v, err := strconv.ParseFloat(n.Value, 64)
	if errors.Is(err, strconv.ErrRange) {
		return 0, d.fault(n, "a finite number", "%.60s is out of range", n.Value)
	}
	if err != nil {
		return 0, d.fault(n, "a finite number as in 12.5 or 0x100, without quotes", "%s is not a number", describe(n))
	}
	return v, nil
}

// text reads a string of a field, of one line unless that is among the multiline. What could make a terminal or a page show something else than what
// stands in the file is refused.
func (d *decoder) text(n *yaml.Node, field protoreflect.Name) (string, error) {
	if n.Kind != yaml.ScalarNode {
		return "", d.fault(n, "text", "%s where text belongs", describe(n))
	}
	if tag := n.ShortTag(); tag != "!!str" {
		return "", d.fault(n, strconv.Quote(n.Value)+" in quotes, if text is meant", "%s is not text", n.Value)
	}
	if printable(n.Value) {
		return n.Value, nil
	}
	if !utf8.ValidString(n.Value) {
		return "", d.fault(n, "UTF-8", "the text is not UTF-8")
	}
	if strings.Contains(n.Value, "\n") && !slices.Contains(d.multiline, string(field)) {
		return "", d.fault(n, "text on one line", "the text has several lines")
	}
	for _, r := range n.Value {
		hidden := Hidden(r) && r != '\n' && r != '\t'
		if hidden {
			return "", d.fault(n, "printable text", "the text holds the control character U+%04X", r)
		}
	}
	return n.Value, nil
}

// printable is what most texts are: ASCII without control characters.
func printable(s string) bool {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' {
			return false
		}
	}
	return true
}

// Hidden says whether a character controls how text is shown: a control character, or one that turns its direction.
func Hidden(r rune) bool {
	return unicode.IsControl(r) || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069
}
