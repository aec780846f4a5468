package store_test

import (
	"crypto/sha256"
	"encoding/binary"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/store"
)

// bigSum is the sum as its definition says, by arithmetic of any length.
func bigSum(documents [][3]string) (out store.Sum) {
	total := new(big.Int)
	for _, d := range documents {
		h := sha256.New()
		for _, part := range d {
			var length [8]byte
			binary.BigEndian.PutUint64(length[:], uint64(len(part)))
			h.Write(length[:])
			h.Write([]byte(part))
		}
		total.Add(total, new(big.Int).SetBytes(h.Sum(nil)))
	}
	total.Mod(total, new(big.Int).Lsh(big.NewInt(1), 256)).FillBytes(out[:])
	return out
}

func TestSum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOfN(rapid.RuneFrom([]rune("ab\x00")), 0, 3, -1)
		documents := rapid.SliceOf(rapid.Custom(func(t *rapid.T) [3]string {
			return [3]string{text.Draw(t, "kind"), text.Draw(t, "key"), text.Draw(t, "value")}
		})).Draw(t, "documents")
		var sum store.Sum
		for _, d := range documents {
			sum = sum.Add(d[0], d[1], []byte(d[2]))
		}
		if want := bigSum(documents); sum != want {
			t.Fatalf("sum %x, want %x", sum, want)
		}
		// In another order, and down to nothing again.
		for i := range documents {
			d := documents[len(documents)-1-i]
			sum = sum.Remove(d[0], d[1], []byte(d[2]))
			if want := bigSum(documents[:len(documents)-1-i]); sum != want {
				t.Fatalf("sum %x after removing, want %x", sum, want)
			}
		}
	})
}

// TestSumKeepsPartsApart moves a byte from one part to the next.
func TestSumKeepsPartsApart(t *testing.T) {
	seen := map[store.Sum][3]string{}
	for _, d := range [][3]string{{"job", "7", "card"}, {"jo", "b7", "card"}, {"job7", "", "card"}, {"job", "7c", "ard"}, {"job", "", "7card"}} {
		sum := store.Sum{}.Add(d[0], d[1], []byte(d[2]))
		if other, ok := seen[sum]; ok {
			t.Errorf("%q has the sum of %q", d, other)
		}
		seen[sum] = d
	}
}
