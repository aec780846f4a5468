package image

import (
	"bytes"
	"fmt"
)

// Segment is contiguous bytes at an address.
type Segment struct {
	Address uint64
	Data    []byte
}

// End is the address after the last byte.
func (s Segment) End() uint64 { return s.Address + uint64(len(s.Data)) }

// File is what an image file holds: segments sorted by address, never touching or overlapping.
type File struct {
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
func Decode(name string, file []byte, format Format, origin uint64) (*File, error) {
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

func decodeRaw(name string, file []byte, origin uint64) (*File, error) {
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
	return &File{Format: Raw, Segments: []Segment{{Address: origin, Data: append([]byte(nil), file...)}}}, nil
}

// Over is the file's image over a space. Data outside is an error that names it, and a raw file of another
// size than the space's is one, since it is all regions one after another; name is what errors call the file.
func (f *File) Over(name string, space Space) (*Image, error) {
	if f.Format == Raw {
		return f.rawOver(name, space)
	}
	flat := bytes.Repeat([]byte{0xFF}, int(space.Size()))
	for _, s := range f.Segments {
		at, inside := space.Within(Range{s.Address, s.End()})
		if !inside {
			return nil, f.outside(name, s, space)
		}
		copy(flat[at.Start:], s.Data)
	}
	return &Image{Format: f.Format, Space: space, Bytes: flat, Held: f.Held()}, nil
}

func (f *File) rawOver(name string, space Space) (*Image, error) {
	s := f.Segments[0]
	if n := uint64(len(s.Data)); n != space.Size() {
		return nil, fmt.Errorf("%s: %d bytes; allowed: %d, the size of the definition's image", name, n, space.Size())
	}
	if s.Address != space.Address(0) {
		return nil, f.outside(name, s, space)
	}
	return space.Whole(s.Data), nil
}

// Held are the addresses that the file holds.
func (f *File) Held() []Range {
	var held []Range
	for _, s := range f.Segments {
		held = append(held, Range{s.Address, s.End()})
	}
	return held
}

// outside says which bytes of a segment leave the space: for a raw file by offset, for records
// by the first line that does so.
func (f *File) outside(name string, s Segment, space Space) error {
	out := Minus([]Range{{s.Address, s.End()}}, space)[0]
	place := ""
	if f.Format == Raw {
		place = fmt.Sprintf("offset 0x%x: ", out.Start-s.Address)
	}
	for _, r := range f.records {
		if r.address < out.End && r.end > out.Start {
			place = fmt.Sprintf("line %d: ", r.line)
			break
		}
	}
	return fmt.Errorf("%s: %sdata at 0x%x to 0x%x lies outside the definition's image, %v (ends exclusive)",
		name, place, out.Start, out.End, space)
}

// maxRaw bounds a raw file: two record lines can span 4 GiB, and nobody means to write that.
const maxRaw = uint64(1) << 28

// Encode writes what the file holds as a kind of file. Raw fills gaps with 0xFF and begins at the first byte.
func (f *File) Encode(format Format) ([]byte, error) {
	if err := f.valid(); err != nil {
		return nil, err
	}
	switch format {
	case Raw:
		return f.encodeRaw()
	case IHex:
		return f.encodeIHex(), nil
	case SRec:
		return f.encodeSRec(), nil
	}
	return nil, fmt.Errorf("unknown file format %q; allowed: raw, ihex, srec", string(format))
}

// valid checks what the type promises, since images are also made by hand.
func (f *File) valid() error {
	if len(f.Segments) == 0 {
		return fmt.Errorf("the image holds no bytes; nothing to write")
	}
	last := uint64(0)
	for i, s := range f.Segments {
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

func (f *File) encodeRaw() ([]byte, error) {
	first, end := f.Segments[0].Address, f.Segments[len(f.Segments)-1].End()
	if end-first > maxRaw {
		return nil, fmt.Errorf("the image spans 0x%x to 0x%x: a raw file of %d bytes; at most %d are written, write ihex or srec instead",
			first, end, end-first, maxRaw)
	}
	flat := bytes.Repeat([]byte{0xFF}, int(end-first))
	for _, s := range f.Segments {
		copy(flat[s.Address-first:], s.Data)
	}
	return flat, nil
}
