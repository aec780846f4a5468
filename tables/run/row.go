package run

import (
	"bytes"
	"fmt"
	"math"
	"slices"
)

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

// missing reports whether a cell says that it has no value.
func missing(b []byte) bool {
	return len(b) == 0 || len(b) <= 9 && slices.Contains(nothing, string(bytes.ToLower(b)))
}

var nothing = []string{"nan", "-", "--", "---", "n/a", "na", "#n/a", "null", "none", "1.#qnan", "-1.#ind", "1.#ind", "-nan", "-1.#qnan"}
