package store_test

import (
	"bytes"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"math/rand/v2"
	"runtime"
	"testing"

	"github.com/klauspost/compress/zstd"
	"pgregory.net/rapid"

	"witnessmark/store"
)

func name(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

func noBase(string) ([]byte, error) { return nil, errors.New("no base was to be asked for") }

func TestPackedUnpacks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		base := rapid.SliceOfN(rapid.Byte(), 0, 3000).Draw(t, "base")
		data := rapid.OneOf(
			rapid.SliceOfN(rapid.Byte(), 0, 3000),
			rapid.SliceOfN(rapid.SampledFrom([]byte{0xFF, 0}), 0, 3000),
			rapid.Custom(func(t *rapid.T) []byte { // a few bytes of the base changed, the end cut or longer
				out := append(bytes.Clone(base), rapid.SliceOfN(rapid.Byte(), 0, 20).Draw(t, "more")...)
				out = out[:rapid.IntRange(0, len(out)).Draw(t, "length")]
				for range rapid.IntRange(0, 5).Draw(t, "changes") {
					if len(out) > 0 {
						out[rapid.IntRange(0, len(out)-1).Draw(t, "at")] ^= rapid.Byte().Draw(t, "by")
					}
				}
				return out
			}),
		).Draw(t, "data")
		keep := bytes.Clone(data)
		for _, baseSHA := range []string{"", name(base)} {
			packed := store.Pack(data, base, baseSHA)
			if !bytes.Equal(data, keep) {
				t.Fatal("Pack changed its input")
			}
			if len(packed) > len(data)+4 {
				t.Fatalf("%d bytes packed into %d", len(data), len(packed))
			}
			got, err := store.Unpack(packed, func(sha string) ([]byte, error) {
				if sha != name(base) || baseSHA == "" {
					t.Fatalf("asked for base %s", sha)
				}
				return bytes.Clone(base), nil
			})
			if err != nil || !bytes.Equal(got, data) {
				t.Fatalf("unpacked %x, %v", got, err)
			}
		}
	})
}

// image is bytes that zstd can do nothing with, as encrypted or dense calibration data are.
func image(seed uint64, size int) []byte {
	out := make([]byte, size)
	r := rand.New(rand.NewPCG(seed, 2))
	for i := 0; i+8 <= size; i += 8 {
		binary.LittleEndian.PutUint64(out[i:], r.Uint64())
	}
	return out
}

// edited changes one map of 16 by 16 cells and a checksum.
func edited(base []byte) []byte {
	out := bytes.Clone(base)
	for i := range 256 {
		out[len(out)/2+i] += byte(i % 7)
	}
	out[len(out)-1] ^= 0x5A
	return out
}

func TestWhicheverIsSmaller(t *testing.T) {
	base := image(1, 1<<18)
	small := edited(base)
	all := bytes.Clone(base)
	for i := range all {
		all[i] ^= 4
	}
	for _, c := range []struct {
		what       string
		data, base []byte
		most       int
		how        byte
	}{
		{"an edit of an image", small, base, 150, 3},
		{"the image itself", base, base, 100, 3},
		{"a bit in every byte", all, base, 100, 2},
		{"an image that is another", image(2, 1<<18), base, 1<<18 + 4, 0},
		{"gaps alone", bytes.Repeat([]byte{0xFF}, 1<<18), base, 100, 1},
		{"nothing", nil, base, 2, 0},
	} {
		packed := store.Pack(c.data, c.base, name(c.base))
		if packed[0] != c.how || len(packed) > c.most {
			t.Errorf("%s: way %d, %d bytes; want way %d and at most %d", c.what, packed[0], len(packed), c.how, c.most)
		}
	}
	if packed := store.Pack(small, base, "no hash"); packed[0] >= 2 {
		t.Error("a difference from a base without a name")
	}
}

// older is the difference as it was written before there were steps: it stays readable.
func older(data, base []byte) []byte {
	xor := make([]byte, len(data))
	subtle.XORBytes(xor, data, base)
	encoder, err := zstd.NewWriter(nil)
	if err != nil {
		panic(err)
	}
	sum := sha256.Sum256(base)
	packed := append(binary.AppendUvarint([]byte{2}, uint64(len(data))), sum[:]...)
	return encoder.EncodeAll(xor, packed)
}

func TestOlderDifference(t *testing.T) {
	base := image(1, 4096)
	got, err := store.Unpack(older(edited(base), base), func(string) ([]byte, error) { return bytes.Clone(base), nil })
	if err != nil || !bytes.Equal(got, edited(base)) {
		t.Errorf("unpacked %d bytes, %v", len(got), err)
	}
}

func TestUnpackRefusals(t *testing.T) {
	base := image(1, 4096)
	give := func(b []byte) func(string) ([]byte, error) {
		return func(string) ([]byte, error) { return bytes.Clone(b), nil }
	}
	steps, difference := store.Pack(edited(base), base, name(base)), older(edited(base), base)
	text := store.Pack(bytes.Repeat([]byte("boost "), 1000), nil, "")
	longer := bytes.Clone(text)
	longer[1]-- // the frame now holds more than the header says
	shorter := bytes.Clone(text)
	shorter[1]++
	own := errors.New("own")
	for _, c := range []struct {
		what   string
		packed []byte
		base   func(string) ([]byte, error)
		want   error
	}{
		{"nothing", nil, noBase, store.ErrPacked},
		{"no length", []byte{0}, noBase, store.ErrPacked},
		{"endless length", append([]byte{0}, bytes.Repeat([]byte{0xFF}, 20)...), noBase, store.ErrPacked},
		{"too large", binary.AppendUvarint([]byte{1}, store.MaxBlob+1), noBase, store.ErrTooLarge},
		{"unknown way", []byte{4, 0}, noBase, store.ErrPacked},
		{"plain, cut", []byte{0, 5, 'b'}, noBase, store.ErrPacked},
		{"plain, more", []byte{0, 0, 'b'}, noBase, store.ErrPacked},
		{"base cut", difference[:20], give(base), store.ErrPacked},
		{"steps cut", steps[:len(steps)-1], give(base), store.ErrPacked},
		{"no steps", steps[:3+32], give(base), store.ErrPacked},
		{"more behind the steps", append(bytes.Clone(steps), 0), give(base), store.ErrPacked},
		{"steps of words unknown", append(bytes.Clone(steps[:3+32]), 3), give(base), store.ErrPacked},
		{"no base to be had", difference, func(string) ([]byte, error) { return nil, own }, own},
		{"frame longer than said", longer, noBase, store.ErrPacked},
		{"frame shorter than said", shorter, noBase, store.ErrPacked},
		{"frame cut", text[:len(text)-3], noBase, store.ErrPacked},
	} {
		if _, err := store.Unpack(c.packed, c.base); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.what, err, c.want)
		}
	}
}

// TestUnpackBoundsMemory: a small text must not swell beyond what its header declares.
func TestUnpackBoundsMemory(t *testing.T) {
	encoder, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	bomb := encoder.EncodeAll(make([]byte, store.MaxBlob-1), nil) // a size that is allowed, but not what the header says
	packed := append(binary.AppendUvarint([]byte{1}, 1000), bomb...)
	runtime.GC()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if _, err := store.Unpack(packed, noBase); !errors.Is(err, store.ErrPacked) {
		t.Errorf("unpacked: %v", err)
	}
	runtime.ReadMemStats(&after)
	if took := after.TotalAlloc - before.TotalAlloc; took > 16<<20 {
		t.Errorf("a bomb of %d bytes took %d", len(packed), took)
	}
}

func FuzzUnpack(f *testing.F) {
	base := underFrozen()
	for _, packed := range frozen(f) {
		f.Add(packed)
	}
	f.Fuzz(func(t *testing.T, packed []byte) {
		if size, n := binary.Uvarint(append(bytes.Clone(packed), 0)[1:]); n > 0 && size > 1<<20 && size <= store.MaxBlob {
			t.Skip("honest but slow")
		}
		data, err := store.Unpack(packed, func(string) ([]byte, error) { return bytes.Clone(base), nil })
		if err != nil {
			if !errors.Is(err, store.ErrPacked) && !errors.Is(err, store.ErrTooLarge) {
				t.Fatalf("error of another kind: %v", err)
			}
			return
		}
		again, err := store.Unpack(store.Pack(data, base, name(base)), func(string) ([]byte, error) { return bytes.Clone(base), nil })
		if err != nil || !bytes.Equal(again, data) {
			t.Fatalf("came back as %x, %v", again, err)
		}
	})
}

// BenchmarkPack says how large a submission becomes, beside how long it takes.
func BenchmarkPack(b *testing.B) {
	base := image(1, 1<<20)
	data := edited(base)
	for _, c := range []struct{ what, base string }{{"Whole", ""}, {"Difference", name(base)}} {
		b.Run(c.what, func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			size := 0
			for b.Loop() {
				size = len(store.Pack(data, base, c.base))
			}
			b.ReportMetric(float64(size), "packed-bytes")
		})
	}
}
