package checksum

import (
	"encoding/hex"
	"hash/crc64"
	"math/bits"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func sumOf(t testing.TB, name string, parts ...[]byte) uint64 {
	a, ok := Lookup(name)
	if !ok {
		t.Fatalf("Lookup(%q) found nothing", name)
	}
	if a.Name != name {
		t.Fatalf("Lookup(%q) is called %q", name, a.Name)
	}
	return a.Sum(parts...)
}

func TestCatalogueCheckValues(t *testing.T) {
	if len(checkValues) != len(catalogue) {
		t.Fatalf("%d check values for %d algorithms", len(checkValues), len(catalogue))
	}
	for name, want := range checkValues {
		if got := sumOf(t, name, []byte("123456789")); got != want {
			t.Errorf("%s of 123456789 = %#x, the catalogue says %#x", name, got, want)
		}
	}
}

// Sums of no bytes, from the same catalogue's parameters: the register as it starts, put out.
func TestEmptyInput(t *testing.T) {
	for name, want := range map[string]uint64{
		"crc-32/iso-hdlc": 0, "crc-32/mpeg-2": 0xFFFFFFFF, "crc-32/bzip2": 0, "crc-32/cksum": 0xFFFFFFFF,
		"crc-32/jamcrc": 0xFFFFFFFF, "crc-32/iscsi": 0, "crc-32/autosar": 0, "crc-16/ibm-3740": 0xFFFF,
		"crc-16/xmodem": 0, "crc-16/kermit": 0, "crc-16/genibus": 0, "crc-16/ibm-sdlc": 0, "crc-16/arc": 0,
		"crc-16/modbus": 0xFFFF, "crc-16/usb": 0, "crc-64/xz": 0, "crc-64/ecma-182": 0, "crc-64/go-iso": 0,
		"crc-8/sae-j1850": 0, "sum-8": 0, "sum-16": 0, "sum-32": 0,
	} {
		if got := sumOf(t, name); got != want {
			t.Errorf("%s of nothing = %#x, want %#x", name, got, want)
		}
	}
}

// The inputs of AUTOSAR's Specification of CRC Routines, section 7.2. The crc-16/arc column is
// published (CRC RevEng catalogue, code words of R22-11); the others were computed elsewhere
// with a bit-by-bit program in Python.
func TestAutomotiveVectors(t *testing.T) {
	columns := []string{"crc-16/arc", "crc-16/ibm-3740", "crc-32/iso-hdlc", "crc-32/autosar", "crc-64/xz", "crc-8/sae-j1850"}
	for input, want := range map[string][6]uint64{
		"00000000":           {0x0000, 0x84C0, 0x2144DF1C, 0x6FB32240, 0xF4A586351E1B9F4B, 0x59},
		"F20183":             {0xC2E1, 0xD374, 0x24AB9D77, 0x4F721A25, 0x319C27668164F1C6, 0x37},
		"0FAA0055":           {0x0BE3, 0x2023, 0xB6C9B287, 0x20662DF8, 0x54C5D0F7667C1575, 0x79},
		"00FF5511":           {0x6CCF, 0xB8F9, 0x32A06212, 0x9BD7996E, 0xA63822BE7E0704E6, 0xB8},
		"332255AABBCCDDEEFF": {0xAE98, 0xF53F, 0xB0AE863D, 0xA65A343D, 0x701ECEB219A8E5D5, 0xCB},
		"926B55":             {0xE24E, 0x0745, 0x9CDEA29B, 0xEE688A78, 0x5FAA96A9B59F3E4E, 0x8C},
		"FFFFFFFF":           {0x9401, 0x1D0F, 0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFF00000000, 0x74},
	} {
		data, err := hex.DecodeString(input)
		if err != nil {
			t.Fatal(err)
		}
		for i, name := range columns {
			if got := sumOf(t, name, data); got != want[i] {
				t.Errorf("%s of %s = %#x, want %#x", name, input, got, want[i])
			}
		}
	}
}

// Sums of bytes by definition; the totals are arithmetic: 477, 420, 255*256/2, 256*255.
func TestAdditiveSums(t *testing.T) {
	var rising [256]byte
	for i := range rising {
		rising[i] = byte(i)
	}
	full := slices.Repeat([]byte{0xFF}, 256)
	for _, c := range []struct {
		name        string
		data        []byte
		s8, s16, sL uint64
	}{
		{"123456789", []byte("123456789"), 0xDD, 0x1DD, 0x1DD},
		{"12345678", []byte("12345678"), 0xA4, 0x1A4, 0x1A4},
		{"00..FF", rising[:], 0x80, 0x7F80, 0x7F80},
		{"256 x FF", full, 0x00, 0xFF00, 0xFF00},
		{"1024 x FF", slices.Repeat(full, 4), 0x00, 0xFC00, 0x3FC00},
	} {
		for name, want := range map[string]uint64{"sum-8": c.s8, "sum-16": c.s16, "sum-32": c.sL} {
			if got := sumOf(t, name, c.data); got != want {
				t.Errorf("%s of %s = %#x, want %#x", name, c.name, got, want)
			}
		}
	}
}

// bitByBit is the catalogue's model written down as it is defined, one message bit at a time.
func bitByBit(p parameters, data []byte) uint64 {
	top, mask := uint64(1)<<(p.width-1), ^uint64(0)>>(64-p.width)
	r := p.init
	for _, b := range data {
		if p.refin {
			b = bits.Reverse8(b)
		}
		for i := 7; i >= 0; i-- {
			carry := r&top != 0
			if b>>i&1 == 1 {
				carry = !carry
			}
			r = r << 1 & mask
			if carry {
				r ^= p.poly
			}
		}
	}
	if p.refout {
		r = reflect(r, p.width)
	}
	return r ^ p.xorout
}

func TestTablesAgreeWithBitByBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SampledFrom(catalogue).Draw(t, "algorithm")
		data := rapid.SliceOfN(rapid.Byte(), 0, 200).Draw(t, "data")
		cut := rapid.IntRange(0, len(data)).Draw(t, "cut")
		a, _ := Lookup(p.name)
		if got, want := a.Sum(data), bitByBit(p, data); got != want {
			t.Fatalf("%s of %x = %#x, bit by bit %#x", p.name, data, got, want)
		}
		if whole, split := a.Sum(data), a.Sum(data[:cut], data[cut:]); whole != split {
			t.Fatalf("%s of %x = %#x, in two parts %#x", p.name, data, whole, split)
		}
		if got := a.Sum(data); got>>1>>(p.width-1) != 0 {
			t.Fatalf("%s gave %#x, more than %d bits", p.name, got, p.width)
		}
	})
}

// The standard library's crc64.ECMA is what the catalogue calls crc-64/xz.
func TestStandardLibraryAgrees(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(t, "data")
		for name, want := range map[string]uint64{
			"crc-64/xz":     crc64.Checksum(data, crc64.MakeTable(crc64.ECMA)),
			"crc-64/go-iso": crc64.Checksum(data, crc64.MakeTable(crc64.ISO)),
		} {
			a, _ := Lookup(name)
			if got := a.Sum(data); got != want {
				t.Fatalf("%s of %x = %#x, the standard library says %#x", name, data, got, want)
			}
		}
	})
}

func TestNames(t *testing.T) {
	names := Names()
	if !slices.IsSorted(names) || len(names) != len(catalogue)+6 {
		t.Fatalf("%d names, sorted %v; want %d", len(names), slices.IsSorted(names), len(catalogue)+6)
	}
	for _, name := range names {
		if name == Add || name == XOR || name == SHA256 {
			continue
		}
		a, ok := Lookup(name)
		if !ok || a.Width < 8 || a.Width > 64 {
			t.Errorf("%s: found %v, width %v", name, ok, a)
		}
	}
	for _, name := range []string{"", "crc-32", "CRC-32/ISO-HDLC", "crc-3/gsm", "sum-64", Add, XOR, SHA256} {
		if _, ok := Lookup(name); ok {
			t.Errorf("Lookup(%q) found something", name)
		}
	}
}

func BenchmarkCRC32(b *testing.B) {
	data := make([]byte, 1<<20)
	a, _ := Lookup("crc-32/iso-hdlc")
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		a.Sum(data)
	}
}
