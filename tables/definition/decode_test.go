package definition

import (
	"encoding/hex"
	"fmt"
	"maps"
	"math"
	"math/big"
	"slices"
	"strconv"
	"testing"

	"pgregory.net/rapid"
	"witnessmark/tables/image"
)

// Decodings of hand-written bytes, read big and little end first. The expected texts were
// made by another implementation of the standards, CPython's struct.unpack.
var decodings = []struct{ typ, bytes, big, little string }{
	{"u8", "00", "0", "0"},
	{"s8", "00", "0", "0"},
	{"u8", "7F", "127", "127"},
	{"s8", "7F", "127", "127"},
	{"u8", "80", "128", "128"},
	{"s8", "80", "-128", "-128"},
	{"u8", "FF", "255", "255"},
	{"s8", "FF", "-1", "-1"},
	{"u8", "C8", "200", "200"},
	{"s8", "C8", "-56", "-56"},
	{"u16", "0000", "0", "0"},
	{"s16", "0000", "0", "0"},
	{"u16", "1234", "4660", "13330"},
	{"s16", "1234", "4660", "13330"},
	{"u16", "7FFF", "32767", "65407"},
	{"s16", "7FFF", "32767", "-129"},
	{"u16", "8000", "32768", "128"},
	{"s16", "8000", "-32768", "128"},
	{"u16", "FFFF", "65535", "65535"},
	{"s16", "FFFF", "-1", "-1"},
	{"u16", "FF38", "65336", "14591"},
	{"s16", "FF38", "-200", "14591"},
	{"u16", "38FF", "14591", "65336"},
	{"s16", "38FF", "14591", "-200"},
	{"u16", "0100", "256", "1"},
	{"s16", "0100", "256", "1"},
	{"u32", "12345678", "305419896", "2018915346"},
	{"s32", "12345678", "305419896", "2018915346"},
	{"u32", "7FFFFFFF", "2147483647", "4294967167"},
	{"s32", "7FFFFFFF", "2147483647", "-129"},
	{"u32", "80000000", "2147483648", "128"},
	{"s32", "80000000", "-2147483648", "128"},
	{"u32", "FFFFFFFE", "4294967294", "4278190079"},
	{"s32", "FFFFFFFE", "-2", "-16777217"},
	{"u32", "DEADBEEF", "3735928559", "4022250974"},
	{"s32", "DEADBEEF", "-559038737", "-272716322"},
	{"u64", "0123456789ABCDEF", "81985529216486895", "17279655951921914625"},
	{"s64", "0123456789ABCDEF", "81985529216486895", "-1167088121787636991"},
	{"u64", "8000000000000000", "9223372036854775808", "128"},
	{"s64", "8000000000000000", "-9223372036854775808", "128"},
	{"u64", "FFFFFFFFFFFFFFFE", "18446744073709551614", "18374686479671623679"},
	{"s64", "FFFFFFFFFFFFFFFE", "-2", "-72057594037927937"},
	{"u64", "7FFFFFFFFFFFFFFF", "9223372036854775807", "18446744073709551487"},
	{"s64", "7FFFFFFFFFFFFFFF", "9223372036854775807", "-129"},
	{"f32", "3F800000", "1.0", "4.600602988224807e-41"},
	{"f32", "40490FDB", "3.1415927410125732", "-4.03314608963584e+16"},
	{"f32", "C2C80000", "-100.0", "7.201833327550965e-41"},
	{"f32", "00000001", "1.401298464324817e-45", "2.350988701644575e-38"},
	{"f32", "7F7FFFFF", "3.4028234663852886e+38", "nan"},
	{"f32", "00800000", "1.1754943508222875e-38", "4.591774807899561e-41"},
	{"f32", "80000000", "-0.0", "1.793662034335766e-43"},
	{"f32", "7F800000", "inf", "4.609571298396486e-41"},
	{"f32", "FF800000", "-inf", "4.627507918739843e-41"},
	{"f32", "7FC00000", "nan", "6.905458702346266e-41"},
	{"f32", "416B3333", "14.699999809265137", "4.177423207352149e-08"},
	{"f32", "3DCCCCCD", "0.10000000149011612", "-429492128.0"},
	{"f32", "4B7FFFFF", "16777215.0", "nan"},
	{"f64", "3FF0000000000000", "1.0", "3.03865e-319"},
	{"f64", "400921FB54442D18", "3.141592653589793", "3.207375630676366e-192"},
	{"f64", "C059000000000000", "-100.0", "1.13517e-319"},
	{"f64", "0000000000000001", "5e-324", "7.291122019556398e-304"},
	{"f64", "7FEFFFFFFFFFFFFF", "1.7976931348623157e+308", "nan"},
	{"f64", "8000000000000000", "-0.0", "6.3e-322"},
	{"f64", "7FF0000000000000", "inf", "3.0418e-319"},
	{"f64", "7FF8000000000000", "nan", "3.143e-319"},
	{"f64", "3FB999999999999A", "0.1", "-1.5423487136675799e-180"},
}

// one compiles a definition of one scalar at address 0 and gives its cells.
func one(t testing.TB, order, stored, conversion string, size int) *Cells {
	t.Helper()
	file := fmt.Sprintf("{name: d, byte_order: %s, image: {size: %d}, tables: [{id: t, unit: '1', stored: {%s}, conversion: {%s}}]}", order, size, stored, conversion)
	lay, err := Load("d", []byte(file))
	if err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return lay.Tables[0].Cells
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestDecodings(t *testing.T) {
	for _, tt := range decodings {
		image := unhex(t, tt.bytes)
		for order, want := range map[string]string{"big": tt.big, "little": tt.little} {
			c := one(t, order, "address: 0, type: "+tt.typ, "", len(image))
			bits := c.Bits(image, 0, 0)
			if !c.Float {
				if got := c.Raw(bits); got != want {
					t.Errorf("%s %s %s-endian is %s, want %s", tt.typ, tt.bytes, order, got, want)
				}
				continue
			}
			expected, err := strconv.ParseFloat(want, 64)
			if err != nil {
				t.Fatal(err)
			}
			got := c.Physical(image, 0, 0)
			same := math.Float64bits(got) == math.Float64bits(expected) || math.IsNaN(got) && math.IsNaN(expected)
			// A negative zero stays one raw; adding the offset of 0 makes it a positive one.
			if expected == 0 {
				same = math.Float64bits(c.Number(bits)) == math.Float64bits(expected)
			}
			if !same {
				t.Errorf("%s %s %s-endian is %v, want %v", tt.typ, tt.bytes, order, got, expected)
			}
		}
	}
}

// Worked by hand from the definitions of two's complement, sign and magnitude, and bit fields.
func TestWords(t *testing.T) {
	for _, tt := range []struct{ stored, bytes, big, little string }{
		{"type: u24", "010203", "66051", "197121"},
		{"type: s24", "FFFFFE", "-2", "-65537"},
		{"type: s24", "800000", "-8388608", "128"},
		{"type: s8, sign: magnitude", "85", "-5", "-5"},
		{"type: s8, sign: magnitude", "80", "0", "0"},
		{"type: s16, sign: magnitude", "8001", "-1", "384"},
		{"type: s64, sign: magnitude", "FFFFFFFFFFFFFFFF", "-9223372036854775807", "-9223372036854775807"},
		{"type: u16, mask: 0x0FF0", "1234", "35", "65"},
		{"type: u8, mask: 0x80", "80", "1", "1"},
		{"type: s8, mask: 0x0F", "F8", "-8", "-8"},
		{"type: s8, mask: 0x0F", "F7", "7", "7"},
		{"type: s16, mask: 0x0F00, sign: magnitude", "FBFF", "-3", "-7"},
		{"type: u64, mask: 0xFFFFFFFFFFFFFFFF", "FFFFFFFFFFFFFFFF", "18446744073709551615", "18446744073709551615"},
		{"type: u16, byte_order: little", "1234", "13330", "13330"},
	} {
		image := unhex(t, tt.bytes)
		for order, want := range map[string]string{"big": tt.big, "little": tt.little} {
			c := one(t, order, "address: 0, "+tt.stored, "", len(image))
			if got := c.Raw(c.Bits(image, 0, 0)); got != want {
				t.Errorf("{%s} of %s %s-endian is %s, want %s", tt.stored, tt.bytes, order, got, want)
			}
		}
	}
}

// Common practice of the trade, worked by hand: the conversion as it is written and what the byte means.
func TestConversions(t *testing.T) {
	for _, tt := range []struct {
		stored, bytes, conversion string
		want                      float64
	}{
		{"type: u16", "00C8", "factor: 0.75, offset: -48", 102},
		{"type: s8", "F6", "factor: 0.5", -5},
		{"type: u8", "93", "rational: {num: [0, 1], den: [10]}", 14.7},
		{"type: u16", "3A98", "factor: 0.25", 3750},
		{"type: u8", "32", "rational: {num: [1000], den: [0, 1]}", 20},
		{"type: u8", "00", "rational: {num: [1000], den: [0, 1]}", math.Inf(1)},
		{"type: u8", "03", "rational: {num: [1, 2, 3], den: [2]}", 17},
		{"type: u8", "0A", "rational: {num: [510, -2], den: [0, 0, 0.01]}", 490},
		{"type: u8", "0A", "offset: -40", -30},
	} {
		image := unhex(t, tt.bytes)
		c := one(t, "big", "address: 0, "+tt.stored, tt.conversion, len(image))
		if got := c.Physical(image, 0, 0); got != tt.want {
			t.Errorf("{%s} of %s is %v, want %v", tt.conversion, tt.bytes, got, tt.want)
		}
	}
	c := one(t, "big", "address: 0, type: s8", "labels: {0: off, -1: \"on\"}", 1)
	for b, want := range map[byte]string{0: "off", 0xff: "on", 7: "raw 7"} {
		if got := c.Conv.Label(c.Int(c.Bits([]byte{b}, 0, 0))); got != want {
			t.Errorf("raw %#x is %q, want %q", b, got, want)
		}
	}
}

// How much rounding a value carries, and how large one raw step is.
func TestRounding(t *testing.T) {
	for _, tt := range []struct {
		typ, conversion string
		relative, step  float64
	}{
		// 2^-23 is the distance of 1 to the next 32-bit float of IEEE 754.
		{"f32", "", float64(math.Nextafter32(1, 2) - 1), 1},
		{"f64", "factor: -2", 1e-9, 2},
		{"u8", "factor: -0.75", 1e-9, 0.75},
		{"u8", "rational: {num: [0, 5], den: [1]}", 1e-9, 1},
		{"u8", "labels: {0: off}", 1e-9, 1},
	} {
		c := one(t, "big", "address: 0, type: "+tt.typ, tt.conversion, 8)
		if c.Relative() != tt.relative || c.Conv.Step() != tt.step {
			t.Errorf("%s {%s}: relative %v, step %v", tt.typ, tt.conversion, c.Relative(), c.Conv.Step())
		}
	}
}

// A map of 3 columns and 2 rows that holds 0…5 row by row, written by hand in each layout.
func TestLayouts(t *testing.T) {
	for name, tt := range map[string]struct {
		stored, order string
		image         string
	}{
		"x fastest":           {"type: u8", "x_fastest", "000102 030405"},
		"left out":            {"type: u8", "", "000102 030405"},
		"y fastest":           {"type: u8", "y_fastest", "0003 0104 0205"},
		"stride":              {"type: u8, stride: 2", "x_fastest", "00ee01ee02ee 03ee04ee05"},
		"row stride":          {"type: u8, row_stride: 4", "x_fastest", "000102ee 030405"},
		"both":                {"type: u16, stride: 3, row_stride: 10", "x_fastest", "0000ee0001ee0002ee ee 0003ee0004ee0005"},
		"y fastest, rows":     {"type: u8, row_stride: 3", "y_fastest", "0003ee 0104ee 0205"},
		"rows inside strides": {"type: u8, stride: 2, row_stride: 1", "x_fastest", "0003 0104 0205"},
	} {
		image := unhex(t, string(slices.DeleteFunc([]byte(tt.image), func(b byte) bool { return b == ' ' })))
		order := ""
		if tt.order != "" {
			order = ", order: " + tt.order
		}
		file := fmt.Sprintf(`{name: d, byte_order: big, image: {start: 0x100, size: %d}, tables: [{id: t, unit: "1", stored: {address: 0x100, %s},
  x: {quantity: q, unit: "1", points: [1, 2, 3]}, y: {quantity: r, unit: "1", points: [1, 2]}%s}]}`, len(image), tt.stored, order)
		lay, err := Load("d", []byte(file))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		c := lay.Tables[0].Cells
		for row := range 2 {
			for col := range 3 {
				if got := c.Bits(image, row, col); got != uint64(3*row+col) {
					t.Errorf("%s: row %d column %d is %d", name, row, col, got)
				}
			}
		}
		// One byte less, and the table reaches outside.
		short := fmt.Sprintf(`{name: d, byte_order: big, image: {start: 0x100, size: %d}, tables: [{id: t, unit: "1", stored: {address: 0x100, %s},
  x: {quantity: q, unit: "1", points: [1, 2, 3]}, y: {quantity: r, unit: "1", points: [1, 2]}%s}]}`, len(image)-1, tt.stored, order)
		if _, err := Load("d", []byte(short)); err == nil {
			t.Errorf("%s: a table reaches outside and is accepted", name)
		}
	}
}

// Touches and shareBytes reckon; here they are held against looking at every byte.
func TestReckonedOverlap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.SampledFrom([]int{1, 2, 3, 4, 8}).Draw(t, "size")
		c := &Cells{Bytes: size, NX: rapid.IntRange(1, 9).Draw(t, "nx"), NY: rapid.IntRange(1, 9).Draw(t, "ny"),
			Offset: rapid.Uint64Range(0, 20).Draw(t, "offset"),
			StepX:  int64(rapid.IntRange(size, 40).Draw(t, "stepX")), StepY: int64(rapid.IntRange(1, 60).Draw(t, "stepY"))}
		used := map[uint64]int{}
		for row := range c.NY {
			for col := range c.NX {
				for b := range uint64(size) {
					used[c.At(row, col)+b]++
				}
			}
		}
		shared := false
		for _, n := range used {
			shared = shared || n > 1
		}
		if got := shareBytes(uint64(c.StepX), uint64(c.StepY), uint64(size), c.NX, c.NY); got != shared {
			t.Fatalf("%+v: cells share bytes: %v, reckoned %v", c, shared, got)
		}
		if rapid.Bool().Draw(t, "down") { // the same bytes from the other end
			c.Offset, c.StepX, c.StepY = c.At(c.NY-1, c.NX-1), -c.StepX, -c.StepY
		}
		start := rapid.Uint64Range(0, 600).Draw(t, "start")
		r := image.Range{Start: start, End: start + rapid.Uint64Range(1, 12).Draw(t, "length")}
		inside := false
		for at := r.Start; at < r.End; at++ {
			inside = inside || used[at] > 0
		}
		if got := c.Touches(r); got != inside {
			t.Fatalf("%+v in %v: %v, reckoned %v", c, r, inside, got)
		}
	})
}

// The difference of two raw values is worked out in whole numbers of any size and rounded
// once; the cell's own arithmetic must not lose a bit on the way.
func TestDeltaIsExact(t *testing.T) {
	cells := map[string]*Cells{}
	for _, typ := range []string{"u8", "s8", "u16", "s16", "u24", "s24", "u32", "s32", "u64", "s64", "s32, sign: magnitude"} {
		cells[typ] = one(t, "big", "address: 0, type: "+typ, "factor: 0.5, offset: -40", 8)
	}
	rapid.Check(t, func(t *rapid.T) {
		c := cells[rapid.SampledFrom(slices.Sorted(maps.Keys(cells))).Draw(t, "type")]
		// Neighbours of huge values are where a float64 would already have lost the difference.
		base := rapid.Uint64().Draw(t, "base") & c.Mask
		candidate := base + rapid.Uint64Range(0, 3).Draw(t, "step")
		if rapid.Bool().Draw(t, "far") {
			candidate = rapid.Uint64().Draw(t, "candidate")
		}
		candidate &= c.Mask
		whole := func(b uint64) *big.Int {
			n, ok := new(big.Int).SetString(c.Raw(b), 10)
			if !ok {
				t.Fatalf("raw %q", c.Raw(b))
			}
			return n
		}
		exact := new(big.Int).Sub(whole(candidate), whole(base))
		want, _ := new(big.Float).SetInt(exact).Float64()
		if got := c.Delta(base, candidate); got != want*0.5 {
			t.Fatalf("from %s to %s: %v, want half of %s", c.Raw(base), c.Raw(candidate), got, exact)
		}
	})
}
