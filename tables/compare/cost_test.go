package compare

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"testing"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

// mixture is a definition as large ones are, and an image of it: of ten tables three are scalars, three are curves and four are
// maps, of all kinds of storing, most on two shared axes. 10,000 tables are 883,000 cells in 4 MiB, under one CRC-32.
type mixture struct {
	lay   *definition.Layout
	base  []byte
	cells int
}

func mixed(t testing.TB, tables int) *mixture {
	size := uint32(tables*(4<<20)/10_000) &^ 0xFF
	axis := func(id, quantity, unit string, at, n uint32) *calibrationv1.Axis {
		return &calibrationv1.Axis{Id: id, Quantity: quantity, Unit: unit, Stored: &calibrationv1.Stored{Address: at, Type: "u16", Count: n}, Conversion: &calibrationv1.Conversion{Factor: proto.Float64(0.5)}}
	}
	m := &mixture{base: make([]byte, size)}
	d := &calibrationv1.Definition{Name: "mixture", ByteOrder: "big", Image: &calibrationv1.ImageLayout{Size: size},
		Axes:      []*calibrationv1.Axis{axis("rpm", "engine_speed", "1/min", 0, 16), axis("load", "cylinder_filling", "%", 32, 13)},
		Checksums: []*calibrationv1.Checksum{{Id: "sum", Algorithm: "crc-32/iso-hdlc", Over: []*calibrationv1.AddressRange{{End: size - 0x100}}, Stored: &calibrationv1.Stored{Address: size - 4, Type: "u32"}}}}
	for i := range m.base {
		m.base[i] = byte(uint32(i) * 2654435761 >> 13)
	}
	rising := func(at, n, from, step uint32) {
		for i := range n {
			binary.BigEndian.PutUint16(m.base[at+2*i:], uint16(from+step*i))
		}
	}
	rising(0, 16, 1600, 800)
	rising(32, 13, 20, 25)
	at, types := uint32(64), []string{"u8", "s16", "f32", "u16", "s8", "u16", "u8", "s16", "u8", "u16"}
	for i := range tables {
		kind, table := i%10, &calibrationv1.Table{Id: fmt.Sprintf("t%d", i), Quantity: "ignition_advance", Unit: "deg"}
		n := uint32(1)
		if kind >= 3 {
			table.X, n = &calibrationv1.TableAxis{Axis: "rpm"}, 16
		}
		if kind >= 6 {
			table.Y, n = &calibrationv1.TableAxis{Axis: "load"}, 208
		}
		if kind == 9 { // on breakpoints of its own
			rising(at, 16, 1400+uint32(i)%7, 700)
			table.X = &calibrationv1.TableAxis{Quantity: "engine_speed", Unit: "1/min", Stored: &calibrationv1.Stored{Address: at, Type: "u16", Count: 16}}
			at += 32
		}
		table.Stored = &calibrationv1.Stored{Address: at, Type: types[kind]}
		if types[kind] == "f32" {
			binary.BigEndian.PutUint32(m.base[at:], 0x41200000)
		} else {
			table.Conversion = &calibrationv1.Conversion{Factor: proto.Float64([]float64{0.75, 0.1, 0.5}[i%3]), Offset: proto.Float64(float64(i%2) * -24)}
		}
		d.Tables = append(d.Tables, table)
		at += n * uint32(sizeOf(types[kind]))
		m.cells += int(n)
	}
	var err error
	if m.lay, err = definition.Compile("mixture", []byte(d.String()), d); err != nil {
		t.Fatal(err)
	}
	m.stamp(m.base)
	return m
}

func (m *mixture) stamp(b []byte) {
	binary.BigEndian.PutUint32(b[len(b)-4:], crc32.ChecksumIEEE(b[:len(b)-0x100]))
}

// changed is the base with every cell of some tables changed, and how many cells that is.
func (m *mixture) changed(which func(i int) bool) (cand []byte, cells int) {
	cand = bytes.Clone(m.base)
	for i, t := range m.lay.Tables {
		if c := t.Cells; which(i) {
			for k := range c.NX * c.NY {
				cand[c.At(0, 0)+uint64(k*c.Bytes+c.Bytes-1)] ^= byte(4 + k%3)
			}
			cells += c.NX * c.NY
		}
	}
	m.stamp(cand)
	return cand, cells
}

// sizes are a quarter of an image of 4 MiB, it, and four times that.
var sizes = map[string]int{"quarter": 2500, "whole": 10_000, "fourfold": 40_000}

// everyFew is forty tables of a large definition, evenly.
func (m *mixture) everyFew(i int) bool { return i%(len(m.lay.Tables)/40+1) == 7 }

// BenchmarkKnown is what is compared once more, of images whose hashes and sums are known, as a multiple of bytes.Equal.
func BenchmarkKnown(b *testing.B) {
	eachSize(b, func(b *testing.B, m *mixture) {
		few, _ := m.changed(m.everyFew)
		base := whole(m.lay, m.base)
		for _, c := range []struct {
			name string
			cand []byte
		}{{"equal", bytes.Clone(m.base)}, {"40 tables", few}} {
			b.Run(c.name, func(b *testing.B) {
				cand := whole(m.lay, c.cand)
				run := comparing(b, func() Input { return Input{Base: base, Candidate: cand, Layout: m.lay} })
				same := bytes.Clone(m.base)
				floor := fastest(func() { bytes.Equal(m.base, same) })
				for b.Loop() {
					run()
				}
				b.ReportMetric(float64(fastest(run))/float64(floor), "x-memcmp")
			})
		}
	})
}

// BenchmarkUnknown is the same of images of which nothing is known, as a multiple of bytes.Equal, SHA-256 and CRC-32 of both.
func BenchmarkUnknown(b *testing.B) {
	eachSize(b, func(b *testing.B, m *mixture) {
		few, _ := m.changed(m.everyFew)
		for _, c := range []struct {
			name string
			cand []byte
		}{{"equal", bytes.Clone(m.base)}, {"40 tables", few}} {
			b.Run(c.name, func(b *testing.B) {
				run := comparing(b, func() Input { return Input{Base: whole(m.lay, m.base), Candidate: whole(m.lay, c.cand), Layout: m.lay} })
				same := bytes.Clone(m.base)
				floor := fastest(func() {
					bytes.Equal(m.base, same)
					for _, image := range [][]byte{m.base, same} {
						sha256.Sum256(image)
						crc32.ChecksumIEEE(image)
					}
				})
				for b.Loop() {
					run()
				}
				b.ReportMetric(float64(fastest(run))/float64(floor), "x-memcmp+sha+crc")
			})
		}
	})
}

// mixtureLimits are an envelope on every map and a range on every table, which all of them keep.
const mixtureLimits = `
name: mixture
rules:
  - {id: range, severity: warning, select: {}, reason: r, source: made up, range: {unit: deg, min: -30000, max: 60000}}
  - id: envelope
    severity: warning
    select: {quantity: ignition_advance}
    reason: r
    source: made up
    envelope: {side: max, unit: deg, x: {quantity: engine_speed, unit: 1/min, points: [1000, 3000, 6000]}, y: {quantity: cylinder_filling, unit: "%", points: [40, 100, 180]}, values: [[58000, 60000, 61000], [57000, 59000, 60000], [56000, 58000, 59000]]}
`

// BenchmarkEveryCell is what each of all cells costs where all changed, the report in memory, without rules and with those above.
func BenchmarkEveryCell(b *testing.B) {
	lim := limitsOf(b, mixtureLimits)
	eachSize(b, func(b *testing.B, m *mixture) {
		cand, cells := m.changed(func(int) bool { return true })
		base, image := whole(m.lay, m.base), whole(m.lay, cand)
		plain := comparing(b, func() Input { return Input{Base: base, Candidate: image, Layout: m.lay} })
		judged := comparing(b, func() Input { return Input{Base: base, Candidate: image, Layout: m.lay, Limits: lim} })
		for b.Loop() {
			plain()
		}
		alone, all := fastest(plain), fastest(judged)
		b.ReportMetric(float64(alone)/float64(cells), "ns/cell")
		b.ReportMetric(float64(all)/float64(alone), "x-with-rules")
	})
}

func eachSize(b *testing.B, f func(b *testing.B, m *mixture)) {
	for _, name := range []string{"quarter", "whole", "fourfold"} {
		b.Run(name, func(b *testing.B) { f(b, mixed(b, sizes[name])) })
	}
}

// comparing is a comparison to be run again and again.
func comparing(b *testing.B, in func() Input) func() {
	return func() {
		if _, err := Compare(in()); err != nil {
			b.Fatal(err)
		}
	}
}
