package run

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/units"
)

// What a file may hold, so that a slip never asks for all memory.
const (
	maxLine    = 64 << 10 // bytes
	maxColumns = 256
	maxSamples = 1 << 26 // rows times columns read: 256 MiB
	maxFoot    = 20      // lines after the last row
	kept       = 1e35    // after the unit was converted: inside a float32
)

// Read reads a run from CSV. Above the header may stand notes, and below it a row of units; rows of
// numbers follow, and a foot. A header is `quantity [unit]`, an everyday name with or without a unit,
// or what channels (nil for none) gives a meaning; other columns, and columns of text, are named in
// Left. Fields are separated by tabs, semicolons or commas, as the header has it; a decimal comma
// needs one of the first two, or quotes. The text is UTF-8, UTF-16 or Latin-1. One line is held at a
// time. Cells without a value are filled from their neighbours in time. Errors name file, line and
// column.
func Read(name string, r io.Reader, channels *calibrationv1.ChannelMap) (*Run, error) {
	p := &reader{run: &Run{Name: name}, in: bufio.NewReaderSize(utf8Of(r), maxLine)}
	if err := p.head(channels); err != nil {
		return nil, err
	}
	if err := p.rows(); err != nil {
		return nil, err
	}
	if err := p.finish(); err != nil {
		return nil, err
	}
	return p.run, nil
}

// column is one column of the file.
type column struct {
	header  string
	at      int // index of the channel; isTime for time, isSkipped for none
	convert units.Converter
	samples []float32
	numbers int // samples that the file has; others are NaN
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
	again     []byte // a line that was read one too far
	separator byte
	mark      byte // decimal mark, once one was seen
	columns   []column
	fields    [][]byte
	row       []float64 // of the line that is read
	read      int       // columns that are not skipped
	headerAt  int
	inRows    bool
	// The header's own lines, which some files repeat at each pull.
	headerLine, unitsLine []byte
	clock                 clock
	twice                 []string // columns of a quantity that another column is
	unsaid                []string // quantities without a unit
	foot                  error    // why the first line after the last row is no row
	footLines             int
	footNumber            bool // it begins with a number all the same
}

// next is the next line without its end.
func (p *reader) next() ([]byte, error) {
	if b := p.again; b != nil {
		p.again = nil
		return b, nil
	}
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
	line := p.headerAt
	if p.inRows {
		line = p.line
	}
	return fmt.Errorf("%s:%d: column %.80s: %s", p.run.Name, line, column, fmt.Sprintf(format, args...))
}

// rows reads every row. Blank lines, comments and repeated headers are passed over; lines that are no
// rows may stand at the end alone.
func (p *reader) rows() error {
	p.inRows = true
	for {
		line, err := p.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		if blank(line) || line[0] == '#' || bytes.HasPrefix(line, []byte("//")) || bytes.Equal(line, p.headerLine) || p.unitsLine != nil && bytes.Equal(line, p.unitsLine) {
			continue
		}
		if err := p.readRow(line); err != nil {
			if p.foot == nil {
				p.foot, p.footNumber = err, line[0] >= '0' && line[0] <= '9'
			}
			if p.footLines++; p.footLines > maxFoot {
				return p.foot
			}
			continue
		}
		if p.foot != nil {
			return p.foot
		}
		if err := p.keep(); err != nil {
			return err
		}
	}
	if n := len(p.run.Time); n < 2 {
		if p.foot != nil {
			return p.foot
		}
		return fmt.Errorf("%s: %d rows of numbers; allowed: two or more", p.run.Name, n)
	}
	return nil
}

// blank reports whether a line holds nothing but separators.
func blank(line []byte) bool { return len(bytes.Trim(line, " \t;,\"")) == 0 }

// readRow reads the numbers of a row.
func (p *reader) readRow(line []byte) error {
	var err error
	if p.fields, err = split(p.fields[:0], line, p.separator); err != nil {
		return fmt.Errorf("%s:%d: %w", p.run.Name, p.line, err)
	}
	for n := len(p.fields); n > len(p.columns) && len(p.fields[n-1]) == 0; n-- {
		p.fields = p.fields[:n-1]
	}
	if n := len(p.fields); n != len(p.columns) {
		if n < len(p.columns) {
			return p.wrong(p.columns[n].header, "is missing: the row has %d fields and the header %d", n, len(p.columns))
		}
		return fmt.Errorf("%s:%d: column %d has no header: the row has %d fields and the header %d; a decimal comma needs semicolons or quotes", p.run.Name, p.line, len(p.columns)+1, n, len(p.columns))
	}
	p.row = p.row[:0]
	for i := range p.columns {
		c := &p.columns[i]
		if c.at == isSkipped {
			p.row = append(p.row, 0)
			continue
		}
		v, err := p.cell(c, p.fields[i])
		if err != nil {
			return err
		}
		p.row = append(p.row, v)
	}
	return nil
}

// cell is the value of a field in the channel's unit, NaN where it has none. A column whose first
// value is text is skipped from then on.
func (p *reader) cell(c *column, field []byte) (float64, error) {
	if c.at == isTime && bytes.IndexByte(field, ':') > 0 {
		v, ok := p.clock.parse(field)
		if !ok {
			return 0, p.wrong(c.header, "%.40q is no time; allowed: seconds, or hours, minutes and seconds as 14:32:05.1", field)
		}
		return v, nil
	}
	if c.at != isTime && missing(field) {
		return math.NaN(), nil
	}
	v, why := p.number(field)
	if why != "" {
		if c.at != isTime && c.numbers == 0 && !bytes.ContainsAny(field[:1], "0123456789+-.,") {
			p.run.Left = append(p.run.Left, c.header)
			c.at, c.samples = isSkipped, nil
			return 0, nil
		}
		return 0, p.wrong(c.header, "%s", why)
	}
	if v = c.convert.Level(v); !(math.Abs(v) <= kept) {
		return 0, p.wrong(c.header, "%.40q is too large; allowed: up to %g in the unit that it is kept in", field, kept)
	}
	return v, nil
}

// keep adds the row to the run.
func (p *reader) keep() error {
	if (len(p.run.Time)+1)*p.read > maxSamples {
		return fmt.Errorf("%s:%d: more than %d numbers; allowed: a shorter recording, or fewer channels", p.run.Name, p.line, maxSamples)
	}
	for i, v := range p.row {
		switch c := &p.columns[i]; c.at {
		case isSkipped:
		case isTime:
			t, restarts, ok := p.clock.next(v)
			if !ok {
				return p.wrong(c.header, "%.20q goes backwards; allowed: a later time in each row, or one that begins again", p.fields[i])
			}
			if restarts {
				p.run.breaks = append(p.run.breaks, len(p.run.Time))
			}
			p.run.Time = append(p.run.Time, t)
		default:
			c.samples = append(c.samples, float32(v))
			if !math.IsNaN(v) {
				c.numbers++
			}
		}
	}
	return nil
}

// finish makes the run of its columns: those without a number are left out, the time is made to
// rise, holes are filled, gauge pressures made absolute.
func (p *reader) finish() error {
	r := p.run
	if err := p.evenTime(); err != nil {
		return err
	}
	channels := r.Channels
	r.Channels = nil
	for _, c := range p.columns {
		switch {
		case c.at < 0:
		case c.numbers == 0:
			r.Left = append(r.Left, c.header)
		default:
			r.Channels = append(r.Channels, channels[c.at])
			r.values = append(r.values, c.samples)
			if c.numbers < len(c.samples) {
				r.fill(channels[c.at].Quantity, c.samples, c.numbers)
			}
		}
	}
	p.remark()
	return nil
}

// missing reports whether a cell says that it has no value.
func missing(b []byte) bool {
	return len(b) == 0 || len(b) <= 9 && slices.Contains(nothing, string(bytes.ToLower(b)))
}

var nothing = []string{"nan", "-", "--", "---", "n/a", "na", "#n/a", "null", "none", "1.#qnan", "-1.#ind", "1.#ind", "-nan", "-1.#qnan"}
