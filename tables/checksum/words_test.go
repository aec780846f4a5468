package checksum

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

// Sums of words over the 32 bytes 01 … 10 F1 … FF 00, by the bytes of a word and of the accumulator: the ADD_11 to
// ADD_44 checksum types of the ASAM XCP standard, whose vectors christoph2/pyxcp publishes.
func TestStandardSumsOfWords(t *testing.T) {
	var data []byte
	for i := range 16 {
		data = append(data, byte(i+1))
	}
	for i := range 16 {
		data = append(data, byte(0xF1+i))
	}
	for _, c := range []struct {
		word, accumulator int
		little, big       uint64
	}{
		{1, 1, 0x10, 0x10}, {1, 2, 0x0F10, 0x0F10}, {1, 4, 0x0F10, 0x0F10},
		{2, 2, 0x1800, 0x0710}, {2, 4, 0x71800, 0x80710}, {4, 4, 0x140C03F8, 0xFC040B10},
	} {
		for little, want := range map[bool]uint64{true: c.little, false: c.big} {
			if got := Words(Add, c.word, c.accumulator, little).Sum(data); got != want {
				t.Errorf("words of %d in %d, little-endian %v: %#x, want %#x", c.word, c.accumulator, little, got, want)
			}
		}
	}
}

// By definition; the totals were worked out elsewhere, in Python.
func TestSumsOfWordsByDefinition(t *testing.T) {
	eight, rising := []byte("12345678"), make([]byte, 256)
	for i := range rising {
		rising[i] = byte(i)
	}
	for i, c := range []struct {
		a    *Algorithm
		data []byte
		want uint64
	}{
		{Words(Add, 2, 2, false), eight, 0xD0D4}, {Words(Add, 2, 2, true), eight, 0xD4D0},
		{Words(Add, 4, 4, false), eight, 0x66686A6C}, {Words(Add, 4, 4, true), eight, 0x6C6A6866},
		{Words(Add, 2, 4, false), rising, 0x3FC000}, {Words(Add, 2, 4, true), rising, 0x403F80},
		{Words(Add, 4, 4, false), rising, 0x9FE02040}, {Words(Add, 4, 4, true), rising, 0x601FDF80},
		{Words(Add, 4, 8, false), rising, 0x1F9FE02040}, // 64 words: the carries are kept
		{Words(XOR, 1, 1, false), []byte("123456789"), 0x31}, {Words(XOR, 1, 1, false), eight, 0x08},
		{Words(XOR, 2, 2, false), eight, 0x0008}, // 31^33^35^37 = 00, 32^34^36^38 = 08
		{Words(XOR, 2, 2, true), eight, 0x0800},
		{Words(XOR, 4, 4, false), eight, 0x0404040C},
		{Words(Add, 2, 2, false).Then(func(s uint64) uint64 { return -s }), eight, 0x2F2C},
		{Words(Add, 2, 2, true).Then(func(s uint64) uint64 { return ^s }), eight, 0x2B2F},
	} {
		if got := c.a.Sum(c.data); got != c.want {
			t.Errorf("row %d: %#x, want %#x", i, got, c.want)
		}
	}
}

// The boot header of a TC37 in veecle/veecle-pxros: each word's bytes turned round, then CRC-32.
func TestReversedWords(t *testing.T) {
	var data []byte
	data = binary.LittleEndian.AppendUint16(data, 0x007E)
	data = binary.LittleEndian.AppendUint16(data, 0xB359)
	data = binary.LittleEndian.AppendUint32(data, 0xA0000000)
	a, _ := Lookup("crc-32/iso-hdlc")
	if got := a.Reversed(4).Sum(data[:4], data[4:]); got != 0x809FE5E2 {
		t.Errorf("%#x", got)
	}
	if hex.EncodeToString(data) != "7e0059b3000000a0" {
		t.Errorf("the bytes themselves were turned round: %x", data)
	}
}

// SHA-256 of "abc", from FIPS 180-4's examples.
func TestHash(t *testing.T) {
	if got := fmt.Sprintf("%x", Hash([]byte("a"), nil, []byte("bc"))); got != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Error(got)
	}
}

// TestStartValues: from the catalogue's own value it is the catalogue's sum, and starting from another one is
// what the model says, bit by bit.
func TestStartValues(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SampledFrom(catalogue).Draw(t, "algorithm")
		data := rapid.SliceOfN(rapid.Byte(), 0, 60).Draw(t, "data")
		a, _ := Lookup(p.name)
		if got := a.From(p.init).Sum(data); !a.CRC() || got != a.Sum(data) {
			t.Fatalf("%s from its own value: %#x", p.name, got)
		}
		p.init = rapid.Uint64().Draw(t, "init") >> (64 - p.width)
		if got, want := a.From(p.init).Sum(data), bitByBit(p, data); got != want {
			t.Fatalf("%s from %#x: %#x, bit by bit %#x", p.name, p.init, got, want)
		}
	})
}
