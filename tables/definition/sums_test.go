package definition

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/tables/image"
)

// summed is a definition of 0x1000 bytes from 0x8000 with these checksums.
func summed(t testing.TB, order, sums string) *Layout {
	t.Helper()
	lay, err := Load("sums.yaml", []byte(fmt.Sprintf(`name: sums-1
byte_order: %s
image: {start: 0x8000, size: 0x1000}
tables:
  - {id: one, quantity: duty, unit: "%%", stored: {address: 0x8F00, type: u8}}
checksums:
%s
`, order, sums)))
	if err != nil {
		t.Fatal(err)
	}
	return lay
}

// rightOf is what the one checksum of a definition stores once it was put right over these bytes.
func rightOf(t testing.TB, lay *Layout, b []byte) (*image.Image, string) {
	t.Helper()
	im, _, err := lay.Restamp(lay.Space.Whole(b), nil)
	if err != nil {
		t.Fatal(err)
	}
	stored, computed := lay.Checksums[0].In(im.Bytes)[0].Verify(im.Bytes)
	if stored != computed || len(lay.WrongSums(im)) > 0 {
		t.Errorf("put right, it holds %s, computed is %s", stored, computed)
	}
	return im, stored
}

func at(address int, data []byte) []byte {
	b := bytes.Repeat([]byte{0xFF}, 0x1000)
	copy(b[address-0x8000:], data)
	return b
}

// Sums of words as a definition says them, over the 32 bytes of the ASAM XCP standard's ADD vectors (published with
// christoph2/pyxcp).
func TestStandardSumsInADefinition(t *testing.T) {
	data, _ := hex.DecodeString("0102030405060708090a0b0c0d0e0f10f1f2f3f4f5f6f7f8f9fafbfcfdfeff00")
	for _, c := range []struct {
		word, accumulator int
		little, big       string
	}{
		{1, 1, "0x10", "0x10"}, {1, 2, "0x0f10", "0x0f10"}, {1, 4, "0x00000f10", "0x00000f10"},
		{2, 2, "0x1800", "0x0710"}, {2, 4, "0x00071800", "0x00080710"}, {4, 4, "0x140c03f8", "0xfc040b10"},
	} {
		for order, want := range map[string]string{"little": c.little, "big": c.big} {
			lay := summed(t, "big", fmt.Sprintf("  - {id: s, algorithm: sum, word: %d, accumulator: %d, byte_order: %s, over: [{start: 0x8100, end: 0x8120}], stored: {address: 0x8200, type: u%d}}",
				c.word, c.accumulator, order, 8*c.accumulator))
			if _, got := rightOf(t, lay, at(0x8100, data)); got != want {
				t.Errorf("words of %d in %d, %s: %s, want %s", c.word, c.accumulator, order, got, want)
			}
		}
	}
}

// The boot header of a TC37 (veecle/veecle-pxros): words turned round before the CRC, and its inverse behind it.
func TestPublishedBootHeader(t *testing.T) {
	header := binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint16(binary.LittleEndian.AppendUint16(nil, 0x007E), 0xB359), 0xA0000000)
	lay := summed(t, "little", `  - {id: head, algorithm: crc-32/iso-hdlc, word_reversed: 4, over: [{start: 0x8000, end: 0x8008}], stored: {address: 0x8008, type: u32}, inverse_at: {address: 0x800C, type: u32}}`)
	im, got := rightOf(t, lay, at(0x8000, header))
	if got != "0x809fe5e2, inverted 0x7f601a1d" || hex.EncodeToString(im.Bytes[8:16]) != "e2e59f801d1a607f" {
		t.Errorf("%s, bytes %x", got, im.Bytes[8:16])
	}
	im.Bytes[0xF] ^= 1
	if stored, computed := lay.Checksums[0].Verify(im.Bytes); stored == computed || !strings.HasSuffix(stored, "inverted 0x7e601a1d") {
		t.Errorf("another inverse is right: %s, %s", stored, computed)
	}
}

// Sums that make a total what it has to be: 0 by the two's complement (as the boot loader feaser/openblt keeps its
// vectors), 0xBABA as the Linux driver e1000e has it of words that hold the sum themselves.
func TestTotals(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	data := make([]byte, 0x80)
	for i := range data {
		data[i] = byte(random.Uint32())
	}
	total := func(b []byte, order binary.ByteOrder) (sum uint16) {
		for ; len(b) > 0; b = b[2:] {
			sum += order.Uint16(b)
		}
		return sum
	}
	for _, c := range []struct {
		name, order, sum string
		from, to         int // of what adds up
		want             uint16
	}{
		{"two's complement behind", "big", "complement: two, over: [{start: 0x8100, end: 0x8180}], stored: {address: 0x8180, type: u16}", 0x100, 0x182, 0},
		{"one's complement behind", "little", "complement: one, over: [{start: 0x8100, end: 0x8180}], stored: {address: 0x8180, type: u16}", 0x100, 0x182, 0xFFFF},
		{"a constant", "little", "equals: 0xBABA, over: [{start: 0x8100, end: 0x8180}], stored: {address: 0x8180, type: u16}", 0x100, 0x182, 0xBABA},
		{"a constant, the sum among the words", "little", "equals: 0xBABA, over: [{start: 0x8100, end: 0x8180}], stored: {address: 0x817E, type: u16}", 0x100, 0x180, 0xBABA},
		{"in the middle, big-endian", "big", "equals: 0xBABA, over: [{start: 0x8100, end: 0x8180}], stored: {address: 0x8140, type: u16}", 0x100, 0x180, 0xBABA},
		{"words of the other order", "big", "byte_order: little, equals: 1, over: [{start: 0x8100, end: 0x8180}], stored: {address: 0x8140, type: u16, byte_order: little}", 0x100, 0x180, 0x0100},
	} {
		lay := summed(t, c.order, "  - {id: s, algorithm: sum, word: 2, "+c.sum+"}")
		im, _ := rightOf(t, lay, at(0x8100, data))
		order := binary.ByteOrder(binary.BigEndian)
		if c.order == "little" {
			order = binary.LittleEndian
		}
		if c.name == "words of the other order" {
			order, c.want = binary.LittleEndian, 1
		}
		if got := total(im.Bytes[c.from:c.to], order); got != c.want {
			t.Errorf("%s: the words add up to %#x, want %#x", c.name, got, c.want)
		}
	}
}

// Values by definition, worked out elsewhere: SHA-256 of "abc" from FIPS 180-4, CRC-32 of 123456789 from its own
// start is the catalogue's, from 0 what the standard library's table gives.
func TestOtherSums(t *testing.T) {
	for sum, want := range map[string]string{
		"algorithm: sha-256, over: [{start: 0x8100, end: 0x8101}, {start: 0x8201, end: 0x8203}], stored: {address: 0x8300, length: 32}": "0xba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
		"algorithm: crc-32/iso-hdlc, init: 0xFFFFFFFF, over: [{start: 0x8110, end: 0x8119}], stored: {address: 0x8300, type: u32}":      "0xcbf43926",
		"algorithm: crc-32/iso-hdlc, init: 0, over: [{start: 0x8110, end: 0x8119}], stored: {address: 0x8300, type: u32}":               fmt.Sprintf("0x%08x", crc32.Update(0xFFFFFFFF, crc32.IEEETable, []byte("123456789"))),
		"algorithm: xor, word: 1, over: [{start: 0x8110, end: 0x8119}], stored: {address: 0x8300, type: u8}":                            "0x31",
		"algorithm: xor, word: 4, complement: one, over: [{start: 0x8110, end: 0x8118}], stored: {address: 0x8300, type: u32}":          "0xfbfbfbf3",
		"algorithm: sum-8, over: [{start: 0x8110, end: 0x8119}], stored: {address: 0x8300, type: u16, mask: 0x0ff0}":                    "0xdd",
		"algorithm: sum, word: 4, accumulator: 8, over: [{start: 0x8110, end: 0x8118}], stored: {address: 0x8300, type: u64}":           "0x0000000066686a6c",
	} {
		b := at(0x8100, []byte("a"))
		copy(b[0x110:], "123456789")
		copy(b[0x201:], "bc")
		lay := summed(t, "big", "  - {id: s, "+sum+"}")
		im, got := rightOf(t, lay, b)
		if got != want {
			t.Errorf("%s: %s, want %s", sum, got, want)
		}
		if strings.Contains(sum, "mask") && hex.EncodeToString(im.Bytes[0x300:0x302]) != "fddf" {
			t.Errorf("what the mask leaves out was written: %x", im.Bytes[0x300:0x302])
		}
	}
}

// A list of ranges in the image: entries of start, end and sum.
func TestListedRanges(t *testing.T) {
	lay := summed(t, "little", `  - {id: table, algorithm: sum, word: 2, accumulator: 4, blocks_at: {address: 0x8800, count: 8, entry: [start, sum, last], type: u32}}`)
	b := at(0x8100, []byte{1, 2, 3, 4, 5, 6})
	entry := func(i int, start, last uint32) {
		binary.LittleEndian.PutUint32(b[0x800+12*i:], start)
		binary.LittleEndian.PutUint32(b[0x804+12*i:], 7)
		binary.LittleEndian.PutUint32(b[0x808+12*i:], last)
	}
	for i, e := range [][2]uint32{{0x8100, 0x8105}, {0x8106, 0x8105}, {0x8200, 0x80FE}, {0x7000, 0x7001}, {0x8100, 0x9000}, {0x8100, 0x8104}, {0x8000, 0x8FFF}, {0xFFFFFFFE, 0xFFFFFFFF}} {
		entry(i, e[0], e[1])
	}
	parts := lay.Checksums[0].In(b)
	for i, want := range []string{"0x00000c09", "0x00000000", "nothing: the range ends at 0x80ff, before its start 0x8200", "nothing: 0x7000 to 0x7002 reaches outside the image",
		"nothing: 0x8100 to 0x9001 reaches outside the image", "nothing: 0x8100 to 0x8105 is no whole number of words of 2 bytes",
		"nothing: the ranges listed are together larger than the image", "nothing: 0xfffffffe to 0x100000000 reaches outside the image"} {
		if stored, computed := parts[i].Verify(b); stored != "0x00000007" || computed != want || parts[i].ID != fmt.Sprintf("table[%d]", i) {
			t.Errorf("%s: stored %s, computed %s, want %s", parts[i].ID, stored, computed, want)
		}
	}
	im := lay.Space.Whole(b)
	if _, _, err := lay.Restamp(im, nil); err == nil || !strings.Contains(err.Error(), "checksum table[2]: the range ends at 0x80ff") {
		t.Errorf("put right: %v", err)
	}
	right, done, err := lay.Restamp(im, []string{"table[0]", "table[1]"})
	if err != nil || len(done) != 2 || done[0] != (WrongSum{"table[0]", 0x8804, "0x00000007", "0x00000c09"}) {
		t.Fatalf("%v, %v", done, err)
	}
	if n := len(lay.WrongSums(right)); n != 6 {
		t.Errorf("%d are wrong still", n)
	}
	entry(0, 0x8100, 0x8105)
	binary.LittleEndian.PutUint32(b[0x804:], 0xC09)
	binary.LittleEndian.PutUint32(b[0x810:], 0)
	if !bytes.Equal(right.Bytes, b) {
		t.Error("something else was written")
	}
	if need := lay.Checksums[0].Needs(b); !slices.Equal(need, []image.Range{{Start: 0x100, End: 0x106}, {Start: 0x800, End: 0x860}}) {
		t.Errorf("needs %v", need)
	}
}

// Each sum is put right after those whose bytes it covers, whatever the order of the file; an independent
// computation says that it is right.
func TestOrderOfSums(t *testing.T) {
	seed := time.Now().UnixNano()
	random := rand.New(rand.NewPCG(uint64(seed), 0))
	for range 200 {
		// Sum k lies at 0x8F80+4k; it covers data, and the stored bytes of some sums of a hidden order before it.
		n := 2 + random.IntN(8)
		hidden, covers := random.Perm(n), make([][][2]int, n)
		var lines []string
		for _, k := range random.Perm(n) {
			covers[k] = [][2]int{{0x8000, 0x8000 + 4*(1+random.IntN(0x100))}}
			for j := range n {
				if hidden[j] < hidden[k] && random.IntN(2) == 0 {
					covers[k] = append(covers[k], [2]int{0x8F80 + 4*j, 0x8F84 + 4*j})
				}
			}
			var over []string
			for _, r := range covers[k] {
				over = append(over, fmt.Sprintf("{start: %#x, end: %#x}", r[0], r[1]))
			}
			lines = append(lines, fmt.Sprintf("  - {id: s%d, algorithm: crc-32/iso-hdlc, over: [%s], stored: {address: %#x, type: u32}}", k, strings.Join(over, ", "), 0x8F80+4*k))
		}
		lay := summed(t, "big", strings.Join(lines, "\n"))
		b := make([]byte, 0x1000)
		for i := range b {
			b[i] = byte(random.Uint32())
		}
		im, _, err := lay.Restamp(lay.Space.Whole(slices.Clone(b)), nil)
		if err != nil {
			t.Fatalf("seed %d: %v\n%s", seed, err, strings.Join(lines, "\n"))
		}
		for k := range n {
			crc := crc32.NewIEEE()
			for _, r := range covers[k] {
				crc.Write(im.Bytes[r[0]-0x8000 : r[1]-0x8000])
			}
			if got := binary.BigEndian.Uint32(im.Bytes[0xF80+4*k:]); got != crc.Sum32() {
				t.Fatalf("seed %d: s%d is %#x, and %#x is right\n%s", seed, k, got, crc.Sum32(), strings.Join(lines, "\n"))
			}
		}
		if !bytes.Equal(im.Bytes[:0xF80], b[:0xF80]) || !bytes.Equal(im.Bytes[0xF80+4*n:], b[0xF80+4*n:]) {
			t.Fatalf("seed %d: bytes other than sums were changed", seed)
		}
	}
}

func TestWhatCannotBePutRight(t *testing.T) {
	const a = "  - {id: a, algorithm: sum, word: 2, over: [{start: 0x8000, end: 0x8110}], stored: {address: 0x8200, type: u16}}\n"
	for name, c := range map[string]struct {
		sums, want string
		gap        bool
	}{
		"a circle":     {a + "  - {id: b, algorithm: crc-16/arc, over: [{start: 0x8200, end: 0x8300}], stored: {address: 0x8300, type: u16}}\n  - {id: c, algorithm: crc-16/arc, over: [{start: 0x8300, end: 0x8302}], stored: {address: 0x8100, type: u16}}", "checksums a, c, b, a: each covers where the next is stored", false},
		"itself":       {"  - {id: a, algorithm: crc-32/iso-hdlc, over: [{start: 0x8000, end: 0x8400}], stored: {address: 0x8200, type: u32}}", "checksum a covers the bytes that it is stored in", false},
		"what is lost": {a, "checksum a: the image lacks 0x8100 to 0x8104 of what it is over", true},
	} {
		lay := summed(t, "big", c.sums)
		im := lay.Space.Whole(bytes.Repeat([]byte{0x5A}, 0x1000))
		if c.gap {
			copy(im.Bytes[0x100:], "\xFF\xFF\xFF\xFF")
			im.Held = []image.Range{{Start: 0x8000, End: 0x8100}, {Start: 0x8104, End: 0x9000}}
		}
		before := slices.Clone(im.Bytes)
		if _, _, err := lay.Restamp(im, nil); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
		if !bytes.Equal(before, im.Bytes) {
			t.Errorf("%s: the image itself was changed", name)
		}
	}
	// A sum and its inverse among what is added up always give the same: no circle.
	lay := summed(t, "big", "  - {id: a, algorithm: sum, word: 1, accumulator: 2, over: [{start: 0x8000, end: 0x8104}], stored: {address: 0x8100, type: u16}, inverse_at: {address: 0x8102, type: u16}}")
	im, _ := rightOf(t, lay, bytes.Repeat([]byte{1}, 0x1000))
	if got := binary.BigEndian.Uint16(im.Bytes[0x100:]); got != 0x100+2*0xFF {
		t.Errorf("%#x", got)
	}
}

// Every byte of every kind of sum: a flipped bit is noticed, but for what belongs to nothing.
func TestAFlippedBitIsNoticed(t *testing.T) {
	lay := summed(t, "little", `  - {id: h, algorithm: sha-256, over: [{start: 0x8100, end: 0x8110}], stored: {address: 0x8200, length: 32}}
  - {id: c, algorithm: crc-32/iso-hdlc, init: 5, word_reversed: 2, over: [{start: 0x8110, end: 0x8120}], stored: {address: 0x8220, type: u32}, inverse_at: {address: 0x8224, type: u32}}
  - {id: w, algorithm: sum, word: 4, accumulator: 8, equals: 9, over: [{start: 0x8120, end: 0x8130}], stored: {address: 0x8228, type: u64}}
  - {id: x, algorithm: xor, word: 2, over: [{start: 0x8130, end: 0x8140}], stored: {address: 0x8230, type: u16}}
  - {id: l, algorithm: crc-16/arc, blocks_at: {address: 0x8232, count: 1, entry: [start, end, sum], type: u16}}`)
	b := bytes.Repeat([]byte{0xC3}, 0x1000)
	binary.LittleEndian.PutUint16(b[0x232:], 0x8140)
	binary.LittleEndian.PutUint16(b[0x234:], 0x8150)
	im, done, err := lay.Restamp(lay.Space.Whole(b), nil)
	if err != nil || len(done) != 5 {
		t.Fatalf("%v, %v", done, err)
	}
	if want := sha256.Sum256(im.Bytes[0x100:0x110]); !bytes.Equal(im.Bytes[0x200:0x220], want[:]) {
		t.Errorf("SHA-256 %x", im.Bytes[0x200:0x220])
	}
	for offset := 0x100; offset < 0x150; offset++ {
		for bit := range 8 {
			im.Bytes[offset] ^= 1 << bit
			if n := len(lay.WrongSums(im)); n != 1 {
				t.Fatalf("bit %d of %#x: %d sums are wrong", bit, offset, n)
			}
			im.Bytes[offset] ^= 1 << bit
		}
	}
	for offset := 0x200; offset < 0x238; offset++ {
		im.Bytes[offset] ^= 0x10
		if n := len(lay.WrongSums(im)); n != 1 {
			t.Fatalf("%#x: %d sums are wrong", offset, n)
		}
		im.Bytes[offset] ^= 0x10
	}
}

// A sum of words and a list of ranges that are right.
const (
	fineSum = "id: s, algorithm: sum, word: 2, accumulator: 4, complement: two, over: [{start: 0x8100, end: 0x8200}], stored: {address: 0x8200, type: u32}"
	listSum = "id: s, algorithm: sum-16, blocks_at: {address: 0x8200, count: 4, entry: [start, end, sum], type: u32}"
)

// sumRefusals are what is wrong with them, where that is told, and what is allowed.
var sumRefusals = []struct{ base, from, to, path, want string }{
	{fineSum, "word: 2", "word: 3", "word", "1, 2 or 4 bytes"},
	{fineSum, "word: 2, ", "", "word", "1, 2 or 4 bytes"},
	{fineSum, "accumulator: 4", "accumulator: 1", "accumulator", "as many as a word or more"},
	{fineSum, "accumulator: 4", "accumulator: 3", "accumulator", "1, 2, 4 or 8"},
	{fineSum, "complement: two", "complement: ten", "complement", "none, one, two"},
	{fineSum, "complement: two", "byte_order: middle", "byte_order", "big, little"},
	{fineSum, "complement: two", "complement: two, equals: 5", "equals", "equals or complement"},
	{fineSum, "complement: two", "equals: 0x100000000", "equals", "at most 0xffffffff"},
	{fineSum, "complement: two", "init: 4", "init", "init of CRCs alone"},
	{fineSum, "complement: two", "word_reversed: 4", "word_reversed", "word_reversed of CRCs alone"},
	{fineSum, "end: 0x8200}", "end: 0x81FF}", "over[0]", "a whole number of words of 2 bytes"},
	{fineSum, "type: u32", "type: u16", "stored.type", "an unsigned type of 32 bits or more"},
	{fineSum, "type: u32", "type: u32, pointer: u32", "stored.pointer", "address, type, byte_order and mask"},
	{fineSum, "type: u32", "type: u32, length: 4", "stored.length", "address, type, byte_order and mask"},
	{fineSum, "type: u32}", "type: u32}, inverse_at: {address: 0x8204, type: u64}", "inverse_at.type", "32 bits, as of what is stored"},
	{fineSum, "type: u32}", "type: u32}, inverse_at: {address: 0x8202, type: u32}", "stored", "that no table"},
	{fineSum, "sum, word: 2, accumulator: 4, complement: two", "sum-16, word: 2", "word", "word of sum and xor alone"},
	{fineSum, "sum, word: 2, accumulator: 4, complement: two", "crc-16/arc, complement: one", "complement", "of sum and xor alone"},
	{fineSum, "sum, word: 2, accumulator: 4, complement: two", "crc-16/arc, init: 0x10000", "init", "at most 0xffff"},
	{fineSum, "sum, word: 2, accumulator: 4, complement: two", "crc-16/arc, word_reversed: 3", "word_reversed", "2 or 4 bytes"},
	{fineSum, "sum, word: 2, accumulator: 4, complement: two", "xor, word: 2, equals: 4", "equals", "equals of sum alone"},
	{fineSum, "sum, word: 2, accumulator: 4, complement: two", "sha-256", "stored", "length: 32"},
	{fineSum, "sum, word: 2, accumulator: 4, complement: two", "sha-1", "algorithm", "sha-256"},
	{fineSum, "complement: two, over: [{start: 0x8100, end: 0x8200}]", "equals: 4, over: [{start: 0x8100, end: 0x8300}]", "stored", "one of the words"},
	{listSum, "count: 4", "count: 0", "blocks_at.count", "1 to 4096 entries"},
	{listSum, "count: 4", "count: 5000", "blocks_at.count", "1 to 4096 entries"},
	{listSum, "[start, end, sum]", "[start, end]", "blocks_at.entry", "once each"},
	{listSum, "[start, end, sum]", "[start, last, end, sum]", "blocks_at.entry", "once each"},
	{listSum, "[start, end, sum]", "[start, start, sum]", "blocks_at.entry", "once each"},
	{listSum, "type: u32", "type: u8", "blocks_at.type", "u16, u32"},
	{listSum, "sum-16", "sha-256", "blocks_at.type", "a sum of at most 32 bits"},
	{listSum, "sum-16", "crc-64/xz", "blocks_at.type", "a sum of at most 32 bits"},
	{listSum, "type: u32}", "type: u32}, over: [{start: 0x8100, end: 0x8200}]", "blocks_at", "no over"},
	{listSum, "address: 0x8200", "address: 0x8FF0", "blocks_at", "0x8000 to 0x9000"},
	{listSum, "address: 0x8200", "address: 0x8EF0", "blocks_at", "that no table"},
}

// sumFile is a definition with one checksum.
func sumFile(sum string) string {
	return "name: sums-1\nbyte_order: big\nimage: {start: 0x8000, size: 0x1000}\ntables:\n  - {id: one, quantity: duty, unit: \"%\", stored: {address: 0x8F00, type: u8}}\nchecksums:\n  - {" + sum + "}\n"
}

func TestRefusedSums(t *testing.T) {
	for _, c := range sumRefusals {
		text := strings.Replace(c.base, c.from, c.to, 1)
		if text == c.base {
			t.Fatalf("%q is not in %q", c.from, c.base)
		}
		_, err := Load("sums.yaml", []byte(sumFile(text)))
		if err == nil || !strings.Contains(err.Error(), "sums.yaml:7: checksums[0]."+c.path) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s:\n%v, want %s, %q", text, err, c.path, c.want)
		}
	}
}
