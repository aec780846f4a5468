package run

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/units"
)

// What a file may hold, so that a slip never asks for all memory.
const (
	maxLine    = 64 << 10 // bytes
	maxColumns = 256
	maxSamples = 1 << 26 // rows times columns read: 256 MiB
	kept       = 1e35    // after the unit was converted: inside a float32
)

// Read reads a run from CSV: a header row of `quantity [unit]`, or of headers that channels
// gives a quantity and a unit (nil for none); columns that neither names are left out where
// there are channels, and refused where there are none. Fields are separated by tabs,
// semicolons or commas, as the header has it; a decimal comma needs one of the first two. One
// line is held at a time. Errors name file, line and column.
func Read(name string, r io.Reader, channels *calibrationv1.ChannelMap) (*Run, error) {
	p := &reader{run: &Run{Name: name}, in: bufio.NewReaderSize(r, maxLine)}
	head, err := p.next()
	if err == io.EOF {
		return nil, fmt.Errorf("%s: the file is empty; allowed: a header row and rows of numbers", name)
	}
	if err != nil {
		return nil, err
	}
	if err := p.header(string(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf"))), channels); err != nil {
		return nil, err
	}
	if err := p.rows(); err != nil {
		return nil, err
	}
	for i, c := range p.columns {
		if c.at >= 0 {
			p.run.values[c.at] = c.samples
			p.columns[i].samples = nil
		}
	}
	return p.run, nil
}

// column is one column of the file.
type column struct {
	header  string
	at      int // index of the channel; isTime for time, isSkipped for none
	convert units.Converter
	samples []float32
}

const (
	isTime    = -1
	isSkipped = -2
)

// reader is a file being read.
type reader struct {
	run       *Run
	in        *bufio.Reader
	line      int
	separator byte
	mark      byte // decimal mark, once one was seen
	columns   []column
	fields    [][]byte
	read      int // columns that are not skipped
}

// next is the next line without its end.
func (p *reader) next() ([]byte, error) {
	b, err := p.in.ReadSlice('\n')
	if errors.Is(err, bufio.ErrBufferFull) {
		return nil, fmt.Errorf("%s:%d: the line is longer than %d bytes; allowed: one row of a CSV file a line", p.run.Name, p.line+1, maxLine)
	}
	if err != nil && err != io.EOF {
		return nil, fmt.Errorf("%s:%d: %w", p.run.Name, p.line+1, err)
	}
	if len(b) == 0 {
		return nil, io.EOF
	}
	p.line++
	return bytes.TrimRight(b, "\r\n"), nil
}

func (p *reader) wrong(column, format string, args ...any) error {
	return fmt.Errorf("%s:%d: column %.80s: %s", p.run.Name, p.line, column, fmt.Sprintf(format, args...))
}

// rows reads every row; blank lines may stand at the end alone.
func (p *reader) rows() error {
	blank := false
	for {
		line, err := p.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		if len(bytes.TrimSpace(line)) == 0 {
			blank = true
			continue
		}
		if blank {
			return fmt.Errorf("%s:%d: a row after an empty line; allowed: no empty line before the end", p.run.Name, p.line)
		}
		if err := p.row(line); err != nil {
			return err
		}
	}
	if len(p.run.Time) < 2 {
		return fmt.Errorf("%s: %d rows of numbers; allowed: two or more", p.run.Name, len(p.run.Time))
	}
	return nil
}

// row reads one row of numbers.
func (p *reader) row(line []byte) error {
	var err error
	if p.fields, err = split(p.fields[:0], line, p.separator); err != nil {
		return fmt.Errorf("%s:%d: %w", p.run.Name, p.line, err)
	}
	if n := len(p.fields); n != len(p.columns) {
		if n < len(p.columns) {
			return p.wrong(p.columns[n].header, "is missing: the row has %d fields and the header %d", n, len(p.columns))
		}
		return fmt.Errorf("%s:%d: column %d has no header: the row has %d fields and the header %d", p.run.Name, p.line, len(p.columns)+1, n, len(p.columns))
	}
	if (len(p.run.Time)+1)*p.read > maxSamples {
		return fmt.Errorf("%s:%d: more than %d numbers; allowed: a shorter recording, or fewer channels", p.run.Name, p.line, maxSamples)
	}
	for i := range p.columns {
		c := &p.columns[i]
		if c.at == isSkipped {
			continue
		}
		v, why := p.number(p.fields[i])
		if why != "" {
			return p.wrong(c.header, "%s", why)
		}
		v = c.convert.Level(v)
		if !(math.Abs(v) <= kept) {
			return p.wrong(c.header, "%.40q is too large; allowed: up to %g in the unit that it is kept in", p.fields[i], kept)
		}
		if c.at != isTime {
			c.samples = append(c.samples, float32(v))
			continue
		}
		if n := len(p.run.Time); n > 0 && v <= p.run.Time[n-1] {
			if v == p.run.Time[n-1] {
				return p.wrong(c.header, "%.20q repeats the time of the row before; allowed: a later time in each row", p.fields[i])
			}
			return p.wrong(c.header, "%.20q goes backwards; allowed: a later time in each row", p.fields[i])
		}
		p.run.Time = append(p.run.Time, v)
	}
	return nil
}

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

// separatorOf is what the header is separated by; brackets hold a unit, and quotes a header.
func separatorOf(head string) byte {
	var comma, semicolon, inQuote, inUnit bool
	for i := range len(head) {
		switch ch := head[i]; {
		case ch == '"':
			inQuote = !inQuote
		case inQuote:
		case ch == '\t':
			return '\t'
		case ch == '[':
			inUnit = true
		case ch == ']':
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

// cut reads `quantity [unit]`; the unit may hold brackets of its own.
func cut(header string) (quantity, unit string, ok bool) {
	quantity, unit, ok = strings.Cut(header, "[")
	if !ok || !strings.HasSuffix(unit, "]") {
		return "", "", false
	}
	quantity, unit = strings.TrimSpace(quantity), strings.TrimSpace(strings.TrimSuffix(unit, "]"))
	return quantity, unit, named(quantity) && unit != ""
}

// named reports whether s can be a quantity.
func named(s string) bool {
	for i := range len(s) {
		ch := s[i]
		if (ch < 'a' || ch > 'z') && (i == 0 || ch != '_' && ch != '.' && (ch < '0' || ch > '9')) {
			return false
		}
	}
	return s != "" && len(s) <= 64
}
