package demo

import (
	"encoding/binary"
	"fmt"
	"math"

	"witnessmark/tables/checksum"
	"witnessmark/tables/definition"
)

// memory is an image that is being made.
type memory struct {
	lay   *definition.Layout
	bytes []byte
}

// Addresses that the formulas below speak of; the definition says the same.
const (
	codeEnd      = 0x10000
	volatileFrom = 0x3E000
	volatileTo   = 0x3E400
	checksumAt   = 0x3FFFC
)

// newMemory is the car as found: code, tables and identity, with the checksum still to be stamped.
func newMemory(lay *definition.Layout) (*memory, error) {
	m := &memory{lay, make([]byte, lay.Size)}
	if len(m.bytes) != 0x40000 || lay.Space.Address(0) != 0 {
		return nil, fmt.Errorf("the definition's image is %#x bytes from %#x; the formulas are for 0x40000 from 0", len(m.bytes), lay.Space.Address(0))
	}
	for i := range m.bytes {
		m.bytes[i] = 0xFF
	}
	m.code()
	m.learned(1)
	m.identity()
	return m, m.fill()
}

// code is noise that stands for a program: the top byte of a linear congruential generator,
// x' = 1664525 x + 1013904223 mod 2^32, from x = 0x44583131 ("DX11").
func (m *memory) code() {
	x := uint32(0x44583131)
	for i := range m.bytes[:codeEnd] {
		x = x*1664525 + 1013904223
		m.bytes[i] = byte(x >> 24)
	}
}

// learned is what the controller wrote by itself after so many drives: 16-bit trims that
// wander with the drive, and the count of drives at the end.
func (m *memory) learned(drives int) {
	for at := volatileFrom; at < volatileTo-4; at += 2 {
		trim := (at*7+drives*13)%41 - 20
		binary.BigEndian.PutUint16(m.bytes[at:], uint16(trim))
	}
	binary.BigEndian.PutUint32(m.bytes[volatileTo-4:], uint32(drives))
}

func (m *memory) identity() {
	copy(m.bytes[0x3FF00:], "DX1-18T-0107")
	copy(m.bytes[0x3FF10:], "DX1-HW-B02")
	copy(m.bytes[0x3FF20:], "WTMDX1H1LLC1MB042") // an invented frame number of 17 characters
	for i := range 16 {
		m.bytes[0x3FF40+i] = byte(0xA5 ^ 29*i) // stands for a secret of one car
	}
}

// stamp writes the checksum over all before the learned values.
func (m *memory) stamp() {
	crc, _ := checksum.Lookup("crc-32/iso-hdlc")
	binary.BigEndian.PutUint32(m.bytes[checksumAt:], uint32(crc.Sum(m.bytes[:volatileFrom])))
}

// fill writes every axis and table by its formula, and finds both that lack one and formulas
// that nothing uses.
func (m *memory) fill() error {
	used := map[string]bool{}
	for _, a := range m.lay.Axes {
		points, ok := breakpoints[a.ID]
		used[a.ID] = true
		if a.Cells == nil {
			continue
		}
		if !ok || len(points) != a.Count {
			return fmt.Errorf("axis %s: %d breakpoints stated for %d", a.ID, len(points), a.Count)
		}
		for i, v := range points {
			if err := m.put(a.Cells, 0, i, v); err != nil {
				return fmt.Errorf("axis %s: %w", a.ID, err)
			}
		}
	}
	for _, t := range m.lay.Tables {
		formula, ok := formulas[t.ID]
		if !ok {
			return fmt.Errorf("table %s has no formula", t.ID)
		}
		used[t.ID] = true
		if err := m.table(t, formula); err != nil {
			return fmt.Errorf("table %s: %w", t.ID, err)
		}
	}
	for id := range breakpoints {
		if !used[id] {
			return fmt.Errorf("breakpoints for axis %s, which the definition lacks", id)
		}
	}
	for id := range formulas {
		if !used[id] {
			return fmt.Errorf("a formula for table %s, which the definition lacks", id)
		}
	}
	return nil
}

func (m *memory) table(t *definition.Table, formula func(x, y float64) float64) error {
	for row := range t.Cells.NY {
		for col := range t.Cells.NX {
			x, y := m.point(t, row, col)
			if err := m.put(t.Cells, row, col, formula(x, y)); err != nil {
				return fmt.Errorf("row %d, column %d: %w", row, col, err)
			}
		}
	}
	return nil
}

// point is a cell's operating point; 0 along an axis that the table lacks.
func (m *memory) point(t *definition.Table, row, col int) (x, y float64) {
	if t.X != nil {
		x = t.X.Breakpoints(m.bytes)[col]
	}
	if t.Y != nil {
		y = t.Y.Breakpoints(m.bytes)[row]
	}
	return x, y
}

// put stores a physical value as the nearest raw one.
func (m *memory) put(c *definition.Cells, row, col int, value float64) error {
	raw, err := rawOf(c, value)
	if err != nil {
		return err
	}
	at := c.At(row, col)
	b := m.bytes[at : at+uint64(c.Bytes)]
	var word uint64
	for _, v := range b { // the definition is big-endian throughout
		word = word<<8 | uint64(v)
	}
	word = word&^c.Mask | raw<<c.Shift&c.Mask
	for i := len(b) - 1; i >= 0; i-- {
		b[i], word = byte(word), word>>8
	}
	return nil
}

// rawOf inverts the conversion. A value near the middle of two raw ones is refused: there the
// last bit of a floating-point library would decide, and files would differ between machines.
func rawOf(c *definition.Cells, value float64) (uint64, error) {
	if c.Little {
		return 0, fmt.Errorf("little-endian cells are not made here")
	}
	if c.Float {
		return uint64(math.Float32bits(float32(value))), nil
	}
	number := value
	switch {
	case c.Conv.Rational: // only n0 / (d1 raw) is used
		number = c.Conv.Num[0] / (c.Conv.Den[1] * value)
	case c.Conv.Affine():
		number = (value - c.Conv.Offset) / c.Conv.Factor
	}
	if fraction := number - math.Floor(number); math.Abs(fraction-0.5) < 1e-6 {
		return 0, fmt.Errorf("%v is halfway between two raw values; move the formula", value)
	}
	raw := int64(math.Round(number))
	bits := uint64(raw) & (c.Mask >> c.Shift)
	if c.Int(bits) != raw {
		return 0, fmt.Errorf("%v is raw %d, which the stored type cannot hold", value, raw)
	}
	return bits, nil
}
