// Package image reads and writes the files that hold a controller's memory (raw binary,
// Intel HEX, Motorola S-record) as one addressed image.
package image

// Format is the kind of file an image came in.
type Format string

// The kinds of file; the empty Format asks Decode to detect by content.
const (
	Raw  Format = "raw"
	IHex Format = "ihex"
	SRec Format = "srec"
)

// Segment is contiguous bytes at an address.
type Segment struct {
	Address uint64
	Data    []byte
}

// Image is what a file holds: segments sorted by address, never touching or overlapping.
type Image struct {
	Format   Format
	Segments []Segment
	// Start is the start address that a record file states; nil if none.
	Start *Start
}

// Start is a start address record (type 03 or 05, S7 S8 S9).
type Start struct {
	Segmented bool // Intel type 03: CS in the high half
	Address   uint32
}

// Decode reads a file. name is what errors call it; origin is the address of a raw file's
// first byte. Errors name the line (records) or the offset (raw), what is wrong and what is allowed.
func Decode(name string, file []byte, format Format, origin uint64) (*Image, error) {
	panic("contract only")
}

// Detect tells the kind of file by its content.
func Detect(file []byte) Format { panic("contract only") }

// ParseFormat reads the value of --file-format.
func ParseFormat(s string) (Format, error) { panic("contract only") }

// Flat is the image over [start, start+size): bytes with gaps 0xFF, and the ranges present
// and absent as half-open pairs of addresses. Data outside is an error that names it.
func (im *Image) Flat(name string, start, size uint64) (flat []byte, present, gaps [][2]uint64, err error) {
	panic("contract only")
}

// FromFlat is an image of the given present ranges (addresses) of a flat one that begins at start.
func FromFlat(flat []byte, start uint64, present [][2]uint64) *Image { panic("contract only") }

// Encode writes the image as a kind of file. Raw fills gaps with 0xFF and begins at the first byte.
func (im *Image) Encode(format Format) ([]byte, error) { panic("contract only") }
