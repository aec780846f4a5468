package record

import "testing"

func envelopeIn(t testing.TB, entry []byte) []byte {
	t.Helper()
	envelope, _, err := EnvelopeOf(entry)
	if err != nil {
		t.Fatal(err)
	}
	return envelope
}
