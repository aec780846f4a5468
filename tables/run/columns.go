package run

import (
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/units"
)

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
			if len(calls[i].quantities) == 0 && units.IsQuantity(header) && written[i] != "" {
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
		if c != nil {
			err := p.add(header, c)
			if err == nil {
				continue
			}
			if mapped := calls[i].quantities == nil; mapped || p.vital(c.Quantity) {
				return err
			}
			p.run.remark("unit", "column %.80s was passed over: %s", header, strings.TrimPrefix(err.Error(), p.run.Name+":"))
		}
		p.columns = append(p.columns, column{header: header, at: isSkipped})
		p.run.Left = append(p.run.Left, header)
	}
	return nil
}

// vital reports whether a file is not to be read without a quantity that it seems to have.
func (p *reader) vital(quantity string) bool {
	return quantity == "time" || quantity == "engine_speed" || slices.ContainsFunc(ways, func(w way) bool { return w.quantity == quantity })
}

// meaning is the channel of a header that says it itself.
func (p *reader) meaning(header, quantity string, c called) *calibrationv1.Channel {
	code, _ := unitOf(c.unit)
	if c.unit == "" {
		p.clock.unsaid = p.clock.unsaid || quantity == "time"
		if code = units.Own[quantity]; !c.rotating && !obvious[quantity] {
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
		case !units.IsQuantity(c.Quantity):
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
	if known, ok := units.Own[c.Quantity]; ok {
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
