package checksum

import (
	"encoding/binary"
	"math/bits"
	"sync"
)

// parameters describe a CRC in the catalogue's model: init and xorout as printed there,
// poly without its top term.
type parameters struct {
	name          string
	width         int // 8 to 64
	poly, init    uint64
	refin, refout bool
	xorout        uint64
}

// crc computes one CRC eight bytes at a step. A reflected register stands in the low bits,
// a plain one in the high bits of 64, so that every width uses the same steps.
type crc struct {
	parameters
	once  sync.Once
	table [8][256]uint64 // table[k][b]: the effect of byte b, k bytes before the last one
}

// build fills the tables at first use: most programs need one or two of the algorithms.
func (c *crc) build() {
	for b := range c.table[0] {
		if c.refin {
			r, poly := uint64(b), reflect(c.poly, c.width)
			for range 8 {
				r = r>>1 ^ poly&-(r&1)
			}
			c.table[0][b] = r
			continue
		}
		r, poly := uint64(b)<<56, c.poly<<(64-c.width)
		for range 8 {
			r = r<<1 ^ poly&-(r>>63)
		}
		c.table[0][b] = r
	}
	for k := 1; k < 8; k++ {
		for b, r := range c.table[k-1] {
			if c.refin {
				c.table[k][b] = r>>8 ^ c.table[0][byte(r)]
			} else {
				c.table[k][b] = r<<8 ^ c.table[0][byte(r>>56)]
			}
		}
	}
}

func (c *crc) sum(parts ...[]byte) uint64 {
	c.once.Do(c.build)
	var r uint64
	if c.refin {
		r = reflect(c.init, c.width)
		for _, p := range parts {
			r = c.reflected(r, p)
		}
	} else {
		r = c.init << (64 - c.width)
		for _, p := range parts {
			r = c.plain(r, p)
		}
		r >>= 64 - c.width
	}
	if c.refin != c.refout {
		r = reflect(r, c.width)
	}
	return r ^ c.xorout
}

func (c *crc) reflected(r uint64, p []byte) uint64 {
	t := &c.table
	for ; len(p) >= 8; p = p[8:] {
		r ^= binary.LittleEndian.Uint64(p)
		r = t[7][byte(r)] ^ t[6][byte(r>>8)] ^ t[5][byte(r>>16)] ^ t[4][byte(r>>24)] ^
			t[3][byte(r>>32)] ^ t[2][byte(r>>40)] ^ t[1][byte(r>>48)] ^ t[0][byte(r>>56)]
	}
	for _, b := range p {
		r = r>>8 ^ t[0][byte(r)^b]
	}
	return r
}

func (c *crc) plain(r uint64, p []byte) uint64 {
	t := &c.table
	for ; len(p) >= 8; p = p[8:] {
		r ^= binary.BigEndian.Uint64(p)
		r = t[7][byte(r>>56)] ^ t[6][byte(r>>48)] ^ t[5][byte(r>>40)] ^ t[4][byte(r>>32)] ^
			t[3][byte(r>>24)] ^ t[2][byte(r>>16)] ^ t[1][byte(r>>8)] ^ t[0][byte(r)]
	}
	for _, b := range p {
		r = r<<8 ^ t[0][byte(r>>56)^b]
	}
	return r
}

// reflect turns the low width bits end for end.
func reflect(v uint64, width int) uint64 { return bits.Reverse64(v) >> (64 - width) }
