package imported

import (
	"fmt"
	"math"
	"math/bits"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/a2l"
)

// dataType is a type of the standard, in our words. border is the kind that alignments are said of.
type dataType struct {
	name          string
	size          uint64
	signed, float bool
	border        string
}

var dataTypes = map[string]dataType{
	"UBYTE": {"u8", 1, false, false, "BYTE"}, "SBYTE": {"s8", 1, true, false, "BYTE"},
	"UWORD": {"u16", 2, false, false, "WORD"}, "SWORD": {"s16", 2, true, false, "WORD"},
	"ULONG": {"u32", 4, false, false, "LONG"}, "SLONG": {"s32", 4, true, false, "LONG"},
	"A_UINT64": {"u64", 8, false, false, "INT64"}, "A_INT64": {"s64", 8, true, false, "INT64"},
	"FLOAT16_IEEE": {"", 2, true, true, "FLOAT16_IEEE"}, "FLOAT32_IEEE": {"f32", 4, true, true, "FLOAT32_IEEE"}, "FLOAT64_IEEE": {"f64", 8, true, true, "FLOAT64_IEEE"},
	"BYTE": {"u8", 1, false, false, "BYTE"}, "WORD": {"u16", 2, false, false, "WORD"}, "LONG": {"u32", 4, false, false, "LONG"},
}

// pointers are what stands in a record in place of values.
var pointers = map[string]dataType{
	"PBYTE": {"", 1, false, false, "BYTE"}, "PWORD": {"u16", 2, false, false, "WORD"}, "PLONG": {"u32", 4, false, false, "LONG"}, "PLONGLONG": {"", 8, false, false, "INT64"},
}

// raw is how a raw value is read, for what depends on it.
type raw struct {
	float     bool
	low, high float64 // that it can hold
}

// byteOrder is big or little, empty of single bytes. What a description does not say beyond doubt is asked for.
func (im *importer) byteOrder(at a2l.Place, said string, size uint64) (string, error) {
	if said == "" {
		said = im.m.ByteOrder
	}
	switch {
	case said == "MSB_FIRST":
		return "big", nil
	case said == "MSB_LAST":
		return "little", nil
	case im.o.ByteOrder != "":
		return im.o.ByteOrder, nil
	case size == 1:
		return "big", nil // it does not matter
	}
	what := fmt.Sprintf("BYTE_ORDER %.40s is read both ways", said)
	if said == "" {
		what = "no BYTE_ORDER is said"
	}
	err := fmt.Errorf("%s:%d: %s; allowed: MSB_FIRST or MSB_LAST, or --byte-order big or little", at.File, at.Line, what)
	if im.unsure == nil {
		im.unsure = err
	}
	return "", err
}

// stored says how values of a type lie from an address on; addressing is DIRECT, or a pointer that stands there.
func (im *importer) stored(at a2l.Place, address uint64, typ, addressing, order string) (*calibrationv1.Stored, error) {
	t := dataTypes[typ]
	if t.name == "" {
		return nil, fmt.Errorf("type %s is not read; allowed: integers, and floats of 4 and 8 bytes", typ)
	}
	if address > math.MaxUint32 {
		return nil, fmt.Errorf("it reaches beyond the address 0xffffffff")
	}
	s := &calibrationv1.Stored{Address: uint32(address), Type: t.name}
	size := t.size
	if addressing != "DIRECT" {
		p := pointers[addressing]
		if s.Pointer = p.name; p.name == "" {
			return nil, fmt.Errorf("it lies where a pointer %s leads; allowed: DIRECT, PWORD, PLONG", addressing)
		}
		size = max(size, p.size)
	}
	said, err := im.byteOrder(at, order, size)
	if err != nil {
		return nil, err
	}
	if said != im.order && size > 1 {
		s.ByteOrder = said
	}
	return s, nil
}

// mask takes bits out of a word: shifted down, without a sign.
func mask(s *calibrationv1.Stored, typ string, m *uint64) error {
	t := dataTypes[typ]
	all := ^uint64(0) >> (64 - 8*t.size)
	if m == nil || *m&all == all {
		return nil
	}
	within := *m & all
	run := within >> (bits.TrailingZeros64(within) & 63)
	switch {
	case t.float:
		return fmt.Errorf("BIT_MASK 0x%x of a float", *m)
	case within == 0 || run&(run+1) != 0:
		return fmt.Errorf("BIT_MASK 0x%x is not one unbroken run of bits of the %d bytes", *m, t.size)
	}
	s.Type = [9]string{1: "u8", 2: "u16", 4: "u32", 8: "u64"}[t.size]
	s.Mask = &within
	return nil
}

// rawOf is what a stored word can hold.
func rawOf(s *calibrationv1.Stored, typ string) raw {
	t := dataTypes[typ]
	switch {
	case t.float && t.size == 4:
		return raw{true, -math.MaxFloat32, math.MaxFloat32}
	case t.float:
		return raw{true, -math.MaxFloat64, math.MaxFloat64}
	case s.Mask != nil:
		return raw{false, 0, math.Ldexp(1, bits.OnesCount64(*s.Mask)) - 1}
	case t.signed:
		half := math.Ldexp(1, int(8*t.size)-1)
		return raw{false, -half, half - 1}
	}
	return raw{false, 0, math.Ldexp(1, int(8*t.size)) - 1}
}
