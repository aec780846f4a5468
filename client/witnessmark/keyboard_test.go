package main

import (
	"io"
	"strings"
	"testing"
	"testing/iotest"
)

// Keys as terminals send them (ECMA-48: a control sequence is ESC [ and ends with a byte from @ to ~).
func TestReadKeys(t *testing.T) {
	for _, c := range []struct{ sent, want string }{
		{"s\rt\n", "s\rt\r"},
		{"\x1b", "\x1b"},
		{"\x1b[Ax", "x"},           // up
		{"\x1b[1;5Cx", "x"},        // right, with control
		{"\x1bOPx", "x"},           // F1
		{"\x1bax", "x"},            // a with alt
		{"\x1b[", ""},              // cut off
		{"é→", "é→"},               //
		{"a\bb\x7f", "a\x7fb\x7f"}, // either key that takes back
		{"\xff", "\uFFFD"},
	} {
		for how, in := range map[string]io.Reader{"at once": strings.NewReader(c.sent), "the last with its end": iotest.DataErrReader(strings.NewReader(c.sent))} {
			got := ""
			readKeys(in, func(key rune) bool { got += string(key); return true })
			if got != c.want {
				t.Errorf("%q, %s: %q, want %q", c.sent, how, got, c.want)
			}
		}
	}
	got := ""
	readKeys(iotest.OneByteReader(strings.NewReader("é→")), func(key rune) bool { got += string(key); return got != "é" })
	if got != "é" {
		t.Errorf("a character in parts, and then nobody listens: %q", got)
	}
}
