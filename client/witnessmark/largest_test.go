package main

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/store/storetest"
)

const (
	largestImage  = 64 << 20 // bytes
	largestTables = 35_000
)

// largest is a definition of as many maps of 16 × 8 as a whole engine's description has objects, spread over the largest image.
func largest() string {
	var d strings.Builder
	fmt.Fprintf(&d, "name: largest\nbyte_order: little\nimage: {size: %d, segments: [{start: 0, end: %d, content: calibration}]}\naxes:\n", largestImage, largestImage)
	d.WriteString("  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0, type: u16, count: 16}, conversion: {factor: 0.25}}\n")
	d.WriteString("  - {id: load, quantity: cylinder_filling, unit: '%', stored: {address: 32, type: u16, count: 8}, conversion: {factor: 0.01}}\ntables:\n")
	for i := range largestTables {
		fmt.Fprintf(&d, "  - {id: KF_%05d, title: Map number %d of a large controller, quantity: ignition_advance, role: target, unit: deg, stored: {address: %d, type: s8}, conversion: {factor: 0.75, offset: -24}, x: {axis: rpm}, y: {axis: load}}\n",
			i, i, 1024+i*1024)
	}
	return d.String()
}

const largestLimits = `name: largest-98
applies_to: [largest]
rules:
  - {id: advance-step, severity: caution, select: {quantity: ignition_advance}, change: {unit: deg, max_up: 4, max_down: 12}, reason: knock, source: common practice}
`

// The largest image and as many tables are compared, and the definition is added; where tests are let go on they go the whole road, to
// the file of a release.
func TestLargest(t *testing.T) {
	if testing.Short() || underRace {
		t.Skip("it takes seconds, and much longer with the race detector")
	}
	b := newWorkshop(t)
	rnd := storetest.Rand(t)
	found := make([]byte, largestImage)
	for i := range found {
		found[i] = byte(rnd.Uint32())
	}
	for i := range 16 { // axes that rise
		found[2*i], found[2*i+1], found[32+2*i], found[33+2*i] = 0, byte(i), 0, byte(i)
	}
	modified := bytes.Clone(found)
	for i := range 64 {
		modified[1024+1024*(i*largestTables/64)+rnd.IntN(128)] ^= 1
	}
	before, after := b.file("found.bin", found), b.file("modified.bin", modified)
	def, lim := b.file("largest.yaml", []byte(largest())), b.file("limits.yaml", []byte(largestLimits))
	if out := b.as("nobody", 0, "compare", before, after, "--definition", def, "--limits", lim); !strings.Contains(out, "64") {
		t.Errorf("compare printed %.300s", out)
	}
	b.as("lead", 0, "definition", "add", def)
	if storetest.Long(t, 0) == 0 {
		return
	}
	b.as("lead", 0, "limits", "add", lim)
	b.as("technician", 0, "job", "open", "--car", "HC 18", "--definition", "largest", "--limits", "largest-98")
	b.as("technician", 0, "read", "add", "1", before)
	if got := b.as("calibrator", 0, "submit", "1", after, "--note", "one step each", "--meant", "KF_00000"); !strings.HasPrefix(got, "1.1 ") {
		t.Fatalf("submit printed %q", got)
	}
	b.as("lead", 0, "sign", "1.1")
	b.as("technician", 0, "collect", "1", "--out", filepath.Join(b.dir, "release.bin"))
}
