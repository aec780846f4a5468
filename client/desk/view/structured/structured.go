// Package structured is, for tests, a small controller that has one of each structure that definitions can say.
package structured

import (
	"encoding/binary"
	"slices"
)

// Definition has one of each structure.
const Definition = `name: structured
byte_order: big
image: {start: 0x8000, size: 0x200, segments: [{start: 0x8000, end: 0x8200, content: calibration}]}
axes:
  - {id: speed, quantity: engine_speed, unit: 1/min, points: [1000, 2000, 3000]}
  - {id: pedal, quantity: pedal_position, unit: "%", points: [20, 80]}
  - {id: gear, labels: [third, first, second]}
  - {id: index, quantity: speed_index, unit: "1", points: [0, 1, 2], by: {curve: to-index}}
  - {id: mode, quantity: drive_mode, unit: "1", labels: [road, hill]}
tables:
  - {id: torque, title: Torque wanted, quantity: engine_torque, unit: N.m, known_as: "TQ_Want[0]", stored: {address: 0x8000, type: u8}, axes: [{axis: speed}, {axis: pedal}, {axis: gear}]}
  - {id: trim, quantity: trim, unit_text: "parts  of 8", role: limit, stored: {address: 0x8020, type: u8, not_a_value: [255]}, axes: [{axis: speed}, {axis: pedal}, {axis: gear}, {axis: mode}]}
  - id: flow
    quantity: fuel_flow
    unit: g/s
    stored: {address: 0x805C, type: u8, layout: packed}
    x: {quantity: engine_speed, unit: 1/min, stored: {address: 0x8052, type: u16, count: 4, count_at: {address: 0x8050, type: u8}}}
    y: {quantity: pedal_position, unit: "%", stored: {address: 0x805A, type: u8, count: 2, count_at: {address: 0x8051, type: u8}}}
  - {id: ramp, quantity: boost, unit: kPa, stored: {address: 0x8070, type: u8, pointer: u16}, x: {axis: speed}}
  - {id: note, kind: text, stored: {address: 0x8080, length: 24}, encoding: ascii}
  - {id: kept, stored: {address: 0x80A0, type: u8}, conversion: {labels: {0: off, 1: "on"}}, x: {axis: gear}}
  - {id: per-gear, quantity: engine_speed_limit, unit: 1/min, stored: {address: 0x80A8, type: u8, reversed: true}, conversion: {factor: 50}, x: {axis: gear}}
  - id: layers
    quantity: layer
    unit: "1"
    stored: {address: 0x80C0, type: u8}
    axes: [{axis: speed}, {axis: pedal}, {quantity: air_temperature, unit: Cel, stored: {address: 0x80B2, type: u8, count: 3, count_at: {address: 0x80B0, type: u8}}}]
  - {id: states, stored: {address: 0x80E0, type: u8}, conversion: {labels: {0: off, "1..9": part, else: full}}, axes: [{axis: speed}, {axis: pedal}, {axis: gear}]}
  - {id: to-index, quantity: speed_index, unit: "1", stored: {address: 0x8100, type: u8}, x: {axis: speed}}
  - {id: through, unit: "1", stored: {address: 0x8104, type: u8}, x: {axis: index}}
folders:
  - {id: engine, title: Engine, folders: [fuel]}
  - {id: fuel, title: Fuel, tables: [flow, trim]}
  - {id: torque, tables: [torque, flow]}
`

// Limits look at one table.
const Limits = `name: structured
rules:
  - {id: most, severity: warning, select: {tables: [torque]}, reason: The gearbox., source: common practice, range: {unit: N.m, max: 100}}
`

// Image is written by hand: torque 10 to 27, trim 1 to 36, flow of two by two of its four by two.
func Image() []byte {
	b := make([]byte, 0x200)
	for i := range 18 {
		b[i], b[0xE0+i] = byte(10+i), byte(i%3)
	}
	for i := range 36 {
		b[0x20+i] = byte(1 + i)
	}
	b[0x20] = 255
	Flow(b, []uint16{1000, 2000}, []byte{20, 80}, []byte{1, 2, 3, 4})
	binary.BigEndian.PutUint16(b[0x70:], 0x8074)
	copy(b[0x74:], []byte{100, 110, 120})
	copy(b[0x80:], "road, stage 1")
	copy(b[0xA0:], []byte{0, 1, 0})
	copy(b[0xA6:], []byte{3, 2, 1})
	b[0xB0] = 2
	copy(b[0xB2:], []byte{20, 40, 60})
	for i := range 18 {
		b[0xC0+i] = byte(50 + i)
	}
	copy(b[0x100:], []byte{0, 1, 2, 0, 5, 6, 7})
	return b
}

// Flow writes a packed record: counts, the two axes, and the cells right behind what is used.
func Flow(b []byte, x []uint16, y, cells []byte) {
	clear(b[0x50:0x70])
	b[0x50], b[0x51] = byte(len(x)), byte(len(y))
	at := 0x52
	for _, v := range x {
		binary.BigEndian.PutUint16(b[at:], v)
		at += 2
	}
	copy(b[at:], append(slices.Clone(y), cells...))
}

// Everywhere changes something of each structure, with as many breakpoints as before.
func Everywhere(b []byte) {
	b[1], b[8], b[17] = 101, 19, 90        // torque: third at 2000 and 20; first at 3000 and 20; second, the last cell
	b[0x20], b[0x21], b[0x43] = 9, 255, 77 // trim: a value where a code was, and the other way; road and hill
	b[0x74], b[0xA1], b[0xA6] = 101, 0, 9  // ramp at 1000; kept in first; per-gear in second, which lies lowest
	copy(b[0x80:], "hill, stage 2")        // note
	b[0xC0], b[0xE0], b[0xE7] = 51, 12, 3  // layers, states
	b[0x50+2+4+2] = 9                      // flow: its first cell lies right behind two and two breakpoints
}
