// Package checksum computes the sums of the public CRC catalogue and additive sums.
package checksum

// Algorithm computes one sum; Width is its size in bits.
type Algorithm struct {
	Name  string
	Width int
	sum   func(parts ...[]byte) uint64
}

// Lookup finds an algorithm by its catalogue name in lower case ("crc-32/iso-hdlc") or "sum-8", "sum-16", "sum-32".
func Lookup(name string) (*Algorithm, bool) { panic("contract only") }

// Names lists what Lookup knows, sorted.
func Names() []string { panic("contract only") }

// Sum is the sum over the concatenation of parts.
func (a *Algorithm) Sum(parts ...[]byte) uint64 { return a.sum(parts...) }
