package server

import (
	"crypto/ed25519"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// BenchmarkStart starts servers of ledgers of two sizes: what it costs must not grow with the ledger.
// It reports the memory of the process that is no file's, once the server is up.
func BenchmarkStart(b *testing.B) {
	for _, entries := range []int{200, 20_000} {
		dir := filepath.Join(b.TempDir(), "data")
		lead := testKey("lead")
		if _, err := Init(dir, "lead", publicOf(lead), false); err != nil {
			b.Fatal(err)
		}
		grow(b, dir, lead, entries)
		b.Run(fmt.Sprintf("entries=%d", entries), func(b *testing.B) {
			for b.Loop() {
				s, err := Start(Options{Dir: dir, Listen: "127.0.0.1:0"})
				if err != nil {
					b.Fatal(err)
				}
				b.StopTimer()
				b.ReportMetric(anonymous(b), "anon-MiB")
				if err := s.Stop(); err != nil {
					b.Fatal(err)
				}
				b.StartTimer()
			}
		})
	}
}

// grow adds enrolments to a stopped server's store.
func grow(b *testing.B, dir string, lead ed25519.PrivateKey, entries int) {
	b.Helper()
	e, err := bolt.Open(filepath.Join(dir, storeFile))
	if err != nil {
		b.Fatal(err)
	}
	defer e.Close()
	for n := 1; n < entries; {
		err := e.Update(func(w store.WriteTx) error {
			s := record.Write(w)
			for end := min(n+1000, entries); n < end; n++ {
				a := carry(s, enrolAction(fmt.Sprintf("person %d", n), testKey(fmt.Sprint(n)), "technician"))
				env, err := signoff.Seal(a, lead)
				if err != nil {
					return err
				}
				if _, err := s.Admit(record.MakeEntry(env, a.GetTime()), nil); err != nil {
					return err
				}
			}
			return s.Finish()
		})
		if err != nil {
			b.Fatal(err)
		}
	}
}

// anonymous is how much of the process's memory is no file's, in MiB.
func anonymous(b *testing.B) float64 {
	b.Helper()
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		b.Skip(err)
	}
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, "RssAnon:"); ok {
			kib, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
			if err != nil {
				b.Fatal(err)
			}
			return kib / 1024
		}
	}
	b.Skip("no RssAnon")
	return 0
}
