package a2l

import (
	"fmt"
	"path"
	"strings"

	"witnessmark/tables/yamldoc"
)

const (
	// MaxBytes is the most that a description and all that it includes may be.
	MaxBytes = 256 << 20

	maxIncludes = 16 // one inside the other
	maxNesting  = 64 // of blocks
	maxWord     = 4096
)

// Place is where something stands.
type Place struct {
	File string
	Line int
}

// kind of a token: what is quoted, /begin and /end with the block's name, the end of all files, or any other word.
type kind uint8

const (
	word kind = iota
	quoted
	begin
	end
	over
)

type token struct {
	kind kind
	text string
	Place
}

// source is one file as far as it was read.
type source struct {
	name     string // as errors call it
	path     string // from the folder of the first
	text     string
	at, line int
}

type opened struct {
	name string
	line int
}

// scanner cuts files into tokens; after an error there is nothing but the end.
type scanner struct {
	include func(name string) ([]byte, error)
	files   []*source // the last one is read
	blocks  []opened
	left    int  // bytes that may still come
	paths   bool // a backslash in a text is one
	err     error
}

// wrong ends the reading: what follows could not be told apart.
func (s *scanner) wrong(at Place, allowed, format string, args ...any) token {
	if s.err == nil {
		s.err = &yamldoc.Error{File: at.File, Line: at.Line, Problem: fmt.Sprintf(format, args...), Allowed: allowed}
	}
	return token{kind: over, Place: at}
}

func (s *scanner) push(at Place, name, path string, file []byte) {
	if s.left -= len(file); s.left < 0 {
		s.wrong(at, fmt.Sprintf("at most %d bytes, with all that is included", MaxBytes), "the description is too large")
		return
	}
	s.files = append(s.files, &source{name: name, path: path, text: textOf(file), line: 1})
}

// next is the next token; blocks of other tools' data are passed over whole.
func (s *scanner) next() token {
	for s.err == nil {
		t := s.bare()
		if t.kind != word || t.text[0] != '/' {
			return t
		}
		switch t.text {
		case "/include":
			s.open(t.Place)
		case "/begin":
			name := s.bare()
			if name.kind != word {
				return s.wrong(t.Place, "/begin and the block's name", "a block without a name begins here")
			}
			if name.text == "A2ML" {
				s.passText(t.Place)
				continue
			}
			if len(s.blocks) == maxNesting {
				return s.wrong(t.Place, fmt.Sprintf("at most %d blocks, one inside the other", maxNesting), "block %.60s is nested too deep", name.text)
			}
			s.blocks = append(s.blocks, opened{name.text, t.Line})
			if name.text == "IF_DATA" {
				s.pass(len(s.blocks) - 1)
				continue
			}
			return token{begin, name.text, t.Place}
		case "/end":
			name := s.bare()
			if len(s.blocks) == 0 {
				return s.wrong(t.Place, "/end after a /begin", "a block ends here that never began")
			}
			b := s.blocks[len(s.blocks)-1]
			if name.kind != word || name.text != b.name {
				return s.wrong(t.Place, "/end "+b.name, "the block %.60s of line %d ends as %.60q", b.name, b.line, name.text)
			}
			s.blocks = s.blocks[:len(s.blocks)-1]
			return token{end, name.text, t.Place}
		default:
			return s.wrong(t.Place, "/begin, /end, /include", "%.60q is not known", t.text)
		}
	}
	return token{kind: over}
}

// pass reads on until only depth blocks are open.
func (s *scanner) pass(depth int) {
	for len(s.blocks) > depth {
		if s.next().kind == over {
			return
		}
	}
}

// open begins to read another file. It lies beside the one that names it, or in a folder there.
func (s *scanner) open(at Place) {
	s.paths = true
	t := s.bare()
	s.paths = false
	name := strings.ReplaceAll(t.text, `\`, "/")
	full := path.Join(path.Dir(s.files[len(s.files)-1].path), name)
	switch {
	case t.kind > quoted || name == "":
		s.wrong(at, `/include and a file's name`, "there is no name")
	case path.IsAbs(name) || strings.Contains(name, ":") || full == ".." || strings.HasPrefix(full, "../") || strings.Contains("/"+name+"/", "/../"):
		s.wrong(at, "a file beside this one, or in a folder there", "%.200q leads elsewhere", t.text)
	case len(s.files) > maxIncludes:
		s.wrong(at, fmt.Sprintf("at most %d files, one including the other", maxIncludes), "%.200q is included too deep", name)
	default:
		for _, f := range s.files {
			if f.path == full {
				s.wrong(at, "no circles", "%.200q is included in a circle", name)
				return
			}
		}
		file, err := s.include(full)
		if err != nil {
			s.wrong(at, "", "cannot be included: %v", err)
			return
		}
		s.push(at, full, full, file)
	}
}
