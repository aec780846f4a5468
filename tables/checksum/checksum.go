// Package checksum computes the sums of the public CRC catalogue and additive sums.
package checksum

import (
	"maps"
	"slices"
)

// Algorithm computes one sum; Width is its size in bits.
type Algorithm struct {
	Name  string
	Width int
	sum   func(parts ...[]byte) uint64
}

// Sum is the sum over the concatenation of parts, in the low Width bits.
func (a *Algorithm) Sum(parts ...[]byte) uint64 { return a.sum(parts...) }

// Lookup finds an algorithm by its catalogue name in lower case ("crc-32/iso-hdlc") or "sum-8", "sum-16", "sum-32".
func Lookup(name string) (*Algorithm, bool) {
	a, ok := known[name]
	return a, ok
}

// Names lists what Lookup knows, sorted.
func Names() []string { return slices.Sorted(maps.Keys(known)) }

var known = func() map[string]*Algorithm {
	all := map[string]*Algorithm{}
	for _, p := range catalogue {
		all[p.name] = &Algorithm{Name: p.name, Width: p.width, sum: newCRC(p).sum}
	}
	for name, width := range map[string]int{"sum-8": 8, "sum-16": 16, "sum-32": 32} {
		mask := uint64(1)<<width - 1
		all[name] = &Algorithm{Name: name, Width: width, sum: func(parts ...[]byte) uint64 {
			return addBytes(parts) & mask
		}}
	}
	return all
}()

func addBytes(parts [][]byte) uint64 {
	total := uint64(0)
	for _, p := range parts {
		for _, b := range p {
			total += uint64(b)
		}
	}
	return total
}
