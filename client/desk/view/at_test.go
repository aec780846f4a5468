package view

import (
	"math/rand/v2"
	"testing"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// TestAtNeedsNoDecoding: where a finding leads without decoding its table is where it leads once that was decoded, whatever bytes differ.
func TestAtNeedsNoDecoding(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	quick := 0
	for i := range 200 {
		change := map[int]byte{}
		for range 1 + r.IntN(6) {
			change[0x10+r.IntN(0x60)] = byte(r.IntN(256) >> (r.IntN(2) * 6))
		}
		b := newBench(t, change)
		if i%2 == 0 {
			b = newStructured(t, func(b []byte) {
				for at, v := range change {
					b[at] = v
				}
			})
		}
		c := b.drawn()
		for _, tr := range b.report.GetTables() {
			if c.stays(tr.GetId()) {
				quick++
			}
			table := b.lay.ByID[tr.GetId()]
			nx, ny := 1, 1
			if table.X != nil {
				nx = table.X.Count
			}
			if table.Y != nil {
				ny = table.Y.Count
			}
			f := &calibrationv1.Finding{Table: tr.GetId(), Worst: &calibrationv1.Worst{Row: proto.Uint32(uint32(r.IntN(ny))), Column: proto.Uint32(uint32(r.IntN(nx)))}}
			if got, want := c.At(f), c.decodedAt(f); got != want {
				t.Fatalf("%v of a table changed at %v leads to %q; decoded, to %q", f, change, got, want)
			}
		}
		for _, f := range b.report.GetFindings() {
			if got := c.At(f); got != "" && got != c.decodedAt(f) {
				t.Fatalf("%v leads to %q; decoded, to %q", f, got, c.decodedAt(f))
			}
		}
	}
	if quick < 50 {
		t.Errorf("only %d tables needed no decoding", quick)
	}
}
