package image

import (
	"fmt"
	"strings"
)

// Space is the addresses that an image is of: regions that ascend and do not touch. The image's bytes are its
// regions' one after another, and offsets count through them.
type Space []Range

// Size is in bytes.
func (s Space) Size() uint64 {
	n := uint64(0)
	for _, r := range s {
		n += r.End - r.Start
	}
	return n
}

// Offset is where the byte at an address lies in the image.
func (s Space) Offset(address uint64) (offset uint64, inside bool) {
	for _, r := range s {
		if r.Start <= address && address < r.End {
			return offset + address - r.Start, true
		}
		offset += r.End - r.Start
	}
	return 0, false
}

// Address is that of an offset; behind the image's end it goes on from the last region.
func (s Space) Address(offset uint64) uint64 {
	for i, r := range s {
		if n := r.End - r.Start; offset >= n && i < len(s)-1 {
			offset -= n
			continue
		}
		return r.Start + offset
	}
	return offset
}

// Offsets are those of ranges of addresses, without what lies outside; in pieces where a region ends.
func (s Space) Offsets(addresses []Range) []Range {
	return s.across(addresses, func(region Range, before uint64) (Range, uint64) { return region, before })
}

// Addresses are those of ranges of offsets, without what lies outside; in pieces where a region ends.
func (s Space) Addresses(offsets []Range) []Range {
	return s.across(offsets, func(region Range, before uint64) (Range, uint64) {
		return Range{before, before + region.End - region.Start}, region.Start
	})
}

// across cuts ranges at regions and counts them from elsewhere: side says where a region lies on the
// one side, and where it begins on the other. Answers come region by region.
func (s Space) across(ranges []Range, side func(region Range, before uint64) (Range, uint64)) []Range {
	var out []Range
	before := uint64(0)
	for _, region := range s {
		from, to := side(region, before)
		for _, r := range ranges {
			if cut := (Range{max(r.Start, from.Start), min(r.End, from.End)}); cut.Start < cut.End {
				out = append(out, Range{cut.Start - from.Start + to, cut.End - from.Start + to})
			}
		}
		before += region.End - region.Start
	}
	return out
}

// Within is where a range of addresses lies in the image; false where a byte of it lies outside, or it reaches across
// a region's end.
func (s Space) Within(r Range) (offsets Range, inside bool) {
	before := uint64(0)
	for _, region := range s {
		if region.Start <= r.Start && r.Start < region.End {
			at := before + r.Start - region.Start
			return Range{at, at + r.End - r.Start}, r.Start <= r.End && r.End <= region.End
		}
		before += region.End - region.Start
	}
	return Range{}, false
}

// String prints the addresses for an error, the ends exclusive; of many regions the first.
func (s Space) String() string {
	const most = 8
	var words []string
	for _, r := range s[:min(len(s), most)] {
		words = append(words, fmt.Sprintf("0x%x to 0x%x", r.Start, r.End))
	}
	out := strings.Join(words, ", ")
	if len(s) > most {
		out += fmt.Sprintf(" and %d more", len(s)-most)
	}
	return out
}

// Whole is an image of these bytes that holds all of them.
func (s Space) Whole(b []byte) *Image {
	return &Image{Format: Raw, Space: s, Bytes: b, Held: Join(s)}
}
