package store

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/bits"
)

// maxSteps is the most bytes that may differ for a difference to be tried as steps: maps that somebody
// edited. What differs everywhere is left to XOR.
const maxSteps = 128 << 10

// maxColumn is the most bytes of a column: a stretch changes a byte or more, and how far it is from the one before takes
// four bytes or fewer, as MaxBlob does.
const maxColumn = 4 * maxSteps

// words is how the values lie whose steps are kept, and what a step is expected to be: a table's values lie in one
// way, mostly, and those that change go up or down by little, or by as much as the one before, or by as great a part of
// themselves. What is kept is by how much that is wrong. (Words of four bytes gained nothing.)
type words struct {
	width  int
	big    bool
	expect expectation
}

type expectation byte

const (
	nothing expectation = iota
	asMuch              // as the step before
	asPart              // of its value as the step before of its own
)

// wordings are all that are tried; a packed blob has its place in this list.
var wordings = []words{
	{width: 1}, {width: 2}, {width: 2, big: true},
	{width: 1, expect: asMuch}, {width: 2, expect: asMuch}, {width: 2, big: true, expect: asMuch},
	{width: 1, expect: asPart}, {width: 2, expect: asPart}, {width: 2, big: true, expect: asPart},
}

// change is a value and the step that it went.
type change struct{ value, step uint16 }

// expected is the step of a value after another change.
func (w words) expected(value uint16, before change) uint16 {
	switch {
	case w.expect == nothing:
		return 0
	case w.expect == asMuch || before.value == 0:
		return before.step
	}
	n, by := int64(value)*int64(int16(before.step)), int64(before.value)
	return uint16((2*n + by) / (2 * by)) // to the nearest, mostly
}

// signed is a step of a word as one of 16 bits.
func (w words) signed(step uint16) uint16 {
	if w.width == 1 {
		return uint16(int8(step))
	}
	return step
}

// columns of steps: how many bytes lie between changed stretches, how many words each has, and of each
// word's step the bytes, the lowest first.
type columns [][]byte

func (w words) columns() columns { return make(columns, 2+w.width) }

// place is where the byte of a word at i lies that counts 256^n.
func (w words) place(i, n int) int {
	if w.big {
		return i + w.width - 1 - n
	}
	return i + n
}

// read is the word at i; beyond both ends lie zeros.
func (w words) read(b []byte, i int) (v uint16) {
	for n := range w.width {
		if at := w.place(i, n); at >= 0 && at < len(b) {
			v |= uint16(b[at]) << (8 * n)
		}
	}
	return v
}

// span is a stretch of bytes that all differ.
type span struct{ start, end int }

// changes lists where data differs from base, which is read as zeros beyond its end; none where that is in
// more than maxSteps bytes.
func changes(data, base []byte) (out []span, ok bool) {
	both := min(len(data), len(base))
	left := maxSteps
	for at := 0; ; {
		at = nextChange(data, base[:both], at)
		s := span{at, at}
		for s.end < len(data) && (s.end < both && data[s.end] != base[s.end] || s.end >= both && data[s.end] != 0) {
			s.end++
		}
		if s.end == s.start {
			return out, true
		}
		if left -= s.end - s.start; left < 0 {
			return nil, false
		}
		out, at = append(out, s), s.end
	}
}

// nextChange is the first place from at on where data is not base, or data's end.
func nextChange(data, base []byte, at int) int {
	const stride = 256 // bytes.Equal is fast, and then few are looked at one by one
	for at+stride <= len(base) && bytes.Equal(data[at:at+stride], base[at:at+stride]) {
		at += stride
	}
	for ; at+8 <= len(base); at += 8 {
		if x := binary.LittleEndian.Uint64(data[at:]) ^ binary.LittleEndian.Uint64(base[at:]); x != 0 {
			return at + bits.TrailingZeros64(x)/8
		}
	}
	for at < len(data) && (at < len(base) && data[at] == base[at] || at >= len(base) && data[at] == 0) {
		at++
	}
	return at
}

// steps are the columns of a difference. A stretch goes on over fewer equal bytes than a word has; its words
// are counted from where a lowest byte is most likely: its first byte, or its last.
func (w words) steps(data, base []byte, where []span) columns {
	out := w.columns()
	base = base[:min(len(base), len(data))] // what apply sees of it
	at, last := -w.width, change{}
	for i := 0; i < len(where); {
		s := where[i]
		for i++; i < len(where) && where[i].start-s.end < w.width; i++ {
			s.end = where[i].end
		}
		count := (s.end - s.start + w.width - 1) / w.width
		if w.big {
			s.start = s.end - count*w.width
		}
		out[0] = binary.AppendUvarint(out[0], uint64(s.start-at))
		out[1] = binary.AppendUvarint(out[1], uint64(count))
		for at = s.start; count > 0; count, at = count-1, at+w.width {
			value := w.read(base, at)
			step := w.signed(w.read(data, at) - value)
			wrong := step - w.expected(value, last)
			for n := range w.width {
				out[2+n] = append(out[2+n], byte(wrong>>(8*n)))
			}
			last = change{value, step}
		}
	}
	return out
}

// apply takes the steps in data, which is the base as far as that goes.
func (w words) apply(data []byte, c columns) error {
	gaps, counts, taken, last := c[0], c[1], 0, change{}
	for at := -w.width; len(gaps) > 0; {
		gap, n := binary.Uvarint(gaps)
		count, m := binary.Uvarint(counts)
		if n <= 0 || m <= 0 || gap == 0 || gap > uint64(len(data)+w.width) || count == 0 || count > uint64(len(c[2])-taken) {
			return fmt.Errorf("its steps lead nowhere: %w", ErrPacked)
		}
		gaps, counts = gaps[n:], counts[m:]
		for at += int(gap); count > 0; count, at, taken = count-1, at+w.width, taken+1 {
			if at >= len(data) {
				return fmt.Errorf("its steps go beyond its end: %w", ErrPacked)
			}
			value := w.read(data, at)
			step := w.expected(value, last)
			for n := range w.width {
				step += uint16(c[2+n][taken]) << (8 * n)
			}
			last = change{value, w.signed(step)}
			v := value + step
			for n := range w.width {
				if at := w.place(at, n); at >= 0 && at < len(data) {
					data[at] = byte(v >> (8 * n))
				}
			}
		}
	}
	if len(counts) > 0 || taken != len(c[2]) {
		return fmt.Errorf("it has more steps than places: %w", ErrPacked)
	}
	return nil
}

// packSteps is the smallest of a difference's wordings: which it is, and its columns. It is nil where too much differs.
func packSteps(data, base []byte) (best []byte) {
	where, ok := changes(data, base)
	if !ok {
		return nil
	}
	known := map[string][]byte{} // words of one kind lie in the same places, whatever is expected
	for i, w := range wordings {
		packed := []byte{byte(i)}
		for _, c := range w.steps(data, base, where) {
			short, ok := known[string(c)]
			if !ok {
				short = packColumn(c)
				known[string(c)] = short
			}
			packed = append(packed, short...)
		}
		if best == nil || len(packed) < len(best) {
			best = packed
		}
	}
	return best
}

// packColumn is how long a column is, how it is packed (0 squeezed, 1 as a zstd frame), how long that is, and that.
func packColumn(c []byte) []byte {
	how, short := byte(0), squeeze(c)
	if frame := packer().EncodeAll(c, nil); len(frame) < len(short) {
		how, short = 1, frame
	}
	packed := append(binary.AppendUvarint(nil, uint64(len(c))), how)
	return append(binary.AppendUvarint(packed, uint64(len(short))), short...)
}

// unpackSteps makes the data again, in place of the base.
func unpackSteps(packed, data []byte) error {
	if len(packed) == 0 || int(packed[0]) >= len(wordings) {
		return fmt.Errorf("its wording is unknown: %w", ErrPacked)
	}
	w, packed := wordings[packed[0]], packed[1:]
	c := w.columns()
	var err error
	for i := range c {
		if c[i], packed, err = unpackColumn(packed); err != nil {
			return fmt.Errorf("its column %d: %w", i, err)
		}
		if i > 2 && len(c[i]) != len(c[2]) {
			return fmt.Errorf("its columns are not equally long: %w", ErrPacked)
		}
	}
	if len(packed) > 0 {
		return fmt.Errorf("something follows its steps: %w", ErrPacked)
	}
	return w.apply(data, c)
}

func unpackColumn(packed []byte) (column, rest []byte, err error) {
	size, n := binary.Uvarint(packed)
	if n <= 0 || n == len(packed) || size > maxColumn {
		return nil, nil, fmt.Errorf("its length is cut or too large: %w", ErrPacked)
	}
	how, packed := packed[n], packed[n+1:]
	length, n := binary.Uvarint(packed)
	if n <= 0 || length > uint64(len(packed)-n) {
		return nil, nil, fmt.Errorf("it is cut: %w", ErrPacked)
	}
	short, rest := packed[n:][:length], packed[n+int(length):]
	switch how {
	case 0:
		column, ok := stretch(short, int(size))
		if !ok {
			err = fmt.Errorf("it was never squeezed: %w", ErrPacked)
		}
		return column, rest, err
	case 1:
		column, err = unzip(short, int(size))
		return column, rest, err
	}
	return nil, nil, fmt.Errorf("it is packed in way %d, known are 0 and 1: %w", how, ErrPacked)
}
