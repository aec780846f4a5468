// Package printed writes a report for programs, as JSON or CSV, cell by cell: what that takes in memory
// does not grow with the report.
package printed

import (
	"io"
	"math"
)

// out gathers text for w.
type out struct {
	w    io.Writer
	text []byte
	err  error
}

// enough is how much is written at once, in bytes.
const enough = 64 << 10

// pass writes what was gathered if it is enough, and says whether to go on.
func (o *out) pass() bool {
	if len(o.text) >= enough {
		o.flush()
	}
	return o.err == nil
}

func (o *out) flush() {
	if o.err == nil && len(o.text) > 0 {
		_, o.err = o.w.Write(o.text)
	}
	o.text = o.text[:0]
}

// Numbers writes numbers by a function, and remembers the texts of some thousand: tables hold the same ones over and over.
type Numbers struct {
	write func(text []byte, v float64) []byte
	kept  [1 << keptBits]struct {
		bits uint64
		text [23]byte
		n    uint8 // 0 of none
	}
}

const keptBits = 12

// NumbersBy is Numbers that are appended to a text by write, which gives the same for the same number.
func NumbersBy(write func(text []byte, v float64) []byte) *Numbers { return &Numbers{write: write} }

// Append appends a number to text.
func (n *Numbers) Append(text []byte, v float64) []byte {
	bits := math.Float64bits(v)
	k := &n.kept[bits*0x9E3779B97F4A7C15>>(64-keptBits)]
	if k.bits == bits && k.n > 0 {
		return append(text, k.text[:k.n]...)
	}
	from := len(text)
	text = n.write(text, v)
	if len(text)-from <= len(k.text) {
		k.bits, k.n = bits, uint8(copy(k.text[:], text[from:]))
	}
	return text
}

// words writes texts by a function, and remembers some: the labels of a table come over and over.
type words struct {
	write func(s string) string
	kept  map[string]string
}

func (w *words) of(s string) string {
	text, known := w.kept[s]
	if !known {
		if w.kept == nil || len(w.kept) >= 1000 {
			w.kept = map[string]string{}
		}
		text = w.write(s)
		w.kept[s] = text
	}
	return text
}
