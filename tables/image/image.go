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

// Image is a controller's memory over all regions of its definition. It is not changed once its
// hash, or anything else that is known of it, was asked for, and then safe for concurrent use.
type Image struct {
	Format Format  // of the file that it came in
	Space  Space   // the addresses of its bytes
	Bytes  []byte  // region after region; what no range holds is 0xFF
	Held   []Range // addresses that the file held, as Join makes them

	once  sync.Once
	hash  Hash
	known sync.Map
}

// Whole is an image of one region that holds all of its bytes.
func Whole(start uint64, b []byte) *Image {
	return Space{{start, start + uint64(len(b))}}.Whole(b)
}

// SHA256 is the hash of the bytes, computed once.
func (im *Image) SHA256() Hash {
	im.once.Do(func() { im.hash = HashOf(im.Bytes) })
	return im.hash
}

// Known is what is to be known of an image's bytes by something, computed when it is first asked for and kept with the image for
// as long as that lives: of an image that came from elsewhere nothing is known. The key stands for what is computed, and by what.
func Known[T any](im *Image, key any, compute func(b []byte) T) T {
	if known, ok := im.known.Load(key); ok {
		return known.(T)
	}
	known, _ := im.known.LoadOrStore(key, compute(im.Bytes))
	return known.(T)
}

// Gaps are the addresses that the file did not hold.
func (im *Image) Gaps() []Range { return Minus(im.Space, im.Held) }

// says is the first address in ranges of the image whose byte is not 0xFF.
func (im *Image) says(ranges []Range) (uint64, bool) {
	for _, r := range im.Space.Offsets(ranges) {
		for at := r.Start; at < r.End; at++ {
			if im.Bytes[at] != 0xFF {
				return im.Space.Address(at), true
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
	return &Image{Format: im.Format, Space: im.Space, Bytes: im.Bytes, Held: held}, nil
}

// Encode writes the image as a kind of file: raw is all of its bytes, the others what it holds. What
// was made is read back, so that what leaves is what the hash names.
func (im *Image) Encode(format Format) ([]byte, error) {
	f, held := &File{}, im.Held
	if format == Raw { // region follows region
		held = im.Space
		f.Segments = []Segment{{im.Space.Address(0), im.Bytes}}
	} else {
		for i, at := range im.Space.Offsets(held) {
			f.Segments = append(f.Segments, Segment{held[i].Start, im.Bytes[at.Start:at.End]})
		}
	}
	out, err := f.Encode(format)
	if err != nil {
		return nil, err
	}
	back, err := Read("the file made", out, format, im.Space)
	if err != nil {
		return nil, err
	}
	if back.SHA256() != im.SHA256() || !slices.Equal(back.Held, held) {
		return nil, fmt.Errorf("the image cannot be kept whole in a %s file", format)
	}
	return out, nil
}

// Read decodes a file and lays it over a space; errors are those of Decode and Over.
func Read(name string, file []byte, format Format, space Space) (*Image, error) {
	f, err := Decode(name, file, format, space.Address(0))
	if err != nil {
		return nil, err
	}
	return f.Over(name, space)
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
	if n := Space(held).Size(); n > uint64(m.GetSize()) {
		return fmt.Errorf("ranges: they hold %d bytes; at most size, %d", n, m.GetSize())
	}
	return nil
}

// FromMessage is the image that a message names, of its bytes and of its definition's addresses. The
// error is CheckMessage's, or says where bytes, size, hash and ranges do not fit together.
func FromMessage(m *recordv1.Image, space Space, b []byte) (*Image, error) {
	if err := CheckMessage(m); err != nil {
		return nil, err
	}
	im := &Image{Format: Format(m.GetFileFormat()), Space: space, Bytes: b}
	im.Held, _ = FromMessages(m.GetRanges())
	for _, size := range []uint64{uint64(m.GetSize()), space.Size()} {
		if n := uint64(len(b)); n != size {
			return nil, fmt.Errorf("size: the image has %d bytes, not %d", n, size)
		}
	}
	if out := Minus(im.Held, space); len(out) > 0 {
		return nil, fmt.Errorf("ranges: 0x%x to 0x%x leave the image; allowed: %v", out[0].Start, out[0].End, space)
	}
	if at, ok := im.says(im.Gaps()); ok {
		return nil, fmt.Errorf("ranges: 0x%x lies in no range; allowed there: 0xff", at)
	}
	if got := im.SHA256(); string(got) != m.GetSha256() {
		return nil, fmt.Errorf("sha256: the bytes have %s, not %s", got, m.GetSha256())
	}
	return im, nil
}
