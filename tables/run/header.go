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
	if err != nil || len(fields) < n {
		return nil
	}
	var out []string
	known, said := 0, 0
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

// makeColumns gives each column its meaning: what the channel file maps first, then names that can be
// one quantity only, then the others. Of two columns of one quantity the first one is read.
func (p *reader) makeColumns(h *heading, written []string, mapped map[string]*calibrationv1.Channel) error {
	seen := map[string]string{}
	meant := make([]*calibrationv1.Channel, len(h.fields))
	calls := make([]called, len(h.fields))
	for i, header := range h.fields {
		if c := mapped[header]; c != nil {
			if seen[c.Quantity] != "" {
				return p.wrong(header, "repeats the quantity %s of column %.80s; allowed: each quantity once", c.Quantity, seen[c.Quantity])
			}
			meant[i], seen[c.Quantity] = c, header
			delete(mapped, header)
		} else if calls[i] = call(header); calls[i].unit == "" && written != nil {
			calls[i].unit = written[i]
			if len(calls[i].quantities) == 0 && named(header) && written[i] != "" {
				calls[i].quantities = []string{header}
			}
		}
	}
	for header, c := range mapped {
		return fmt.Errorf("%s:%d: column %.80s is missing: the channel file maps it to %s", p.run.Name, h.line, header, c.Quantity)
	}
	for _, several := range []bool{false, true} {
		for i, c := range calls {
			if len(c.quantities) == 0 || len(c.quantities) > 1 != several {
				continue
			}
			q, taken := c.choose(seen)
			if taken {
				p.twice = append(p.twice, fmt.Sprintf("column %.80s is %s too, and %.80s was taken", h.fields[i], q, seen[q]))
				continue
			}
			seen[q] = h.fields[i]
			meant[i] = p.meaning(h.fields[i], q, c)
		}
	}
	if seen["time"] == "" {
		return fmt.Errorf("%s:%d: column time [s] is missing; every run needs one", p.run.Name, h.line)
	}
	for i, c := range meant {
		header := h.fields[i]
		if header == "" {
			header = fmt.Sprintf("%d (without a header)", i+1)
		}
		if c == nil {
			p.columns = append(p.columns, column{header: header, at: isSkipped})
			p.run.Left = append(p.run.Left, header)
		} else if err := p.add(header, c); err != nil {
			return err
		}
	}
	return nil
}

// meaning is the channel of a header that says it itself.
func (p *reader) meaning(header, quantity string, c called) *calibrationv1.Channel {
	code, _ := unitOf(c.unit)
	if c.unit == "" {
		p.clock.unsaid = p.clock.unsaid || quantity == "time"
		if code = own[quantity]; !c.rotating && !obvious[quantity] {
			p.unsaid = append(p.unsaid, fmt.Sprintf("%s as %s", quantity, code))
		}
	}
	if c.gauge && !saysAbsolute(c.unit) && !units.IsGauge("", code) {
		code += "{gauge}"
	}
	return &calibrationv1.Channel{Header: header, Quantity: quantity, Unit: code}
}

// mapped is the channel file by header.
func (p *reader) mapped(channels *calibrationv1.ChannelMap) (map[string]*calibrationv1.Channel, error) {
	out := map[string]*calibrationv1.Channel{}
	for i, c := range channels.GetChannels() {
		switch {
		case c.GetHeader() == "":
			return nil, fmt.Errorf("channels[%d]: header is missing; allowed: a column's header as the file has it", i)
		case !named(c.Quantity):
			return nil, fmt.Errorf("channels[%d]: quantity %.80q; allowed: lower-case letters, digits, underscore and dot, as engine_speed", i, c.Quantity)
		case c.Unit == "":
			return nil, fmt.Errorf("channels[%d]: unit of %s is missing; allowed: a UCUM code as 1/min", i, c.Quantity)
		case out[c.Header] != nil:
			return nil, fmt.Errorf("channels[%d]: header %.80q is given twice", i, c.Header)
		}
		code, _ := unitOf(c.Unit)
		out[c.Header] = &calibrationv1.Channel{Header: c.Header, Quantity: c.Quantity, Unit: code}
	}
	return out, nil
}

// add makes room for a column that is read. A gauge pressure stays one until the barometer is known.
func (p *reader) add(header string, c *calibrationv1.Channel) error {
	unit := c.Unit
	if known, ok := own[c.Quantity]; ok {
		if unit = known; known == "kPa" && units.IsGauge("", c.Unit) && c.Quantity != "barometric_pressure" {
			unit = gauge
		}
	}
	convert, err := units.BetweenQuantities(c.Quantity, c.Unit, c.Quantity, unit)
	if err != nil {
		return p.wrong(header, "%s: %v", c.Quantity, err)
	}
	col := column{header: header, at: isTime, convert: convert}
	if c.Quantity != "time" {
		col.at = len(p.run.Channels)
		p.run.Channels = append(p.run.Channels, Channel{Header: header, Quantity: c.Quantity, Unit: unit})
	}
	p.columns = append(p.columns, col)
	p.read++
	return nil
}

// Values are a channel's samples in its unit; false where the run has no such channel.
func (r *Run) Values(quantity string) ([]float32, bool) {
	for i, c := range r.Channels {
		if c.Quantity == quantity {
			return r.values[i], true
		}
	}
	return nil, false
}

// Unit is the unit of a channel; empty where there is none.
func (r *Run) Unit(quantity string) string {
	for _, c := range r.Channels {
		if c.Quantity == quantity {
			return c.Unit
		}
	}
	return ""
}

// Duration is the time from the first sample to the last, s.
func (r *Run) Duration() float64 {
	if len(r.Time) == 0 {
		return 0
	}
	return r.Time[len(r.Time)-1] - r.Time[0]
}

// need is a channel that something cannot do without.
func (r *Run) need(quantity, what string) ([]float32, error) {
	v, ok := r.Values(quantity)
	if !ok {
		return nil, fmt.Errorf("%s: column %s is missing: %s needs it", r.Name, quantity, what)
	}
	return v, nil
}
