package definition

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// maxText is the most bytes of a text and of an identity field; they are printed in reports.
const maxText = 1024

// text compiles a table that holds text.
func (c *compiler) text(path string, t *calibrationv1.Table, table *Table) error {
	const none = "none of a text"
	if err := c.without(path, none, t, "conversion", "unit", "unit_text", "x", "y", "axes", "order", "protects", "feeds", "observed", "mirror"); err != nil {
		return err
	}
	if err := c.oneOf(path+".encoding", t.GetEncoding(), "ascii", "utf-8"); err != nil {
		return err
	}
	s := t.GetStored()
	if s == nil {
		return c.at.Errorf(path+".stored", "stored: {address: …, length: …}", "where the text lies is missing")
	}
	at := path + ".stored"
	if err := c.without(at, none, s, "type", "count", "sign", "mask", "stride", "row_stride", "reversed", "not_a_value", "count_at", "layout"); err != nil {
		return err
	}
	if n := s.GetLength(); n == 0 || n > maxText {
		return c.at.Errorf(at+".length", fmt.Sprintf("1 to %d bytes", maxText), "%d bytes", n)
	}
	bytes := &calibrationv1.Stored{Address: s.GetAddress(), Type: "u8", ByteOrder: s.GetByteOrder(), Pointer: s.GetPointer()}
	table.UTF8 = t.GetEncoding() == "utf-8"
	err := c.place(path, bytes, table, shape{counts: []int{int(s.GetLength())}})
	if err == nil {
		table.Cells.Conv.Factor, table.placed.word.Conv.Factor = 1, 1
	}
	return err
}

// Text is what a text or an identity field says: without trailing NULs and blanks. Whatever would not show as itself is
// escaped, and so is a backslash, so that two different ones never read the same (but for what is cut off).
func Text(b []byte, inUTF8 bool) string {
	for len(b) > 0 && (b[len(b)-1] == 0 || b[len(b)-1] == ' ') {
		b = b[:len(b)-1]
	}
	var out strings.Builder
	for len(b) > 0 {
		r, n := rune(b[0]), 1
		if inUTF8 {
			r, n = utf8.DecodeRune(b)
		}
		switch shown := r < utf8.RuneSelf && r >= ' ' && r <= '~' || inUTF8 && n > 1 && unicode.IsPrint(r); {
		case r == '\\':
			out.WriteString(`\\`)
		case shown:
			out.WriteRune(r)
		default:
			for _, v := range b[:n] {
				fmt.Fprintf(&out, `\x%02x`, v)
			}
		}
		b = b[n:]
	}
	return out.String()
}
