// Package image reads and writes the files that hold a controller's memory (raw binary,
// Intel HEX, Motorola S-record) as one addressed image.
package image

import (
	"fmt"
	"sort"
)

// Segment is contiguous bytes at an address.
type Segment struct {
	Address uint64
	Data    []byte
}

// End is the address after the last byte.
func (s Segment) End() uint64 { return s.Address + uint64(len(s.Data)) }

// Image is what a file holds: segments sorted by address, never touching or overlapping.
type Image struct {
	Format   Format
	Segments []Segment
	// Start is the start address that a record file states; nil if none.
	Start *Start

	// records are where the data of a record file stood, by address; so that what is wrong
	// with an address can be said by line.
	records []record
}

// record is where one record's data goes, and its line.
type record struct {
	address, end uint64
	line         int
}

// Start is a start address record (type 03 or 05, S7 S8 S9).
type Start struct {
	Segmented bool // Intel type 03: CS in the high half of Address, IP in the low half
	Address   uint32
}

// Linear is the address that the start means in one flat address space.
func (s Start) Linear() uint32 {
	if s.Segmented {
		return s.Address>>16<<4 + s.Address&0xFFFF
	}
	return s.Address
}

// addressSpace is one past the last address that a record file can state.
const addressSpace = uint64(1) << 32

// Decode reads a file. name is what errors call it; origin is the address of a raw file's
// first byte. Errors name the line (records) or the offset (raw), what is wrong and what is allowed.
func Decode(name string, file []byte, format Format, origin uint64) (*Image, error) {
	if format == "" {
		format = Detect(file)
	}
	switch format {
	case IHex:
		return decodeIHex(name, file)
	case SRec:
		return decodeSRec(name, file)
	case Raw:
		return decodeRaw(name, file, origin)
	}
	return nil, fmt.Errorf("%s: unknown file format %q; allowed: raw, ihex, srec", name, string(format))
}

func decodeRaw(name string, file []byte, origin uint64) (*Image, error) {
	if len(file) == 0 {
		return nil, fmt.Errorf("%s: the file is empty; a raw image holds at least one byte", name)
	}
	if origin > addressSpace || uint64(len(file)) > addressSpace-origin {
		fits := uint64(0)
		if origin < addressSpace {
			fits = addressSpace - origin
		}
		return nil, fmt.Errorf("%s: offset 0x%x: bytes from here on lie past the last address 0xffffffff when the first byte is at 0x%x",
			name, fits, origin)
	}
	return &Image{Format: Raw, Segments: []Segment{{Address: origin, Data: append([]byte(nil), file...)}}}, nil
}

// Flat is the image over [start, start+size): bytes with gaps 0xFF, and the ranges present
// and absent as half-open pairs of addresses. Data outside is an error that names it.
func (im *Image) Flat(name string, start, size uint64) (flat []byte, present, gaps [][2]uint64, err error) {
	end := start + size
	for _, s := range im.Segments {
		if s.Address < start || s.End() > end {
			return nil, nil, nil, im.outside(name, s, start, end)
		}
	}
	flat = make([]byte, size)
	at := start
	fill := func(to uint64) {
		if to == at {
			return
		}
		gaps = append(gaps, [2]uint64{at, to})
		for i := at - start; i < to-start; i++ {
			flat[i] = 0xFF
		}
	}
	for _, s := range im.Segments {
		fill(s.Address)
		copy(flat[s.Address-start:], s.Data)
		present = append(present, [2]uint64{s.Address, s.End()})
		at = s.End()
	}
	fill(end)
	return flat, present, gaps, nil
}

// outside says which bytes of a segment leave the range: for a raw file by offset, for records
// by the first line that does so.
func (im *Image) outside(name string, s Segment, start, end uint64) error {
	from, to := s.Address, s.End()
	if from < start {
		to = min(to, start)
	} else {
		from = max(from, end)
	}
	place := ""
	if im.Format == Raw {
		place = fmt.Sprintf("offset 0x%x: ", from-s.Address)
	}
	for _, r := range im.records {
		if r.address < to && r.end > from {
			place = fmt.Sprintf("line %d: ", r.line)
			break
		}
	}
	return fmt.Errorf("%s: %sdata at 0x%x to 0x%x lies outside the definition's image, 0x%x to 0x%x (ends exclusive)",
		name, place, from, to, start, end)
}

// FromFlat is an image of the given present ranges (addresses) of a flat one that begins at
// start. The segments share flat's memory; parts of ranges that flat does not reach are left out.
func FromFlat(flat []byte, start uint64, present [][2]uint64) *Image {
	end := start + uint64(len(flat))
	var clipped [][2]uint64
	for _, r := range present {
		from, to := max(r[0], start), min(r[1], end)
		if from < to {
			clipped = append(clipped, [2]uint64{from, to})
		}
	}
	sort.Slice(clipped, func(i, j int) bool { return clipped[i][0] < clipped[j][0] })
	im := &Image{Format: Raw}
	for i := 0; i < len(clipped); {
		from, to := clipped[i][0], clipped[i][1]
		for i++; i < len(clipped) && clipped[i][0] <= to; i++ {
			to = max(to, clipped[i][1])
		}
		im.Segments = append(im.Segments, Segment{Address: from, Data: flat[from-start : to-start : to-start]})
	}
	return im
}

// maxRaw bounds a raw file: two record lines can span 4 GiB, and nobody means to write that.
const maxRaw = uint64(1) << 28

// Encode writes the image as a kind of file. Raw fills gaps with 0xFF and begins at the first byte.
func (im *Image) Encode(format Format) ([]byte, error) {
	if err := im.valid(); err != nil {
		return nil, err
	}
	switch format {
	case Raw:
		return im.encodeRaw()
	case IHex:
		return im.encodeIHex(), nil
	case SRec:
		return im.encodeSRec(), nil
	}
	return nil, fmt.Errorf("unknown file format %q; allowed: raw, ihex, srec", string(format))
}

// valid checks what the type promises, since images are also made by hand.
func (im *Image) valid() error {
	if len(im.Segments) == 0 {
		return fmt.Errorf("the image holds no bytes; nothing to write")
	}
	last := uint64(0)
	for i, s := range im.Segments {
		switch {
		case len(s.Data) == 0:
			return fmt.Errorf("segment %d at 0x%x is empty", i, s.Address)
		case i > 0 && s.Address <= last:
			return fmt.Errorf("segment %d at 0x%x touches or overlaps the one before it, which ends at 0x%x", i, s.Address, last)
		case s.Address >= addressSpace || s.End() > addressSpace:
			return fmt.Errorf("segment %d at 0x%x reaches past 0xffffffff, the last address that a file can state", i, s.Address)
		}
		last = s.End()
	}
	return nil
}

func (im *Image) encodeRaw() ([]byte, error) {
	first, end := im.Segments[0].Address, im.Segments[len(im.Segments)-1].End()
	if end-first > maxRaw {
		return nil, fmt.Errorf("the image spans 0x%x to 0x%x: a raw file of %d bytes; at most %d are written, write ihex or srec instead",
			first, end, end-first, maxRaw)
	}
	flat, _, _, err := im.Flat("image", first, end-first)
	return flat, err
}
