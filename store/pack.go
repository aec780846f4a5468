package store

import (
	"bytes"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// MaxBlob is the most bytes that a blob may have, and so what unpacking one may take.
const MaxBlob = 64 << 20

// MaxDecoded bounds what a message that is kept as a blob takes in memory, in bytes: the largest report, whose numbers may take a byte each.
const MaxDecoded = 10 * MaxBlob

// The first byte of a packed blob says how it is packed; its length follows as a varint.
const (
	packedPlain      = 0 // the bytes
	packedZstd       = 1 // one zstd frame
	packedDifference = 2 // 32 bytes of the base's SHA-256, and one zstd frame of the bytes XOR the base
	packedSteps      = 3 // 32 bytes of the base's SHA-256, and the steps from the base: see packSteps
)

// Errors of packing.
var (
	// ErrPacked is bytes that Pack did not make, or that were damaged since.
	ErrPacked = errors.New("packed blob is damaged")
	// ErrTooLarge is a blob above MaxBlob.
	ErrTooLarge = errors.New("blob is too large")
)

var packer = sync.OnceValue(func() *zstd.Encoder {
	// nil as the writer: EncodeAll alone is used, which is safe for several goroutines.
	e, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderCRC(false))
	if err != nil {
		panic("store: zstd options: " + err.Error()) // a mistake in the line above, never input
	}
	return e
})

var unpacker = sync.OnceValue(func() *zstd.Decoder {
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(MaxBlob), zstd.WithDecodeAllCapLimit(true))
	if err != nil {
		panic("store: zstd options: " + err.Error()) // a mistake in the line above, never input
	}
	return d
})

// Pack makes the smallest of data as it is, its zstd, and (where baseSHA names the base, whole and
// unpacked) the zstd of its XOR with the base and its steps from there. A submission differs from its
// job's read in few bytes of fixed places, so the XOR is nearly all zeros, and the steps are few.
func Pack(data, base []byte, baseSHA string) []byte {
	how, best := byte(packedPlain), data
	if frame := packer().EncodeAll(data, nil); len(frame) < len(best) {
		how, best = packedZstd, frame
	}
	if baseHash, err := ParseHash(baseSHA); err == nil {
		steps := packSteps(data, base)
		if steps != nil && len(steps)+len(baseHash) < len(best) && stands(steps, data, base) {
			how, best = packedSteps, append(baseHash[:], steps...)
		}
		if frame := packer().EncodeAll(xor(data, base), nil); len(frame)+len(baseHash) < len(best) {
			how, best = packedDifference, append(baseHash[:], frame...)
		}
	}
	return append(binary.AppendUvarint([]byte{how}, uint64(len(data))), best...)
}

// stands reads steps back: an image that cannot be made again is lost, and the other ways can always be had.
func stands(steps, data, base []byte) bool {
	again := make([]byte, len(data))
	copy(again, base)
	return unpackSteps(steps, again) == nil && bytes.Equal(again, data)
}

// xor is data with the base over it as far as both go.
func xor(data, base []byte) []byte {
	out := make([]byte, len(data))
	n := subtle.XORBytes(out, data, base)
	copy(out[n:], data[n:])
	return out
}

// unpacked is a packed blob's header and what follows it.
type unpacked struct {
	how  byte
	size int
	base string // hex; of differences only
	rest []byte
}

func parsePacked(packed []byte) (unpacked, error) {
	if len(packed) == 0 {
		return unpacked{}, fmt.Errorf("it is empty: %w", ErrPacked)
	}
	u := unpacked{how: packed[0]}
	size, n := binary.Uvarint(packed[1:])
	if n <= 0 {
		return unpacked{}, fmt.Errorf("its length is cut: %w", ErrPacked)
	}
	if size > MaxBlob {
		return unpacked{}, fmt.Errorf("%d bytes, at most %d are allowed: %w", size, MaxBlob, ErrTooLarge)
	}
	u.size, u.rest = int(size), packed[1+n:]
	switch u.how {
	case packedPlain, packedZstd:
	case packedDifference, packedSteps:
		if len(u.rest) < sha256.Size {
			return unpacked{}, fmt.Errorf("its base is cut: %w", ErrPacked)
		}
		u.base, u.rest = hex.EncodeToString(u.rest[:sha256.Size]), u.rest[sha256.Size:]
	default:
		return unpacked{}, fmt.Errorf("it is packed in way %d, known are 0 to 3: %w", u.how, ErrPacked)
	}
	return u, nil
}

// Unpack gives back what Pack was given, in place of packed where it can. base is asked for the whole,
// unpacked bytes of the blob that a difference stands on, and they become the answer's. Memory stays below
// about twice MaxBlob. The caller checks the hash of what comes back, which no other base than the right one
// gives; GetBlob does.
func Unpack(packed []byte, base func(baseSHA string) ([]byte, error)) ([]byte, error) {
	u, err := parsePacked(packed)
	var data []byte
	if err == nil {
		data, err = u.unpack(base)
	}
	if err != nil {
		return nil, fmt.Errorf("unpack: %w", err)
	}
	return data, nil
}

func (u unpacked) unpack(base func(baseSHA string) ([]byte, error)) ([]byte, error) {
	switch {
	case u.how == packedZstd:
		return unzip(u.rest, u.size)
	case u.base == "":
		if len(u.rest) != u.size {
			return nil, fmt.Errorf("%d bytes, %d were packed: %w", len(u.rest), u.size, ErrPacked)
		}
		return u.rest, nil
	}
	under, err := base(u.base)
	if err != nil {
		return nil, fmt.Errorf("base %s: %w", u.base, err)
	}
	if u.how == packedSteps {
		if len(under) < u.size {
			under = append(under, make([]byte, u.size-len(under))...)
		}
		return under[:u.size], unpackSteps(u.rest, under[:u.size])
	}
	data, err := unzip(u.rest, u.size)
	if err == nil {
		subtle.XORBytes(data, data, under)
	}
	return data, err
}

// unzip unpacks one frame of size bytes.
func unzip(frame []byte, size int) ([]byte, error) {
	// The capacity is the limit: a frame that says it is longer is refused before it takes memory.
	data, err := unpacker().DecodeAll(frame, make([]byte, 0, size))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrPacked, err)
	}
	if len(data) != size {
		return nil, fmt.Errorf("%d bytes, %d were packed: %w", len(data), size, ErrPacked)
	}
	return data, nil
}

func hashName(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
