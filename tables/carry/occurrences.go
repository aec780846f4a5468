package carry

import (
	"bytes"
	"encoding/binary"
)

// Some bounds. A window of so many different bytes is by no chance elsewhere.
const (
	telling   = 8   // different bytes
	longest   = 512 // bytes of a window that has to have them
	alternate = 64  // patterns of one key, and places of one pattern, that are looked at
)

// distinct counts the different bytes, of so many as are looked at around a part.
func distinct(b []byte) int {
	var seen [256]bool
	n := 0
	for _, v := range b[:min(len(b), around)] {
		if !seen[v] {
			seen[v] = true
			n++
		}
	}
	return n
}

// keyed is a pattern by eight of its bytes, which begin at skip.
type keyed struct{ pattern, skip int }

// occurrences is where each pattern, of eight bytes or more, begins in b: as many places as most, and one more
// where there are more still.
func occurrences(patterns [][]byte, b []byte, most int) [][]int {
	byKey := map[uint64][]keyed{}
	var sieve [1 << 16]uint64 // of bits, by the keys' hashes: most places of an image are no key
	hash := func(key uint64) uint64 { return key * 0x9E3779B97F4A7C15 >> 42 }
	for i, p := range patterns {
		skip := keyOf(p)
		key := binary.BigEndian.Uint64(p[skip:])
		if len(byKey[key]) < alternate {
			byKey[key] = append(byKey[key], keyed{i, skip})
		}
		h := hash(key)
		sieve[h>>6] |= 1 << (h & 63)
	}
	out := make([][]int, len(patterns))
	for at := 0; at+8 <= len(b); at++ {
		key := binary.BigEndian.Uint64(b[at:])
		if h := hash(key); sieve[h>>6]&(1<<(h&63)) == 0 {
			continue
		}
		for _, k := range byKey[key] {
			p, start := patterns[k.pattern], at-k.skip
			if len(out[k.pattern]) <= most && start >= 0 && bytes.HasPrefix(b[start:], p) {
				out[k.pattern] = append(out[k.pattern], start)
			}
		}
	}
	return out
}

// keyOf is where the eight bytes begin of which the most are different.
func keyOf(p []byte) int {
	best, most := 0, 0
	for i := 0; i+8 <= len(p) && most < 8; i++ {
		if n := distinct(p[i : i+8]); n > most {
			best, most = i, n
		}
	}
	return best
}
