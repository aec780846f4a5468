package storetest

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"testing"

	"witnessmark/store"
)

func hashName(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}

// testEraseBlobs erases random blobs of random families, a read and what stands on it as a
// difference: the erased ones are gone, and all others are as they were, one step deep.
func testEraseBlobs(t *testing.T, m Maker) {
	r := Rand(t)
	e := start(t, m)
	var kept [][]byte
	for range 4 {
		read := make([]byte, 20_000)
		for i := range read {
			read[i] = byte(r.Uint32())
		}
		family := [][]byte{read}
		for i := range r.IntN(4) {
			edit := bytes.Clone(family[r.IntN(len(family))])
			edit[i*50] ^= 0x55
			family = append(family, edit)
		}
		update(t, e, func(tx store.WriteTx) error {
			for _, data := range family {
				if _, err := store.PutBlob(tx, data, hashName(family[r.IntN(len(family))])); err != nil {
					return err
				}
			}
			return nil
		})
		kept = append(kept, family...)
	}
	for len(kept) > 0 {
		var erased []string
		for range 1 + r.IntN(3) {
			if len(kept) > 0 {
				at := r.IntN(len(kept))
				erased = append(erased, hashName(kept[at]))
				kept = append(kept[:at], kept[at+1:]...)
			}
		}
		before := packedSize(t, e)
		update(t, e, func(tx store.WriteTx) error { return store.EraseBlobs(tx, append(erased, hashName(nil))) })
		view(t, e, func(tx store.ReadTx) error {
			for _, sha := range erased {
				_, err := store.GetBlob(tx, sha)
				wantIs(t, "erased blob", err, store.ErrNotFound)
			}
			for _, data := range kept {
				if got, err := store.GetBlob(tx, hashName(data)); err != nil || !bytes.Equal(got, data) {
					t.Errorf("a blob that stays: %d bytes, %v", len(got), err)
				}
			}
			return nil
		})
		// What stood on one erased blob needs one whole copy more in its place, not one each.
		if after := packedSize(t, e); after > before+500*len(kept) {
			t.Errorf("%d bytes are kept in %d blobs, before the erasing %d", after, len(kept), before)
		}
	}
	wantIs(t, "no hash", e.Update(func(tx store.WriteTx) error { return store.EraseBlobs(tx, []string{"../x"}) }), store.ErrInvalid)
}

func packedSize(t *testing.T, e store.Engine) (size int) {
	t.Helper()
	view(t, e, func(tx store.ReadTx) error {
		return tx.Blobs(func(_ string, packed []byte) (bool, error) { size += len(packed); return true, nil })
	})
	return size
}
