package client

import (
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// What a command costs before it does anything: the mirror of a workshop of some years is replayed.
func BenchmarkReplay(b *testing.B) {
	w := newWorldFor(b)
	w.must(nil, w.tech.Sync(ctx))
	def, lim, err := newestOf(w.tech.view(), w.tech.Jobs()[0])
	w.must(nil, err)
	for range 2000 {
		a := &recordv1.Action{Body: &recordv1.Action_Job{Job: &recordv1.OpenJob{Car: "C3", Definition: def, Limits: lim}}}
		_, err := w.tech.complete(a)
		w.must(nil, err)
		envelope, err := signoff.Seal(a, w.tech.signer)
		w.must(nil, err)
		w.fake.admit(entryOf(envelope))
	}
	entries := w.fake.entries
	for _, c := range []struct {
		name   string
		judged uint64
	}{{"judging", 0}, {"judged", uint64(len(entries))}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, _, err := grow(entries, c.judged); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(len(entries)), "µs/entry")
		})
	}
}
