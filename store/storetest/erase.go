package storetest

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"testing"

	"witnessmark/store"
)

func hashName(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}

// testEraseBlobs erases random blobs of random families, each a read and what stands on it as a
// difference: the erased ones are gone, all others are as they were, and each family that is left
// has one member whole and all others on it.
func testEraseBlobs(t *testing.T, m Maker) {
	r := Rand(t)
	e := start(t, m)
	var families [][][]byte
	for range 6 {
		family := [][]byte{make([]byte, 20_000)}
		for i := range family[0] {
			family[0][i] = byte(r.Uint32())
		}
		for i := range 5 {
			edit := bytes.Clone(family[r.IntN(len(family))])
			edit[i*50] ^= 0x55
			family = append(family, edit)
		}
		update(t, e, func(tx store.WriteTx) error {
			for i, data := range family {
				if _, err := store.PutBlob(tx, data, hashName(family[r.IntN(max(i, 1))])); err != nil {
					return err
				}
			}
			return nil
		})
		families = append(families, family)
	}
	for len(families) > 0 {
		erased := []string{hashName(nil)} // which is not there
		for range 1 + r.IntN(2) {
			of := r.IntN(len(families))
			// Mostly the first ones, which others stand on.
			for range min(1+r.IntN(3), len(families[of])) {
				at := r.IntN(min(2, len(families[of])))
				erased = append(erased, hashName(families[of][at]))
				families[of] = slices.Delete(families[of], at, at+1)
			}
			if len(families[of]) == 0 {
				if families = slices.Delete(families, of, of+1); len(families) == 0 {
					break
				}
			}
		}
		update(t, e, func(tx store.WriteTx) error { return store.EraseBlobs(tx, erased) })
		view(t, e, func(tx store.ReadTx) error {
			for _, sha := range erased {
				_, err := store.GetBlob(tx, sha)
				wantIs(t, "erased blob", err, store.ErrNotFound)
			}
			for i, family := range families {
				wantFamily(t, tx, i, family)
			}
			return nil
		})
	}
	wantIs(t, "no hash", e.Update(func(tx store.WriteTx) error { return store.EraseBlobs(tx, []string{"../x"}) }), store.ErrInvalid)
}

func wantFamily(t *testing.T, tx store.ReadTx, i int, family [][]byte) {
	t.Helper()
	whole := 0
	for _, data := range family {
		if got, err := store.GetBlob(tx, hashName(data)); err != nil || !bytes.Equal(got, data) {
			t.Errorf("family %d: %d bytes, %v", i, len(got), err)
		}
		if packed, err := tx.Blob(hashName(data)); err == nil && len(packed) > 10_000 {
			whole++
		}
	}
	if whole != 1 {
		t.Errorf("family %d: %d of its %d are whole", i, whole, len(family))
	}
}
