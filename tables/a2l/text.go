package a2l

import (
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// textOf is a file in UTF-8 without its byte order mark. UTF-16 is told by its mark; what is no UTF-8 is
// Latin-1, as older programs wrote.
func textOf(b []byte) string {
	s := string(b)
	switch {
	case strings.HasPrefix(s, "\ufeff"):
		s = s[len("\ufeff"):]
	case strings.HasPrefix(s, "\xff\xfe"), strings.HasPrefix(s, "\xfe\xff"):
		return wide(s[2:], s[0] == 0xfe)
	}
	if utf8.ValidString(s) {
		return s
	}
	var out strings.Builder
	out.Grow(len(s) + len(s)/8)
	for i := range len(s) {
		out.WriteRune(rune(s[i]))
	}
	return out.String()
}

func wide(s string, big bool) string {
	units := make([]uint16, len(s)/2)
	for i := range units {
		a, b := uint16(s[2*i]), uint16(s[2*i+1])
		if big {
			a, b = b, a
		}
		units[i] = a | b<<8
	}
	return string(utf16.Decode(units))
}

// unescape is what a quoted text says: \" and "" are a quote.
func unescape(s string) string {
	if !strings.ContainsAny(s, `\"`) {
		return s
	}
	var out strings.Builder
	for i := 0; i < len(s); i++ {
		c := s[i]
		if i+1 < len(s) && (c == '\\' || c == '"') {
			next := s[i+1]
			switch {
			case c == '"' && next == '"', c == '\\' && (next == '"' || next == '\\' || next == '\''):
				c, i = next, i+1
			case c == '\\' && next == 'n':
				c, i = '\n', i+1
			case c == '\\' && next == 'r':
				c, i = '\r', i+1
			case c == '\\' && next == 't':
				c, i = '\t', i+1
			}
		}
		out.WriteByte(c)
	}
	return out.String()
}
