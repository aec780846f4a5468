package compare

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"strings"
	"testing"
	"time"

	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
)

// manyTables is a 4 MiB image with n maps of 16x12 bytes that share two axes.
func manyTables(t testing.TB, n int) (*definition.Layout, []byte) {
	var y strings.Builder
	y.WriteString(`
name: many
title: Many maps
byte_order: big
image: {start: 0, size: 0x400000}
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0, type: u16, count: 16}}
  - {id: load, quantity: cylinder_filling, unit: "%", stored: {address: 0x20, type: u8, count: 12}}
tables:
`)
	for i := range n {
		fmt.Fprintf(&y, "  - {id: t%d, quantity: ignition_advance, unit: deg, x: {axis: rpm}, y: {axis: load}, stored: {address: %d, type: s8}, conversion: {factor: 0.75}}\n", i, 0x40+i*200)
	}
	image := make([]byte, 4<<20)
	x := uint32(1)
	for i := range image {
		x = x*1664525 + 1013904223
		image[i] = byte(x >> 24)
	}
	return layoutOf(t, y.String()), image
}

// BenchmarkCompare states what a comparison costs as a multiple of comparing the memory alone
// ("memcmp") and of that and the hash which names each image in the report ("memcmp+sha").
func BenchmarkCompare(b *testing.B) {
	lay, base := manyTables(b, 10_000)
	same := bytes.Clone(base)
	cell := edited(base, func(c []byte) { c[0x40+200*5000+7] ^= 4 })
	everywhere := edited(base, func(c []byte) {
		for i := range 10_000 {
			c[0x40+i*200+i%192] ^= 4
		}
	})
	floor := fastest(func() { bytes.Equal(base, same) })
	hash := fastest(func() { sha256.Sum256(base) })
	for _, c := range []struct {
		name   string
		cand   []byte
		hashes time.Duration // an image that is the other one is hashed once
	}{{"equal", same, 1}, {"one cell", cell, 2}, {"one cell in each of 10000 tables", everywhere, 2}} {
		b.Run(c.name, func(b *testing.B) {
			run := func() {
				if _, err := Compare(Input{Base: whole(lay, base), Candidate: whole(lay, c.cand), Layout: lay}); err != nil {
					b.Fatal(err)
				}
			}
			for b.Loop() {
				run()
			}
			each := fastest(run) // like with like: the machine may be busy
			b.ReportMetric(float64(each)/float64(floor), "x-memcmp")
			b.ReportMetric(float64(each)/float64(floor+c.hashes*hash), "x-memcmp+sha")
			b.ReportMetric(float64(each-c.hashes*hash)/float64(floor), "x-memcmp-without-sha")
		})
	}
}

// manyVarying is a 4 MiB image with n curves of up to sixteen points, each of which says how many it uses.
func manyVarying(t testing.TB, n int) (*definition.Layout, []byte) {
	var y strings.Builder
	y.WriteString("name: varying\nbyte_order: big\nimage: {start: 0, size: 0x400000}\ntables:\n")
	image := make([]byte, 4<<20)
	for i := range n {
		at := 64 * i
		fmt.Fprintf(&y, "  - {id: t%d, quantity: ignition_advance, unit: deg, stored: {address: %d, type: s8, layout: packed}, x: {id: x%d, quantity: engine_speed, unit: 1/min, stored: {address: %d, type: u8, count: 16, count_at: {address: %d, type: u8}}}}\n",
			i, at+17, i, at+1, at)
		image[at] = byte(1 + i%16)
		for k := range 40 {
			image[at+1+k] = byte(k)
		}
	}
	return layoutOf(t, y.String()), image
}

// BenchmarkVarying states what a comparison costs of tables that lie elsewhere in each image, as a multiple of that of as
// many that do not.
func BenchmarkVarying(b *testing.B) {
	plain, one := manyTables(b, 10_000)
	varying, two := manyVarying(b, 10_000)
	run := func(lay *definition.Layout, base []byte) func() {
		cand := edited(base, func(c []byte) { c[0x2003] ^= 1 })
		return func() {
			if _, err := Compare(Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay}); err != nil {
				b.Fatal(err)
			}
		}
	}
	each := fastest(run(plain, one))
	for b.Loop() {
		run(varying, two)()
	}
	b.ReportMetric(float64(fastest(run(varying, two)))/float64(each), "x-plain")
}

// manyRules has a rule of each kind that judges single tables; what kinds cost together is what limits cost.
const manyRules = `
name: many-rules
title: Rules for many maps
rules:
  - {id: a, severity: warning, select: {}, reason: r, source: made up, range: {unit: deg, min: -90, max: 90}}
  - {id: b, severity: warning, select: {}, reason: r, source: made up, change: {unit: deg, max_up: 4, max_down: 12}}
  - {id: c, severity: warning, select: {}, reason: r, source: made up, slope: {along: x, unit: deg, max: 9000}}
  - {id: d, severity: warning, select: {}, reason: r, source: made up, lump: {unit: deg, max: 200}}
  - {id: e, severity: warning, select: {}, reason: r, source: made up, monotonic: {of: axes}}
  - {id: g, severity: notice, select: {}, reason: r, source: made up, frozen: {}}
  - id: f
    severity: warning
    select: {}
    reason: r
    source: made up
    envelope: {side: max, unit: deg, x: {quantity: engine_speed, unit: 1/min, points: [1000, 60000]}, y: {quantity: cylinder_filling, unit: "%", points: [20, 200]}, values: [[90, 95], [96, 99]]}
`

// BenchmarkRules states what all rules cost as a multiple of the comparison without them, where one of 10,000 tables
// changed, and where each did.
func BenchmarkRules(b *testing.B) {
	lay, base := manyTables(b, 10_000)
	for i := range uint16(16) { // the shared axes rise, so that surfaces are judged
		binary.BigEndian.PutUint16(base[2*i:], 1000+400*i)
	}
	for i := range byte(12) {
		base[0x20+i] = 20 * (i + 1)
	}
	lim := limitsOf(b, manyRules)
	for name, each := range map[string]int{"one table": 10_000, "each of 10000": 1} {
		cand := edited(base, func(c []byte) {
			for i := 0; i < 10_000; i += each {
				c[0x40+i*200+i%192] ^= 4
			}
		})
		run := func(lim *limits.Limits) func() {
			return func() {
				if _, err := Compare(Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay, Limits: lim}); err != nil {
					b.Fatal(err)
				}
			}
		}
		b.Run(name, func(b *testing.B) {
			plain, all := fastest(run(nil)), fastest(run(lim))
			for b.Loop() {
				run(lim)()
			}
			b.ReportMetric(float64(all)/float64(plain), "x-without-rules")
			if each == 1 { // of one table it is lost in the rest
				b.ReportMetric(float64(all-plain)/float64(10_000*192*len(lim.Source.Rules)), "ns/cell-and-rule")
			}
		})
	}
}

// fastest is the shortest of twenty runs.
func fastest(f func()) time.Duration {
	least := time.Hour
	for range 20 {
		start := time.Now()
		f()
		least = min(least, time.Since(start))
	}
	return least
}

// Work grows with what changed: what is not changed is not decoded.
func TestUnchangedTablesAreNotDecoded(t *testing.T) {
	lay, base := manyTables(t, 500)
	cand := edited(base, func(c []byte) { c[0x40+200*250+7] ^= 4 })
	s, err := compare(Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay, Limits: limitsOf(t, manyRules)})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.base.decoded) != 1 || len(s.cand.decoded) != 1 || s.changes[0].id != "t250" {
		t.Errorf("decoded %d and %d tables for one that changed", len(s.base.decoded), len(s.cand.decoded))
	}
}
