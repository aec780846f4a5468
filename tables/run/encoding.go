package run

import (
	"bufio"
	"io"
	"unicode/utf16"
	"unicode/utf8"
)

// utf8Of is a file's text in UTF-8, without a byte order mark: UTF-16 is told by its mark, or by the
// zero byte beside the first character.
func utf8Of(r io.Reader) io.Reader {
	in := bufio.NewReader(r)
	b, _ := in.Peek(3)
	at := func(i int) int {
		if i < len(b) {
			return int(b[i])
		}
		return -1
	}
	switch {
	case at(0) == 0xef && at(1) == 0xbb && at(2) == 0xbf:
		in.Discard(3)
	case at(0) == 0xff && at(1) == 0xfe:
		in.Discard(2)
		return &wide{in: in}
	case at(0) == 0xfe && at(1) == 0xff:
		in.Discard(2)
		return &wide{in: in, big: true}
	case at(0) > 0 && at(1) == 0:
		return &wide{in: in}
	case at(0) == 0 && at(1) > 0:
		return &wide{in: in, big: true}
	}
	return in
}

// wide turns UTF-16 into UTF-8.
type wide struct {
	in   *bufio.Reader
	big  bool
	rest []byte
	held rune // a unit that was read one too far
}

func (w *wide) Read(p []byte) (int, error) {
	for len(w.rest) < len(p) {
		c, err := w.unit()
		if err != nil {
			if len(w.rest) > 0 {
				break
			}
			return 0, err
		}
		if utf16.IsSurrogate(c) {
			low, err := w.unit()
			if pair := utf16.DecodeRune(c, low); err == nil && pair == utf8.RuneError {
				w.held = low // it begins something of its own
			} else {
				c = pair
			}
		}
		w.rest = utf8.AppendRune(w.rest, c)
	}
	n := copy(p, w.rest)
	w.rest = w.rest[:copy(w.rest, w.rest[n:])]
	return n, nil
}

// unit is the next 16 bits; half of one at the end is dropped.
func (w *wide) unit() (rune, error) {
	if c := w.held; c != 0 {
		w.held = 0
		return c, nil
	}
	var b [2]byte
	if _, err := io.ReadFull(w.in, b[:]); err != nil {
		if err == io.ErrUnexpectedEOF {
			err = io.EOF
		}
		return 0, err
	}
	if w.big {
		b[0], b[1] = b[1], b[0]
	}
	return rune(b[0]) | rune(b[1])<<8, nil
}

// text is what a header or a note says; bytes that are no UTF-8 are Latin-1.
func text(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	runes := make([]rune, len(b))
	for i, c := range b {
		runes[i] = rune(c)
	}
	return string(runes)
}
