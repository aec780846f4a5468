// Package checksum computes the sums of the public CRC catalogue, sums of bytes and of words, and SHA-256.
package checksum

import (
	"crypto/sha256"
	"hash/crc32"
	"maps"
	"slices"
)

// SHA256 is the one name of a sum that is longer than 64 bits: no Algorithm, but Hash.
const SHA256 = "sha-256"

// Algorithm computes one sum; Width is its size in bits. Those that its methods make keep its name.
type Algorithm struct {
	Name  string
	Width int
	sum   func(parts ...[]byte) uint64
	crc   *crc // nil if it is none
}

// Sum is the sum over the concatenation of parts, in the low Width bits.
func (a *Algorithm) Sum(parts ...[]byte) uint64 { return a.sum(parts...) }

// CRC says whether the algorithm is one of the catalogue.
func (a *Algorithm) CRC() bool { return a.crc != nil }

// From is a CRC that starts from init, in the catalogue's form, in place of the catalogue's value.
func (a *Algorithm) From(init uint64) *Algorithm {
	p := a.crc.parameters
	p.init = init
	return &Algorithm{a.Name, a.Width, (&crc{parameters: p}).sum, a.crc}
}

// Then is the algorithm with something done to its result, of which Width bits stay.
func (a *Algorithm) Then(do func(sum uint64) uint64) *Algorithm {
	mask := ^uint64(0) >> (64 - a.Width)
	return &Algorithm{a.Name, a.Width, func(parts ...[]byte) uint64 { return do(a.sum(parts...)) & mask }, a.crc}
}

// Reversed is the algorithm over words of so many bytes, each turned round first. Parts are whole words.
func (a *Algorithm) Reversed(word int) *Algorithm {
	return &Algorithm{a.Name, a.Width, func(parts ...[]byte) uint64 {
		turned := make([][]byte, len(parts))
		for i, p := range parts {
			turned[i] = slices.Clone(p)
			for w := range slices.Chunk(turned[i], word) {
				slices.Reverse(w)
			}
		}
		return a.sum(turned...)
	}, a.crc}
}

// Hash is the SHA-256 over the concatenation of parts.
func Hash(parts ...[]byte) []byte {
	h := sha256.New()
	for _, p := range parts {
		h.Write(p)
	}
	return h.Sum(nil)
}

// Lookup finds an algorithm by its catalogue name in lower case ("crc-32/iso-hdlc") or "sum-8", "sum-16", "sum-32".
func Lookup(name string) (*Algorithm, bool) {
	a, ok := known[name]
	return a, ok
}

// Names lists what a definition may name, sorted: what Lookup knows, the sums of words and SHA-256.
func Names() []string {
	names := append(slices.Collect(maps.Keys(known)), SHA256, Add, XOR)
	slices.Sort(names)
	return names
}

var known = func() map[string]*Algorithm {
	all := map[string]*Algorithm{}
	for _, p := range catalogue {
		c := &crc{parameters: p}
		all[p.name] = &Algorithm{p.name, p.width, c.sum, c}
	}
	// These two the processor computes by itself, many times faster than by tables.
	for name, table := range map[string]*crc32.Table{"crc-32/iso-hdlc": crc32.IEEETable, "crc-32/iscsi": crc32.MakeTable(crc32.Castagnoli)} {
		all[name].sum = func(parts ...[]byte) uint64 {
			r := uint32(0)
			for _, p := range parts {
				r = crc32.Update(r, table, p)
			}
			return uint64(r)
		}
	}
	for name, width := range map[string]int{"sum-8": 8, "sum-16": 16, "sum-32": 32} {
		bytes := Words(Add, 1, 8, false).sum
		all[name] = (&Algorithm{Name: name, Width: width, sum: bytes}).Then(func(sum uint64) uint64 { return sum })
	}
	return all
}()
