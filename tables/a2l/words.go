package a2l

import (
	"fmt"
	"strings"
)

// bare is the next word or quoted text, whatever it says.
func (s *scanner) bare() token {
	for len(s.files) > 0 && s.err == nil {
		f := s.files[len(s.files)-1]
		if !s.blanks(f) {
			break
		}
		if f.at < len(f.text) {
			if f.text[f.at] == '"' {
				return s.quoted(f)
			}
			return s.word(f)
		}
		if len(s.files) == 1 {
			at := Place{f.name, f.line}
			if n := len(s.blocks); n > 0 {
				return s.wrong(at, "/end "+s.blocks[n-1].name, "the file ends inside the block %.60s of line %d", s.blocks[n-1].name, s.blocks[n-1].line)
			}
			return token{kind: over, Place: at}
		}
		s.files = s.files[:len(s.files)-1]
	}
	return token{kind: over}
}

// blanks passes over blanks and comments; false where a comment does not end.
func (s *scanner) blanks(f *source) bool {
	for f.at < len(f.text) {
		switch c := f.text[f.at]; {
		case c == '\n':
			f.line++
			f.at++
		case c <= ' ' || c == 0x7f:
			f.at++
		case strings.HasPrefix(f.text[f.at:], "//"):
			n := strings.IndexByte(f.text[f.at:], '\n')
			if n < 0 {
				n = len(f.text) - f.at
			}
			f.at += n
		case strings.HasPrefix(f.text[f.at:], "/*"):
			n := strings.Index(f.text[f.at+2:], "*/")
			if n < 0 {
				s.wrong(Place{f.name, f.line}, "*/ at its end", "a comment begins here and never ends")
				return false
			}
			f.line += strings.Count(f.text[f.at:f.at+2+n], "\n")
			f.at += n + 4
		default:
			return true
		}
	}
	return true
}

func (s *scanner) quoted(f *source) token {
	at, from := Place{f.name, f.line}, f.at+1
	for i := from; i < len(f.text); i++ {
		switch f.text[i] {
		case '\\':
			if s.paths {
				continue
			}
			if i++; i < len(f.text) && f.text[i] == '\n' {
				f.line++
			}
		case '\n':
			f.line++
		case '"':
			if i+1 < len(f.text) && f.text[i+1] == '"' {
				i++
				continue
			}
			f.at = i + 1
			if s.paths {
				return token{quoted, f.text[from:i], at}
			}
			return token{quoted, unescape(f.text[from:i]), at}
		}
	}
	return s.wrong(at, `" at its end`, "a quoted text begins here and never ends")
}

func (s *scanner) word(f *source) token {
	from := f.at
	for f.at < len(f.text) {
		c := f.text[f.at]
		if c <= ' ' || c == '"' || c == '/' && f.at > from && f.at+1 < len(f.text) && (f.text[f.at+1] == '*' || f.text[f.at+1] == '/') {
			break
		}
		f.at++
	}
	at := Place{f.name, f.line}
	if f.at-from > maxWord {
		return s.wrong(at, fmt.Sprintf("at most %d bytes", maxWord), "a word is too long")
	}
	return token{word, f.text[from:f.at], at}
}

// passText passes over a block of another grammar, whose words are not ours to cut.
func (s *scanner) passText(at Place) {
	f := s.files[len(s.files)-1]
	for i := f.at; i < len(f.text); {
		rest := f.text[i:]
		switch {
		case strings.HasPrefix(rest, "/*"):
			n := strings.Index(rest[2:], "*/")
			if n < 0 {
				i = len(f.text)
				continue
			}
			i += n + 4
		case strings.HasPrefix(rest, "//"):
			n := strings.IndexByte(rest, '\n')
			if n < 0 {
				n = len(rest)
			}
			i += n
		case rest[0] == '"':
			n := strings.IndexByte(rest[1:], '"')
			if n < 0 {
				n = len(rest) - 2
			}
			i += n + 2
		case strings.HasPrefix(rest, "/end") && strings.HasPrefix(strings.TrimLeft(rest[4:], " \t\r\n"), "A2ML"):
			to := len(f.text) - len(strings.TrimLeft(rest[4:], " \t\r\n")) + len("A2ML")
			f.line += strings.Count(f.text[f.at:to], "\n")
			f.at = to
			return
		default:
			i++
		}
	}
	s.wrong(at, "/end A2ML", "the block A2ML begins here and never ends")
}
