package run

import (
	"bytes"
	"errors"
	"fmt"
)

// split cuts a line at its separators; a field in double quotes may hold one.
func split(out [][]byte, line []byte, separator byte) ([][]byte, error) {
	for {
		if len(line) > 0 && line[0] == '"' {
			field, rest, err := quoted(line[1:])
			if err != nil {
				return out, err
			}
			out = append(out, field)
			if len(rest) == 0 {
				return out, nil
			}
			if rest[0] != separator {
				return out, fmt.Errorf("%.20q after a closing quote; allowed: the separator %q", rest, separator)
			}
			line = rest[1:]
			continue
		}
		i := bytes.IndexByte(line, separator)
		if i < 0 {
			return append(out, bytes.TrimSpace(line)), nil
		}
		out = append(out, bytes.TrimSpace(line[:i]))
		line = line[i+1:]
	}
}

// quoted reads up to the closing quote; a doubled one stands for itself.
func quoted(line []byte) (field, rest []byte, _ error) {
	for i := 0; i < len(line); i++ {
		if line[i] != '"' {
			continue
		}
		if i+1 < len(line) && line[i+1] == '"' {
			i++
			continue
		}
		return bytes.TrimSpace(bytes.ReplaceAll(line[:i], []byte(`""`), []byte(`"`))), line[i+1:], nil
	}
	return nil, nil, errors.New("a quote is not closed in its line")
}

// separatorOf is what the header is separated by; brackets and parentheses hold a unit, and quotes a header.
func separatorOf(head string) byte {
	var comma, semicolon, inQuote, inUnit bool
	for i := range len(head) {
		switch ch := head[i]; {
		case ch == '"':
			inQuote = !inQuote
		case inQuote:
		case ch == '\t':
			return '\t'
		case ch == '[' || ch == '(':
			inUnit = true
		case ch == ']' || ch == ')':
			inUnit = false
		case ch == ';':
			semicolon = true
		case ch == ',' && !inUnit:
			comma = true
		}
	}
	if comma && !semicolon {
		return ','
	}
	return ';'
}
