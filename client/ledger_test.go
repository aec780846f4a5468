package client

import (
	"bytes"
	"os"
	"testing"

	"witnessmark/store/record"
)

// An entry that the disk changed is fetched again: the server is not accused of it.
func TestVerifyOverADamagedEntry(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.tech.Sync(ctx))
	w.must(w.tech.VerifyLedger(ctx, false))
	path := w.tech.own.home.path(copyFile)
	whole, err := os.ReadFile(path)
	w.must(nil, err)
	for n, told := range w.fake.told[1:] {
		envelope, _, err := record.EnvelopeOf(told.GetEntry())
		w.must(nil, err)
		damaged := bytes.ReplaceAll(whole, envelope[:40], append([]byte("!"), envelope[1:40]...))
		if bytes.Equal(damaged, whole) {
			continue // it lies across pages
		}
		var said string
		w.tech.Say = func(line string) { said = line }
		w.must(nil, os.WriteFile(path, damaged, 0o600))
		if _, err := w.tech.VerifyLedger(ctx, false); err != nil || said == "" {
			t.Errorf("entry %d: said %q, %v", n+1, said, err)
		}
	}
}
