// Package image reads and writes the files that hold a controller's memory (raw binary,
// Intel HEX, Motorola S-record), and is the one form of an image from there to the ledger.
package image

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"sync"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// Hash is a SHA-256 in 64 lower-case hex digits.
type Hash string

// HashOf is the hash of bytes.
func HashOf(b []byte) Hash {
	sum := sha256.Sum256(b)
	return Hash(hex.EncodeToString(sum[:]))
}

// ParseHash asks that text is a hash.
func ParseHash(text string) (Hash, error) {
	b, err := hex.DecodeString(text)
	if err != nil || hex.EncodeToString(b) != text || len(b) != sha256.Size {
		return "", fmt.Errorf("%.80q is no SHA-256; allowed: 64 lower-case hex digits", text)
	}
	return Hash(text), nil
}

// Image is a controller's memory over the whole range of its definition. It is not changed once its
// hash was asked for, and then safe for concurrent use.
type Image struct {
	Format Format  // of the file that it came in
	Start  uint64  // address of the first byte
	Bytes  []byte  // what no range holds is 0xFF
	Held   []Range // addresses that the file held, as Join makes them

	once sync.Once
	hash Hash
}

// Whole is an image that holds all of its bytes.
func Whole(start uint64, b []byte) *Image {
	im := &Image{Format: Raw, Start: start, Bytes: b}
	im.Held = Join([]Range{im.all()})
	return im
}

func (im *Image) all() Range { return Range{im.Start, im.Start + uint64(len(im.Bytes))} }

// SHA256 is the hash of the bytes, computed once.
func (im *Image) SHA256() Hash {
	im.once.Do(func() { im.hash = HashOf(im.Bytes) })
	return im.hash
}

// Gaps are the addresses that the file did not hold.
func (im *Image) Gaps() []Range { return Minus([]Range{im.all()}, im.Held) }

// says is the first address in ranges of the image whose byte is not 0xFF.
func (im *Image) says(ranges []Range) (uint64, bool) {
	for _, r := range ranges {
		for at := r.Start; at < r.End; at++ {
			if im.Bytes[at-im.Start] != 0xFF {
				return at, true
			}
		}
	}
	return 0, false
}

// Holding is the image as one that holds those ranges, within it, and no others: 0xFF elsewhere, as a
// raw file must have it, says nothing, other bytes there cannot have come from where those ranges did.
func (im *Image) Holding(held []Range) (*Image, error) {
	lacks := Minus(held, im.Held)
	if len(lacks) > 0 {
		return nil, fmt.Errorf("0x%x to 0x%x are missing", lacks[0].Start, lacks[0].End)
	}
	if at, ok := im.says(Minus(im.Held, held)); ok {
		return nil, fmt.Errorf("a byte at 0x%x, where there must be none", at)
	}
	return &Image{Format: im.Format, Start: im.Start, Bytes: im.Bytes, Held: held}, nil
}

// Encode writes the image as a kind of file: raw is all of its bytes, the others what it holds. What
// was made is read back, so that what leaves is what the hash names.
func (im *Image) Encode(format Format) ([]byte, error) {
	f := &File{}
	held := im.Held
	if format == Raw {
		held = []Range{im.all()}
	}
	for _, r := range held {
		f.Segments = append(f.Segments, Segment{r.Start, im.Bytes[r.Start-im.Start : r.End-im.Start]})
	}
	out, err := f.Encode(format)
	if err != nil {
		return nil, err
	}
	back, err := Read("the file made", out, format, im.Start, uint64(len(im.Bytes)))
	if err != nil {
		return nil, err
	}
	if back.SHA256() != im.SHA256() || !slices.Equal(back.Held, held) {
		return nil, fmt.Errorf("the image cannot be kept whole in a %s file", format)
	}
	return out, nil
}

// Read decodes a file and lays it over the size bytes from start; errors are those of Decode and Over.
func Read(name string, file []byte, format Format, start, size uint64) (*Image, error) {
	f, err := Decode(name, file, format, start)
	if err != nil {
		return nil, err
	}
	return f.Over(name, start, size)
}

// Message is the image as the ledger names it.
func (im *Image) Message() *recordv1.Image {
	return &recordv1.Image{Sha256: string(im.SHA256()), Size: uint32(len(im.Bytes)), FileFormat: string(im.Format), Ranges: Messages(im.Held)}
}

// CheckMessage says what is wrong with a message by itself, in one line that names the field.
func CheckMessage(m *recordv1.Image) error {
	if _, err := ParseHash(m.GetSha256()); err != nil {
		return fmt.Errorf("sha256: %w", err)
	}
	if _, err := ParseFormat(m.GetFileFormat()); err != nil {
		return fmt.Errorf("file_format: %w", err)
	}
	held, err := FromMessages(m.GetRanges())
	if err != nil {
		return fmt.Errorf("ranges: %w", err)
	}
	if len(held) == 0 {
		return fmt.Errorf("ranges: none; an image holds at least one byte")
	}
	if span := held[len(held)-1].End - held[0].Start; span > uint64(m.GetSize()) {
		return fmt.Errorf("ranges: they span %d bytes; at most size, %d", span, m.GetSize())
	}
	return nil
}

// FromMessage is the image that a message names, of its bytes and of its definition's start. The
// error is CheckMessage's, or says where bytes, size, hash and ranges do not fit together.
func FromMessage(m *recordv1.Image, start uint64, b []byte) (*Image, error) {
	if err := CheckMessage(m); err != nil {
		return nil, err
	}
	im := &Image{Format: Format(m.GetFileFormat()), Start: start, Bytes: b}
	im.Held, _ = FromMessages(m.GetRanges())
	all := im.all()
	if n := uint64(len(b)); n != uint64(m.GetSize()) {
		return nil, fmt.Errorf("size: the image has %d bytes, not %d", n, m.GetSize())
	}
	if first, last := im.Held[0].Start, im.Held[len(im.Held)-1].End; first < all.Start || last > all.End {
		return nil, fmt.Errorf("ranges: 0x%x to 0x%x leave the image; allowed: 0x%x to 0x%x", first, last, all.Start, all.End)
	}
	if at, ok := im.says(im.Gaps()); ok {
		return nil, fmt.Errorf("ranges: 0x%x lies in no range; allowed there: 0xff", at)
	}
	if got := im.SHA256(); string(got) != m.GetSha256() {
		return nil, fmt.Errorf("sha256: the bytes have %s, not %s", got, m.GetSha256())
	}
	return im, nil
}
