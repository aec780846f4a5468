package run

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"

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
