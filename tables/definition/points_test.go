package definition

import (
	"math"
	"testing"
)

// By hand: what points make of raw values, beyond them too, and how much one raw step makes.
func TestPoints(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, tt := range []struct {
		conversion string
		step       float64
		want       map[float64]float64
	}{
		{"raw: [0, 100, 255], physical: [-40, 25, 130]", 0.6774193548387096, map[float64]float64{-1: -40, 0: -40, 50: -7.5, 100: 25, 255: 130, 256: 130, inf: 130, -inf: -40}},
		{"raw: [0, 100, 255], physical: [-40, 25, 130], outside: -273", 0.6774193548387096, map[float64]float64{-1: -273, 0: -40, 255: 130, 255.5: -273, inf: -273}},
		{"raw: [0, 100, 255], physical: [-40, 25, 130], between: step", 105, map[float64]float64{-1: -40, 0: -40, 99: -40, 100: 25, 254.9: 25, 255: 130, 300: 130}},
		{"raw: [-8, -2, 6], physical: [6, 6, 0], between: linear, outside: hold", 0.75, map[float64]float64{-9: 6, -5: 6, 2: 3, 4: 1.5, 6: 0, 7: 0}},
	} {
		c := one(t, "big", "address: 0, type: f32", "points: {"+tt.conversion+"}", 4)
		if got := c.Conv.Step(); math.Abs(got-tt.step) > 1e-15 {
			t.Errorf("{%s}: a step of %v, want %v", tt.conversion, got, tt.step)
		}
		for raw, want := range tt.want {
			if got := c.Conv.Apply(raw); got != want {
				t.Errorf("{%s}: %v becomes %v, want %v", tt.conversion, raw, got, want)
			}
		}
		if got := c.Conv.Apply(nan); !math.IsNaN(got) {
			t.Errorf("{%s}: what is no number becomes %v", tt.conversion, got)
		}
		if c.Conv.Affine() {
			t.Errorf("{%s} is affine", tt.conversion)
		}
	}
	// A difference is that of the two values, not of the raw ones.
	c := one(t, "big", "address: 0, type: u8", "points: {raw: [0, 10, 20], physical: [0, 1, 101]}", 1)
	if got := c.Delta(5, 15); got != 50.5 {
		t.Errorf("from 5 to 15: %v, want 50.5", got)
	}
}

// By hand: codes of each way to store a whole number.
func TestOff(t *testing.T) {
	for _, tt := range []struct {
		stored  string
		off, on []uint64 // raw bits
	}{
		{"type: u8, not_a_value: [255, 0]", []uint64{0, 255}, []uint64{1, 254}},
		{"type: s8, not_a_value: [-128, -1]", []uint64{0x80, 0xFF}, []uint64{0x7F, 0, 1}},
		{"type: s16, sign: magnitude, not_a_value: [-5]", []uint64{0x8005}, []uint64{5, 0xFFFB}},
		{"type: u16, mask: 0x0FF0, not_a_value: [0xFF]", []uint64{0xFF}, []uint64{0xFE, 0}},
		{"type: u64, not_a_value: [0x7FFFFFFFFFFFFFFF]", []uint64{math.MaxInt64}, []uint64{math.MaxUint64, 0, 1 << 63}},
		{"type: s64, not_a_value: [-1]", []uint64{math.MaxUint64}, []uint64{math.MaxInt64, 1 << 63}},
		{"type: u8", nil, []uint64{0, 255}},
	} {
		c := one(t, "big", "address: 0, "+tt.stored, "", 8)
		for want, all := range map[bool][]uint64{true: tt.off, false: tt.on} {
			for _, bits := range all {
				if c.Off(bits) != want {
					t.Errorf("{%s}: %#x is off: %v", tt.stored, bits, !want)
				}
			}
		}
	}
}

func TestTextInUTF8(t *testing.T) {
	for _, tt := range []struct{ in, ascii, utf8 string }{
		{"V17 \x00 ", "V17", "V17"},
		{"Kühler", `K\xc3\xbchler`, "Kühler"},
		{"a\x00b\n", `a\x00b\x0a`, `a\x00b\x0a`},
		{"\xc3", `\xc3`, `\xc3`},                            // a character that is cut off
		{"a\xe2\x80\xae", `a\xe2\x80\xae`, `a\xe2\x80\xae`}, // U+202E turns what follows round
		{`a\`, `a\\`, `a\\`},
		{"", "", ""}, {"  ", "", ""}, {" a", " a", " a"},
	} {
		if got := Text([]byte(tt.in), false); got != tt.ascii {
			t.Errorf("%q reads %q, want %q", tt.in, got, tt.ascii)
		}
		if got := Text([]byte(tt.in), true); got != tt.utf8 {
			t.Errorf("%q in UTF-8 reads %q, want %q", tt.in, got, tt.utf8)
		}
	}
}
