package record

import (
	"fmt"
	"testing"
)

// BenchmarkAdmit adds jobs to ledgers of two sizes: an entry must not cost more in the longer one.
func BenchmarkAdmit(b *testing.B) {
	for _, jobs := range []int{10, 1000} {
		b.Run(fmt.Sprint(jobs, " jobs"), func(b *testing.B) {
			h := newHistory(b, false).script(staff)
			for n := range jobs {
				h.do(fmt.Sprintf("T opens AB-%d", n), "", nil)
			}
			n := 0
			for b.Loop() {
				b.StopTimer()
				entry := h.entry(fmt.Sprintf("T opens AB-%d id=bench-%d", n%jobs, n), nil)
				n++
				b.StartTimer()
				if _, err := Admit(h.s, entry); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
