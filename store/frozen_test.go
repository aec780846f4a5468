package store_test

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"os"
	"strings"
	"testing"

	"witnessmark/store"
)

// underFrozen is what the blobs of testdata/packed.txt stand on: a slope of words, the highest byte first.
func underFrozen() (base []byte) {
	for i := range 1024 {
		base = binary.BigEndian.AppendUint16(base, uint16(700+40*(i%16)+i*i/37))
	}
	return base
}

// frozen are blobs by their hashes, as the first programs packed them; they are never packed anew.
func frozen(t testing.TB) map[string][]byte {
	file, err := os.ReadFile("testdata/packed.txt")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for line := range strings.Lines(string(file)) {
		sha, packed, _ := strings.Cut(strings.TrimSpace(line), " ")
		if out[sha], err = hex.DecodeString(packed); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// TestFrozen: what was packed once is unpacked for ever, in every way and every wording, its columns squeezed and in frames.
func TestFrozen(t *testing.T) {
	met := map[string]bool{}
	for sha, packed := range frozen(t) {
		way := fmt.Sprint(packed[0])
		if packed[0] == 3 {
			_, n := binary.Uvarint(packed[1:])
			way += fmt.Sprint(" of wording ", packed[1+n+32])
		}
		met[way] = true
		data, err := store.Unpack(packed, func(base string) ([]byte, error) {
			if base != name(underFrozen()) {
				t.Errorf("way %s stands on %s", way, base)
			}
			return underFrozen(), nil
		})
		if err != nil || name(data) != sha {
			t.Errorf("way %s: %d bytes that hash to %s, %v; want %s", way, len(data), name(data), err, sha)
		}
	}
	if len(met) != 3+9 {
		t.Errorf("met %v", met)
	}
}
