package run

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/units"
)

// mostAbove bounds the notes above a header row, in lines.
const mostAbove = 100

// heading is a row that may be the header.
type heading struct {
	line      int
	separator byte
	fields    []string
	known     int // columns that have a meaning
	time      bool
}

// head finds the header row, which names time and another channel, and reads it and the row of
// units below it into columns.
func (p *reader) head(channels *calibrationv1.ChannelMap) error {
	mapped, err := p.mapped(channels)
	if err != nil {
		return fmt.Errorf("%s: its channel file: %w", p.run.Name, err)
	}
	var best *heading
	for best == nil || !best.time || best.known < 2 {
		line, err := p.next()
		if err == io.EOF || p.line > mostAbove {
			break
		}
		if err != nil {
			return err
		}
		if s := bytes.Trim(line, `"`); len(s) == 5 && bytes.EqualFold(s[:4], []byte("sep=")) {
			p.separator = s[4]
			continue
		}
		h, err := p.heading(line, mapped)
		if err != nil {
			return err
		}
		if h.known > 0 && (best == nil || h.known > best.known || h.time && h.known > 1) {
			best = h
			p.headerLine = bytes.Clone(line)
		}
	}
	switch {
	case p.line == 0:
		return fmt.Errorf("%s: the file is empty; allowed: a header row and rows of numbers", p.run.Name)
	case best == nil:
		return fmt.Errorf("%s:1: no header row in the first %d lines; allowed: a row that names time and engine speed as time [s] and engine_speed [1/min], or their everyday names, or a channel file that maps the headers",
			p.run.Name, min(p.line, mostAbove))
	}
	if p.separator, p.headerAt = best.separator, best.line; best.time && best.known == 1 {
		return fmt.Errorf("%s:%d: of the columns %.200s only time is known; allowed: a quantity and a unit as engine_speed [1/min], an everyday name, or a channel file that maps the headers",
			p.run.Name, best.line, strings.Join(best.fields, ", "))
	}
	written, err := p.unitsRow(best)
	if err != nil {
		return err
	}
	return p.makeColumns(best, written, mapped)
}

// heading reads a row as if it were the header. A mark of a comment before it is passed over.
func (p *reader) heading(line []byte, mapped map[string]*calibrationv1.Channel) (*heading, error) {
	row := text(bytes.TrimLeft(line, "#/ "))
	h := &heading{line: p.line, separator: p.separator}
	if h.separator == 0 {
		h.separator = separatorOf(row)
	}
	fields, err := split(nil, []byte(row), h.separator)
	if err != nil {
		return h, nil // a note
	}
	for len(fields) > 1 && len(fields[len(fields)-1]) == 0 {
		fields = fields[:len(fields)-1]
	}
	if len(fields) > maxColumns {
		return nil, fmt.Errorf("%s:%d: %d columns; allowed: up to %d", p.run.Name, p.line, len(fields), maxColumns)
	}
	for _, f := range fields {
		s := string(f)
		h.fields = append(h.fields, s)
		q := call(s).quantities
		if c := mapped[s]; c != nil {
			q = []string{c.Quantity}
		}
		if len(q) > 0 {
			h.known++
			h.time = h.time || q[0] == "time"
		}
	}
	return h, nil
}

// unitsRow reads the row below the header where it holds units; any other is given back.
func (p *reader) unitsRow(h *heading) ([]string, error) {
	for {
		line, err := p.next()
		if err == io.EOF {
			return nil, nil
		}
		if err != nil {
			return nil, err
		}
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		if out := p.unitsOf(line, len(h.fields)); out != nil {
			p.unitsLine = bytes.Clone(line)
			return out, nil
		}
		p.again = bytes.Clone(line)
		return nil, nil
	}
}

// unitsOf is the fields of a row of units; nil where it is none: half of what it says must be known.
func (p *reader) unitsOf(line []byte, n int) []string {
	fields, err := split(nil, []byte(text(line)), p.separator)
	if err != nil || len(fields) < min(n, 2) {
		return nil
	}
	var out []string
	known, said := 0, 0
	for len(fields) < n {
		fields = append(fields, nil)
	}
	for _, f := range fields[:n] {
		s := strings.TrimSpace(string(f))
		if len(s) > 1 && (s[0] == '[' || s[0] == '(') {
			s = strings.Trim(s, "[]()")
		}
		out = append(out, s)
		if s == "" {
			continue
		}
		said++
		if _, ok := unitOf(s); ok || isCode(s) {
			known++
		}
		if s[0] >= '0' && s[0] <= '9' && s != "1" && !strings.Contains(s, "/") {
			return nil // a row of numbers
		}
	}
	if said == 0 || known*2 < said || !slices.ContainsFunc(out, func(s string) bool { return strings.ContainsFunc(s, isLetter) }) {
		return nil
	}
	return out
}

// isCode reports whether s is a UCUM code.
func isCode(s string) bool {
	_, err := units.BetweenDifferences(s, "("+s+")")
	return err == nil
}

func isLetter(r rune) bool { return r == '%' || r == '°' || r|0x20 >= 'a' && r|0x20 <= 'z' }
