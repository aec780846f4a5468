package compare

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"testing"

	"witnessmark/tables/surface"
)

// The check value of an algorithm is its sum over the ASCII text 123456789. Source: CRC RevEng, Catalogue
// of parametrised CRC algorithms (Greg Cook), as generated into akhilles/crc-catalog, src/algorithm.rs,
// commit ed4ad631; each was recomputed bit by bit before it was written down. The additive sums are by
// hand: the nine characters add up to 477.
var catalogue = []struct {
	name  string
	bits  int
	check uint64
}{
	{"crc-8/sae-j1850", 8, 0x4B},
	{"crc-16/ibm-3740", 16, 0x29B1},
	{"crc-16/xmodem", 16, 0x31C3},
	{"crc-16/kermit", 16, 0x2189},
	{"crc-16/ibm-sdlc", 16, 0x906E},
	{"crc-16/arc", 16, 0xBB3D},
	{"crc-16/modbus", 16, 0x4B37},
	{"crc-16/usb", 16, 0xB4C8},
	{"crc-32/iso-hdlc", 32, 0xCBF43926},
	{"crc-32/mpeg-2", 32, 0x0376E6E7},
	{"crc-32/bzip2", 32, 0xFC891918},
	{"crc-32/jamcrc", 32, 0x340BC6D9},
	{"crc-32/iscsi", 32, 0xE3069283},
	{"crc-32/autosar", 32, 0x1697D06A},
	{"crc-64/xz", 64, 0x995DC9BBDF1939FA},
	{"crc-64/ecma-182", 64, 0x6C40DF5F0B497347},
	{"crc-64/go-iso", 64, 0xB90956C775A41001},
	{"sum-8", 8, 0xDD},
	{"sum-16", 16, 0x1DD},
	{"sum-32", 32, 0x1DD},
}

func TestCatalogueThroughCompare(t *testing.T) {
	for _, c := range catalogue {
		for _, order := range []string{"big", "little"} {
			t.Run(c.name+" "+order, func(t *testing.T) {
				lay := layoutOf(t, fmt.Sprintf(`
name: sums
title: One sum over two ranges
byte_order: %s
image: {start: 0x8000, size: 0x20}
checksums:
  - {id: only, algorithm: %s, over: [{start: 0x8000, end: 0x8004}, {start: 0x8008, end: 0x800D}], stored: {address: 0x8010, type: u%d}}
`, order, c.name, c.bits))
				image := make([]byte, 0x20)
				copy(image, "1234")
				copy(image[8:], "56789")
				for i := range c.bits / 8 {
					at := i
					if order == "big" {
						at = c.bits/8 - 1 - i
					}
					image[0x10+at] = byte(c.check >> (8 * i))
				}
				wrong := edited(image, func(b []byte) { b[9] ^= 1 })
				r := pair(t, lay, image, wrong)
				got := r.Checksums[0]
				if want := fmt.Sprintf("0x%0*x", c.bits/4, c.check); !got.GetBaseOk() || got.CandidateOk || got.Stored != want {
					t.Errorf("%v, want stored %s, right in the base and wrong in the candidate", got, want)
				}
				finding(t, r, "checksum")
			})
		}
	}
}

// nrelTorque, nrelSpeed and nrelRows are brake-specific fuel consumption in ug/J of a 1.9 l twin-cam
// spark-ignition engine over torque in N.m (rows) and speed in 1/min (columns). Source: NREL ADVISOR,
// FC_SI95.m. Copyright Alliance for Sustainable Energy, LLC; the ADVISOR licence permits use and copies
// with this notice.
var (
	nrelTorque = []float64{15.6, 31.2, 46.8, 62.4, 78, 93.6, 109.2, 124.8, 140.4, 156, 171.6}
	nrelSpeed  = []float64{500, 1000, 1500, 2000, 2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000}
	nrelRows   = [][]float64{
		{170, 170, 170, 165, 155, 145, 130, 145, 150, 190, 210, 210},
		{123, 112, 113, 110, 106, 101.5, 94.5, 99, 109, 128, 142, 147},
		{103, 93.5, 96, 93, 89, 86.5, 80, 88.2, 97.6, 105, 117, 120},
		{92, 85.5, 85, 83.5, 79, 77.5, 78, 84.5, 88, 92.5, 101.5, 104},
		{85, 79, 78, 76.5, 74, 73, 77, 78.5, 81.5, 85, 91, 93},
		{87, 79.5, 73, 72, 68.5, 71, 74.3, 76.5, 77.5, 79, 82, 87},
		{84, 78.5, 70.7, 68, 68, 69, 72, 73, 75.5, 78.7, 83, 83},
		{90, 79, 68.5, 68, 68, 68, 69, 70.5, 75, 77.5, 82, 82},
		{80, 80, 70, 69, 68, 68, 69, 73, 75.8, 78.6, 81, 81},
		{80, 80, 80, 73, 71, 72, 73, 74, 76.5, 79, 80.5, 80},
		{80, 80, 80, 80, 80, 80, 80, 80, 80, 80, 80, 80},
	}
)

const nrelDefinition = `
name: nrel-bsfc
title: A published fuel map, packed in two ways
byte_order: big
image: {start: 0x80000, size: 0x400, segments: [{start: 0x80000, end: 0x80400, content: calibration}]}
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0x80010, type: u8, count: 12}, conversion: {factor: 50}}
  - {id: tq, quantity: torque, unit: N.m, stored: {address: 0x80020, type: s16, byte_order: little, count: 11}, conversion: {factor: 0.1}}
tables:
  - {id: bsfc, quantity: specific_consumption, unit: ug/J, x: {axis: rpm}, y: {axis: tq}, stored: {address: 0x80040, type: u16}, conversion: {factor: 0.05, offset: 20}}
  - {id: turned, quantity: specific_consumption, unit: ug/J, x: {axis: rpm}, y: {axis: tq}, order: y_fastest, stored: {address: 0x80200, type: u16, byte_order: little, mask: 0x0FFF}, conversion: {factor: 0.1}}
`

// nrelImage packs the map by hand: row by row as (v-20)*20, and column by column as v*10 under 4 other bits.
func nrelImage() []byte {
	b := make([]byte, 0x400)
	for i, v := range nrelSpeed {
		b[0x10+i] = byte(v / 50)
	}
	for i, v := range nrelTorque {
		binary.LittleEndian.PutUint16(b[0x20+2*i:], uint16(math.Round(v*10)))
	}
	for row, values := range nrelRows {
		for col, v := range values {
			raw := uint16(math.Round((v - 20) * 20))
			b[0x40+2*(12*row+col)], b[0x41+2*(12*row+col)] = byte(raw>>8), byte(raw)
			turned := uint16(math.Round(v*10)) | 0xA000
			b[0x200+2*(11*col+row)], b[0x201+2*(11*col+row)] = byte(turned), byte(turned>>8)
		}
	}
	return b
}

func TestPublishedMap(t *testing.T) {
	lay, base := layoutOf(t, nrelDefinition), nrelImage()
	for _, id := range []string{"bsfc", "turned"} {
		d := surface.Decode(lay.ByID[id], base)
		for row, values := range nrelRows {
			for col, want := range values {
				if got := d.Values[row*12+col]; math.Abs(got-want) > 1e-9 {
					t.Fatalf("%s row %d, column %d: %v, published is %v", id, row, col, got, want)
				}
			}
		}
		for i, want := range nrelTorque {
			if math.Abs(d.Y[i]-want) > 1e-9 || d.X[i] != nrelSpeed[i] {
				t.Fatalf("%s breakpoint %d: %v, %v", id, i, d.X[i], d.Y[i])
			}
		}
		// Source: SciPy 1.10.1, RegularGridInterpolator(method="linear"), on the published figures.
		g, err := d.Grid()
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range [][3]float64{{50, 2250, 89}, {100, 3100, 70.814871794872}, {160, 5750, 80.185897435897}} {
			if got := g.At(q[1], q[0]); math.Abs(got-q[2]) > 1e-9 {
				t.Errorf("%s at %v N.m, %v 1/min: %v, want %v", id, q[0], q[1], got, q[2])
			}
		}
	}
}

func TestPublishedMapChanged(t *testing.T) {
	lay, base := layoutOf(t, nrelDefinition), nrelImage()
	// Torque 93.6 and 109.2 N.m at 2500 1/min, 68.5 and 68 ug/J: rows 5 and 6, column 4. Up by 3, down by 2.5.
	cand := edited(base, func(b []byte) {
		for row, raw := range map[int]int{5: (715 - 200) * 2, 6: (655 - 200) * 2} {
			b[0x40+2*(12*row+4)], b[0x41+2*(12*row+4)] = byte(raw>>8), byte(raw)
		}
	})
	lim := limitsOf(t, `
name: bsfc
title: A limit for the published map
rules:
  - {id: worst, severity: warning, select: {tables: [bsfc]}, reason: r, source: made up for this test, change: {unit: ug/J, max_up: 2, max_down: 3}}
`)
	r := compared(t, Input{Base: whole(lay, base), Candidate: whole(lay, cand), Layout: lay, Limits: lim})
	table := r.Tables[0]
	if len(r.Tables) != 1 || table.Changed != 2 || table.Cells != 132 {
		t.Fatalf("tables: %v", r.Tables)
	}
	for i, row := range []uint32{5, 6} {
		c := table.Changes[i]
		delta := []float64{3, -2.5}[i]
		before := nrelRows[row][4]
		if c.Row != row || c.Column != 4 || c.GetX() != 2500 || math.Abs(c.GetY()-nrelTorque[row]) > 1e-9 ||
			math.Abs(c.GetDelta()-delta) > 1e-12 || math.Abs(c.Base.GetNumberValue()-before) > 1e-9 ||
			math.Abs(c.Candidate.GetNumberValue()-before-delta) > 1e-9 {
			t.Errorf("change %d: %v", i, c)
		}
	}
	f := finding(t, r, "worst:bsfc")
	if f.Count != 1 || f.Origin != "introduced" || math.Abs(f.Worst.GetExcess()-1) > 1e-9 || f.Worst.GetX() != 2500 || r.Verdict != "warning" {
		t.Errorf("finding: %v", f)
	}
	if !slices.Equal(Warnings(r), []string{"worst:bsfc"}) {
		t.Errorf("warnings: %q", Warnings(r))
	}
	// 68.5 is raw 970 (0x03CA), 71.5 is 1030 (0x0406); 68 is 960 (0x03C0), 65.5 is 910 (0x038E): three bytes.
	if r.Bytes.Differing != 3 || r.Bytes.Mapped != 3 {
		t.Errorf("bytes: %v", r.Bytes)
	}
}
