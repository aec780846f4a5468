package run

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/units"
)

// own are the units that known quantities are kept in; others stay in the file's.
var own = map[string]string{
	"time": "s", "engine_speed": "1/min", "roller_speed": "km/h", "vehicle_speed": "km/h",
	"torque": "N.m", "wheel_torque": "N.m",
	"manifold_pressure": "kPa", "barometric_pressure": "kPa", "fuel_pressure": "kPa", "oil_pressure": "kPa",
	"intake_temperature": "Cel", "ambient_temperature": "Cel", "coolant_temperature": "Cel",
	"oil_temperature": "Cel", "exhaust_temperature": "Cel", "relative_humidity": "%",
	"lambda": "1", "ignition_advance": "deg", "knock_retard": "deg", "throttle": "%",
}

// header reads the header row into columns.
func (p *reader) header(head string, channels *calibrationv1.ChannelMap) error {
	p.separator = separatorOf(head)
	fields, err := split(nil, []byte(head), p.separator)
	if err != nil {
		return fmt.Errorf("%s:1: %w", p.run.Name, err)
	}
	if len(fields) > maxColumns {
		return fmt.Errorf("%s:1: %d columns; allowed: up to %d", p.run.Name, len(fields), maxColumns)
	}
	mapped, err := p.mapped(channels)
	if err != nil {
		return fmt.Errorf("%s: its channel file: %w", p.run.Name, err)
	}
	seen := map[string]string{}
	for i, f := range fields {
		h := string(f)
		c, ok := mapped[h]
		delete(mapped, h)
		if !ok {
			c, ok, err = p.written(h, i, channels != nil)
			if err != nil {
				return err
			}
		}
		if !ok {
			p.columns = append(p.columns, column{header: h, at: isSkipped})
			p.run.Left = append(p.run.Left, h)
			continue
		}
		if other, twice := seen[c.Quantity]; twice {
			return p.wrong(h, "repeats the quantity %s of column %.80s; allowed: each quantity once", c.Quantity, other)
		}
		seen[c.Quantity] = h
		if err := p.add(h, c); err != nil {
			return err
		}
	}
	for _, c := range channels.GetChannels() {
		if _, left := mapped[c.Header]; left {
			return fmt.Errorf("%s:1: column %.80s is missing: the channel file maps it to %s", p.run.Name, c.Header, c.Quantity)
		}
	}
	if _, ok := seen["time"]; !ok {
		return fmt.Errorf("%s:1: column time [s] is missing; every run needs one", p.run.Name)
	}
	return nil
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
		out[c.Header] = c
	}
	return out, nil
}

// written reads a header that is a quantity and a unit itself. Where there is a channel file, one
// that is neither is left out.
func (p *reader) written(header string, i int, skip bool) (*calibrationv1.Channel, bool, error) {
	quantity, unit, ok := cut(header)
	if ok {
		return &calibrationv1.Channel{Header: header, Quantity: quantity, Unit: unit}, true, nil
	}
	if skip {
		return nil, false, nil
	}
	if header == "" {
		return nil, false, fmt.Errorf("%s:1: column %d has no header; allowed: a quantity and a unit as engine_speed [1/min]", p.run.Name, i+1)
	}
	return nil, false, p.wrong(header, "is no quantity and unit; allowed: as engine_speed [1/min], or a channel file that maps it")
}

// add makes room for a column that is read.
func (p *reader) add(header string, c *calibrationv1.Channel) error {
	unit := c.Unit
	if known, ok := own[c.Quantity]; ok {
		unit = known
	}
	convert, err := units.BetweenQuantities(c.Quantity, c.Unit, c.Quantity, unit)
	if err != nil {
		return p.wrong(header, "%s: %v", c.Quantity, err)
	}
	col := column{header: header, at: isTime, convert: convert}
	if c.Quantity != "time" {
		col.at = len(p.run.Channels)
		p.run.Channels = append(p.run.Channels, Channel{Header: header, Quantity: c.Quantity, Unit: unit})
		p.run.values = append(p.run.values, nil)
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
