package demo

import (
	"strings"
	"testing"

	"witnessmark/tables/definition"
)

// Raw values by hand, and the refusals that keep the files the same on every machine.
func TestRawOf(t *testing.T) {
	s8 := &definition.Cells{Bytes: 1, Signed: true, Mask: 0xFF, Width: 8, Conv: definition.Conversion{Factor: 0.75}}
	celsius := &definition.Cells{Bytes: 1, Mask: 0xFF, Width: 8, Conv: definition.Conversion{Factor: 0.75, Offset: -48}}
	flow := &definition.Cells{Bytes: 2, Mask: 0xFFFF, Width: 16, Conv: definition.Conversion{Rational: true, Num: [3]float64{600000}, Den: [3]float64{0, 1}}}
	bits := &definition.Cells{Bytes: 1, Mask: 0x30, Shift: 4, Width: 2, Conv: definition.Conversion{Labels: definition.LabelsOf(map[int64]string{1: "98 RON"})}}
	float := &definition.Cells{Bytes: 4, Float: true, Mask: 0xFFFFFFFF, Width: 32, Conv: definition.Conversion{Factor: 1}}
	for _, c := range []struct {
		cells *definition.Cells
		value float64
		raw   uint64
		fault string
	}{
		{s8, 20.25, 27, ""},
		{s8, -7.5, 0xF6, ""},
		{s8, -7.6, 0xF6, ""},
		{s8, 0.375, 0, "halfway"},
		{s8, 96, 0, "raw 128, which the stored type cannot hold"},
		{celsius, 96, 192, ""},
		{celsius, -60, 0, "raw -16, which the stored type cannot hold"},
		{flow, 375, 1600, ""},
		{bits, 1, 1, ""},
		{bits, 4, 0, "raw 4, which"},
		{float, 0.5, 0x3F000000, ""},
		{&definition.Cells{Little: true}, 1, 0, "little-endian"},
	} {
		raw, err := rawOf(c.cells, c.value)
		switch {
		case c.fault == "" && (err != nil || raw != c.raw):
			t.Errorf("%v: raw %#x, %v; want %#x", c.value, raw, err, c.raw)
		case c.fault != "" && (err == nil || !strings.Contains(err.Error(), c.fault)):
			t.Errorf("%v: %v; want %q", c.value, err, c.fault)
		}
	}
	m := &memory{bytes: []byte{0xC2}}
	if err := m.put(bits, 0, 0, 1); err != nil || m.bytes[0] != 0xD2 {
		t.Errorf("a masked cell left %#x, %v; want 0xd2", m.bytes[0], err)
	}
}
