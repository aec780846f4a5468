package compare

import (
	"encoding/binary"
	"math"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed/changedtest"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

// layoutOf compiles a definition written as YAML.
func layoutOf(t testing.TB, yaml string) *definition.Layout {
	t.Helper()
	lay, err := definition.Load("test.yaml", []byte(yaml))
	if err != nil {
		t.Fatal(err)
	}
	return lay
}

func limitsOf(t testing.TB, yaml string) *limits.Limits {
	t.Helper()
	l, err := limits.Load("limits.yaml", []byte(yaml))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// small is a definition that a person can check by hand: 256 bytes from 0x1000, big-endian.
const small = `
name: small-1
title: A small controller
byte_order: big
image:
  start: 0x1000
  size: 0x100
  segments:
    - {start: 0x1000, end: 0x1020, content: code}
    - {start: 0x1020, end: 0x10C0, content: calibration}
identity:
  - {id: software, address: 0x1000, length: 8, encoding: ascii, expect: "SW-1"}
  - {id: frame, address: 0x1008, length: 4, encoding: ascii, vehicle: true, private: true}
axes:
  - {id: rpm4, quantity: engine_speed, unit: 1/min, stored: {address: 0x1020, type: u16, count: 4}}
tables:
  - id: ign
    quantity: ignition_advance
    unit: deg
    stored: {address: 0x1030, type: s8}
    conversion: {factor: 0.75, offset: -24}
    x: {axis: rpm4}
    y: {id: load3, quantity: cylinder_filling, unit: "%", stored: {address: 0x1028, type: u8, count: 3}}
  - {id: trim, quantity: fuel_trim, unit: "1", stored: {address: 0x1040, type: u8, mask: 0x3C}}
  - {id: mode, stored: {address: 0x1041, type: u8}, conversion: {labels: {0: "off", 1: "on"}}}
  - {id: lam, quantity: lambda, unit: "1", stored: {address: 0x1044, type: f32}}
  - {id: air, quantity: air_flow, unit: kg/h, feeds: [cylinder_filling], stored: {address: 0x1050, type: u16}, x: {axis: rpm4}}
  - {id: cut, quantity: engine_speed, unit: 1/min, stored: {address: 0x1060, type: u16}}
  - {id: cut.check, quantity: engine_speed, unit: 1/min, stored: {address: 0x1062, type: u16}, mirror: {of: cut, as: complement}}
  - {id: a1, quantity: duty, unit: "%", copies: pair, stored: {address: 0x1070, type: u8}}
  - {id: a2, quantity: duty, unit: "%", copies: pair, stored: {address: 0x1071, type: u8}}
  - {id: dwell, quantity: dwell_time, unit: ms, stored: {address: 0x1072, type: u8, mask: 0xF0}}
  - {id: pick, quantity: gear_duty, unit: "%", stored: {address: 0x1074, type: u8}, x: {id: gear, quantity: gear, unit: "1", stored: {address: 0x1078, type: u8, count: 3}, index: true}}
checksums:
  - {id: main, algorithm: sum-16, over: [{start: 0x1000, end: 0x10C0}], stored: {address: 0x10FC, type: u16}}
  - {id: again, algorithm: sum-8, over: [{start: 0x1020, end: 0x10C0}], stored: {address: 0x10FE, type: u8}, restamped_on_write: true}
volatile:
  - {start: 0x10C0, end: 0x10E0, title: learned}
`

// smallImage holds values that fit small, with its sums in order.
func smallImage() []byte {
	b := make([]byte, 0x100)
	copy(b, "SW-1\x00\x00\x00\x00VINX")
	for i, v := range []uint16{1000, 2000, 3000, 5000} {
		binary.BigEndian.PutUint16(b[0x20+2*i:], v)
		binary.BigEndian.PutUint16(b[0x50+2*i:], v/10)
	}
	copy(b[0x28:], []byte{20, 60, 100})
	for i := range 12 {
		b[0x30+i] = byte(40 + i) // 6, 6.75, 7.5 … deg
	}
	b[0x40] = 5 << 2
	binary.BigEndian.PutUint32(b[0x44:], math.Float32bits(0.875))
	binary.BigEndian.PutUint16(b[0x60:], 6500)
	binary.BigEndian.PutUint16(b[0x62:], ^uint16(6500))
	b[0x70], b[0x71], b[0x72] = 50, 50, 0x30
	copy(b[0x74:], []byte{10, 20, 30})
	copy(b[0x78:], []byte{1, 2, 3})
	restamp(b)
	return b
}

// restamp writes both sums of small, added up by hand.
func restamp(b []byte) {
	var all uint16
	var cal uint8
	for i := range 0xC0 {
		all += uint16(b[i])
		if i >= 0x20 {
			cal += b[i]
		}
	}
	binary.BigEndian.PutUint16(b[0xFC:], all)
	b[0xFE] = cal
}

func whole(lay *definition.Layout, b []byte) *image.Image { return lay.Space.Whole(b) }

// holed is an image that lacks a range of offsets.
func holed(lay *definition.Layout, b []byte, start, end uint64) *image.Image {
	im := whole(lay, b)
	im.Held = image.Minus(im.Held, lay.Space.Addresses([]image.Range{{Start: start, End: end}}))
	return im
}

// edited is a copy of image with something done to it.
func edited(image []byte, f func(b []byte)) []byte {
	b := append([]byte(nil), image...)
	f(b)
	return b
}

// compared is a report with an object a changed cell, as its JSON form says them.
func compared(t testing.TB, in Input) *calibrationv1.Report {
	t.Helper()
	r, err := Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	return changedtest.Report(r)
}

// pair compares two images of one layout, without limits.
func pair(t testing.TB, lay *definition.Layout, base, cand []byte) *calibrationv1.Report {
	t.Helper()
	return compared(t, Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay})
}

// smallReport compares smallImage with an edited one whose sums are right again.
func smallReport(t testing.TB, f func(b []byte)) *calibrationv1.Report {
	t.Helper()
	base := smallImage()
	cand := edited(base, func(b []byte) { f(b); restamp(b) })
	return pair(t, layoutOf(t, small), base, cand)
}

// keys is the findings' keys in order.
func keys(r *calibrationv1.Report) []string {
	var out []string
	for _, f := range r.GetFindings() {
		out = append(out, Key(f))
	}
	return out
}

func finding(t testing.TB, r *calibrationv1.Report, key string) *calibrationv1.Finding {
	t.Helper()
	for _, f := range r.GetFindings() {
		if Key(f) == key {
			return f
		}
	}
	t.Fatalf("no finding %s among %v", key, keys(r))
	return nil
}
