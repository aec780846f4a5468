package image

import (
	"bytes"
	"fmt"
	"sort"
)

// piece is the data of one record, with the line it stood on.
type piece struct {
	address uint64
	data    []byte
	line    int
}

func (p piece) end() uint64 { return p.address + uint64(len(p.data)) }

// reader walks the lines of a record file.
type reader struct {
	name   string
	rest   []byte
	line   int
	bytes  [512]byte // the record at hand, decoded from hex
	pieces []piece
}

// next returns the next line that is not blank, without its line end (LF or CRLF).
func (r *reader) next() ([]byte, bool) {
	for len(r.rest) > 0 {
		line := r.rest
		if i := bytes.IndexByte(r.rest, '\n'); i >= 0 {
			line, r.rest = r.rest[:i], r.rest[i+1:]
		} else {
			r.rest = nil
		}
		r.line++
		line = bytes.TrimSuffix(line, []byte{'\r'})
		if len(bytes.Trim(line, " \t")) > 0 {
			return line, true
		}
	}
	return nil, false
}

func (r *reader) errorf(format string, args ...any) error {
	return fmt.Errorf("%s: line %d: %s", r.name, r.line, fmt.Sprintf(format, args...))
}

// hex decodes pairs of hex digits; prefix is how many characters stand before them.
func (r *reader) hex(digits []byte, prefix int) ([]byte, error) {
	for i, c := range digits {
		if _, ok := nibble(c); !ok {
			return nil, r.errorf("character %d is %q; allowed: hex digits 0-9 A-F a-f", prefix+i+1, string(rune(c)))
		}
	}
	if len(digits)%2 != 0 {
		return nil, r.errorf("truncated record: an odd number of hex digits (%d)", len(digits))
	}
	if len(digits)/2 > len(r.bytes) {
		return nil, r.errorf("record of %d bytes; a record holds at most 260", len(digits)/2)
	}
	for i := 0; i < len(digits); i += 2 {
		hi, _ := nibble(digits[i])
		lo, _ := nibble(digits[i+1])
		r.bytes[i/2] = hi<<4 | lo
	}
	return r.bytes[:len(digits)/2], nil
}

func nibble(c byte) (byte, bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10, true
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10, true
	}
	return 0, false
}

// add keeps the data of a record; it must end within the address space.
func (r *reader) add(address uint64, data []byte) error {
	if len(data) == 0 {
		return nil
	}
	if address+uint64(len(data)) > addressSpace {
		return r.errorf("data at 0x%x of %d bytes reaches past the last address 0xffffffff; it does not wrap to 0", address, len(data))
	}
	r.pieces = append(r.pieces, piece{address: address, data: append([]byte(nil), data...), line: r.line})
	return nil
}

// all takes every line up to the end record, which must be there and the last.
func (r *reader) all(record func(line []byte) (end bool, err error), endRecord string) error {
	for end := false; !end; {
		line, ok := r.next()
		if !ok {
			return r.errorf("truncated: the file ends without an end record (%s)", endRecord)
		}
		var err error
		if end, err = record(line); err != nil {
			return err
		}
	}
	if _, more := r.next(); more {
		return r.errorf("data after the end record; only blank lines may follow it")
	}
	return nil
}

// file sorts what was read, refuses overlaps and joins what is contiguous.
func (r *reader) file(format Format, start *Start) (*File, error) {
	if len(r.pieces) == 0 {
		return nil, fmt.Errorf("%s: the file holds no data records", r.name)
	}
	p := r.pieces
	sort.SliceStable(p, func(i, j int) bool { return p[i].address < p[j].address })
	for i := 1; i < len(p); i++ {
		if p[i].address < p[i-1].end() {
			late, early := max(p[i].line, p[i-1].line), min(p[i].line, p[i-1].line)
			return nil, fmt.Errorf("%s: line %d: data at 0x%x to 0x%x overlaps line %d; each byte may be given once",
				r.name, late, p[i].address, min(p[i].end(), p[i-1].end()), early)
		}
	}
	f := &File{Format: format, Start: start, records: make([]record, len(p))}
	for i, one := range p {
		f.records[i] = record{one.address, one.end(), one.line}
	}
	for i := 0; i < len(p); {
		j, size := i, 0
		for ; j < len(p) && (j == i || p[j].address == p[j-1].end()); j++ {
			size += len(p[j].data)
		}
		data := make([]byte, 0, size)
		for _, one := range p[i:j] {
			data = append(data, one.data...)
		}
		f.Segments = append(f.Segments, Segment{Address: p[i].address, Data: data})
		i = j
	}
	return f, nil
}

const hexDigits = "0123456789ABCDEF"

// appendHex appends bytes as upper-case hex and adds them to sum.
func appendHex(line []byte, sum *byte, data ...byte) []byte {
	for _, b := range data {
		line = append(line, hexDigits[b>>4], hexDigits[b&15])
		*sum += b
	}
	return line
}

// recordBytes is how many data bytes a record of ours holds.
const recordBytes = 16

// split calls each with the parts of the segments, none longer than a record holds and none
// across a 64 KiB boundary.
func (f *File) split(each func(address uint64, data []byte)) {
	for _, s := range f.Segments {
		address, data := s.Address, s.Data
		for len(data) > 0 {
			n := min(len(data), recordBytes, int(0x10000-address&0xFFFF))
			each(address, data[:n])
			address, data = address+uint64(n), data[n:]
		}
	}
}
