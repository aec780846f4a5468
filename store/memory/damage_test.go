package memory

import (
	"errors"
	"testing"

	"witnessmark/store"
)

// TestEveryFlippedBitIsFound flips each bit of each document's value and key, and of the sum kept.
func TestEveryFlippedBitIsFound(t *testing.T) {
	e := New()
	err := e.Update(func(tx store.WriteTx) error {
		return errors.Join(tx.PutDocument("job", "7", []byte("card of a car")), tx.PutDocument("job", "8", nil), tx.PutDocument("person", "k", []byte("lead")))
	})
	if err != nil {
		t.Fatal(err)
	}
	s := e.now.Load()
	flip := func(what string, at []byte, changed func()) {
		for i := range 8 * len(at) {
			at[i/8] ^= 1 << (i % 8)
			changed()
			if err := e.View(store.CheckSum); !errors.Is(err, store.ErrDamaged) {
				t.Errorf("%s, bit %d: %v", what, i, err)
			}
			at[i/8] ^= 1 << (i % 8)
			changed()
		}
	}
	for kind, documents := range s.Documents {
		for i := range documents {
			d := &documents[i]
			flip("value of "+d.Key, d.Value, func() {})
			key := []byte(d.Key)
			flip("key "+d.Key, key, func() { d.Key = string(key) })
		}
		if err := e.View(store.CheckSum); err != nil {
			t.Fatalf("%s mended: %v", kind, err)
		}
	}
	flip("sum", s.Sum[:], func() {})
	// Two documents' values exchanged leave all bytes where they were.
	a, b := &s.Documents["job"][0], &s.Documents["job"][1]
	a.Value, b.Value = b.Value, a.Value
	if err := e.View(store.CheckSum); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("values exchanged: %v", err)
	}
}
