package record

import (
	"crypto/ed25519"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"witnessmark/store/bolt"
)

// visit is one job from its opening to its end, mixed as a workshop's day is.
const visit = `
	T opens CAR-%[1]d frame=FRAME%[1]d note=hill
	T reads %[1]d found%[1]d frame=FRAME%[1]d
	T runs %[1]d before
	C submits %[1]d first%[1]d warn=advance:ignition.base,limiter
	L returns %[1]d.1
	C submits %[1]d second%[1]d verdict=caution
	C notes %[1]d.2 richer file=photo%[1]d
	D signs %[1]d.2
	T collects %[1]d.2
	T reads-back %[1]d.2 back%[1]d
	T runs %[1]d after
	T closes %[1]d done`

// BenchmarkAdmit is what a client's catching up costs an entry, over bolt in transactions of 500, in
// times of one ed25519.Verify of this machine; with what was admitted before, a little or more. Each is the
// best of all rounds, since others use the machine too.
func BenchmarkAdmit(b *testing.B) {
	h := newHistory(b, false).script(staff)
	for n := 1; n <= 400; n++ {
		h.script(fmt.Sprintf(visit, n))
	}
	const batch = 500
	for _, before := range []int{0, 4000} {
		b.Run(fmt.Sprint("after ", before), func(b *testing.B) {
			each, verify := time.Hour, time.Hour
			for b.Loop() {
				b.StopTimer()
				verify = min(verify, verifyTime())
				engine, err := bolt.Create(filepath.Join(b.TempDir(), "copy"))
				for at := 0; at < before && err == nil; at += batch {
					err = admit(engine, nil, h.told[at:at+batch]...)
				}
				if err != nil {
					b.Fatal(err)
				}
				b.StartTimer()
				start := time.Now()
				if err := admit(engine, nil, h.told[before:before+batch]...); err != nil {
					b.Fatal(err)
				}
				each = min(each, time.Since(start)/batch)
				b.StopTimer()
				engine.Close()
				b.StartTimer()
			}
			b.ReportMetric(float64(each.Microseconds()), "µs/entry")
			b.ReportMetric(float64(each)/float64(verify), "verifies/entry")
		})
	}
}

func verifyTime() time.Duration {
	message := make([]byte, 1000)
	signature := ed25519.Sign(keyOf("L"), message)
	key := pub("L")
	const times = 200
	begin := time.Now()
	for range times {
		if !ed25519.Verify(key, message, signature) {
			panic("it does not fit")
		}
	}
	return time.Since(begin) / times
}
