package store

import (
	"bytes"
	"encoding/binary"
)

// odds are how likely each bit of a byte is a one, after the byte before it and its own bits so far, by what
// came in such places before: the arithmetic coding of columns too short for zstd's tables of codes, and of
// bytes that follow each other oftener than they repeat.
type odds struct {
	chance [1 << 16]int16 // above one half, in 65536ths
	met    [1 << 16]uint8 // how often, up to memory
}

const (
	memory = 40 // so that what comes later counts for more
	even   = 1 << 15
)

// interval is what the bits so far have left of all numbers, as its first and last of 32 bits; what both
// begin with is settled, and coded.
type interval struct{ first, last uint32 }

// bit narrows the interval to a bit's part of it: of a one the lower. No chance comes nearer to either end than
// 41: there it would move by less than one.
func (o *odds) bit(in *interval, at int, middle uint32, one bool) {
	chance, n := even+int32(o.chance[at]), 2*int32(o.met[at])+3
	if one {
		in.last = middle
		chance += (2*even - chance) * 2 / n
	} else {
		in.first = middle + 1
		chance -= chance * 2 / n
	}
	o.chance[at] = int16(chance - even)
	o.met[at] = min(o.met[at]+1, memory)
}

// middle is where an interval is parted.
func (o *odds) middle(in interval, at int) uint32 {
	return in.first + uint32(uint64(in.last-in.first)*uint64(even+int32(o.chance[at]))>>16)
}

// settled says whether both ends begin with the same byte.
func (in *interval) settled() bool { return (in.first^in.last)>>24 == 0 }

func (in *interval) shift() { in.first, in.last = in.first<<8, in.last<<8|0xFF }

// squeeze codes bytes.
func squeeze(data []byte) (out []byte) {
	o, in, before := &odds{}, interval{0, 1<<32 - 1}, 0
	for _, b := range data {
		for n, bits := 7, 1; n >= 0; n-- {
			one := b>>n&1 == 1
			o.bit(&in, before|bits, o.middle(in, before|bits), one)
			for bits = bits<<1 | int(b>>n&1); in.settled(); in.shift() {
				out = append(out, byte(in.first>>24))
			}
		}
		before = int(b) << 8
	}
	return append(out, in.end()...)
}

// end is what is coded last: with zeros behind it, which stretch reads there, it lies in the interval.
func (in *interval) end() []byte {
	if in.first == 0 {
		return nil
	}
	return []byte{byte(in.first>>24) + 1}
}

// stretch gives back size bytes that were squeezed; false where squeezed is anything else.
func stretch(squeezed []byte, size int) (out []byte, ok bool) {
	out = make([]byte, size)
	o, in, before := &odds{}, interval{0, 1<<32 - 1}, 0
	taken := 0
	next := func() (b uint32) {
		if taken < len(squeezed) {
			b = uint32(squeezed[taken])
		}
		taken++
		return b
	}
	code := binary.BigEndian.Uint32([]byte{byte(next()), byte(next()), byte(next()), byte(next())})
	for i := range out {
		bits := 1
		for bits < 256 {
			at := before | bits
			middle := o.middle(in, at)
			one := code <= middle
			o.bit(&in, at, middle, one)
			if bits <<= 1; one {
				bits |= 1
			}
			for ; in.settled(); in.shift() {
				code = code<<8 | next()
			}
		}
		out[i] = byte(bits)
		before = bits & 0xFF << 8
	}
	settled := taken - 4
	return out, settled <= len(squeezed) && bytes.Equal(squeezed[settled:], in.end())
}
