package checksum

import (
	"encoding/binary"
	"math/bits"
)

// Add and XOR are the names of the sums of words.
const (
	Add = "sum"
	XOR = "xor"
)

// Words adds up words of 1, 2 or 4 bytes, or takes the XOR of them, in an accumulator of so many bytes, word or
// more. Parts are whole words.
func Words(name string, word, accumulator int, little bool) *Algorithm {
	a := &Algorithm{Name: name, Width: 8 * accumulator, sum: func(parts ...[]byte) uint64 {
		total := uint64(0)
		for _, p := range parts {
			for ; len(p) >= word; p = p[word:] {
				if w := wordOf(p, word, little); name == XOR {
					total ^= w
				} else {
					total += w
				}
			}
		}
		return total
	}}
	return a.Then(func(sum uint64) uint64 { return sum })
}

func wordOf(p []byte, word int, little bool) uint64 {
	switch word {
	case 1:
		return uint64(p[0])
	case 2:
		w := binary.BigEndian.Uint16(p)
		if little {
			w = bits.ReverseBytes16(w)
		}
		return uint64(w)
	}
	w := binary.BigEndian.Uint32(p)
	if little {
		w = bits.ReverseBytes32(w)
	}
	return uint64(w)
}
