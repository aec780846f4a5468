package server

import (
	"bufio"
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
// Beside it stands how much memory that is no file's a process has that serves such a ledger and has
// looked at all of its documents.
func BenchmarkStart(b *testing.B) {
	for _, entries := range []int{200, 20_000} {
		dir := filepath.Join(b.TempDir(), "data")
		lead := testKey("lead")
		if _, err := in(dir).Init("lead", publicOf(lead), false); err != nil {
			b.Fatal(err)
		}
		grow(b, dir, lead, entries)
		memory := anonymous(b, dir)
		b.Run(fmt.Sprintf("entries=%d", entries), func(b *testing.B) {
			for b.Loop() {
				s, err := Start(Options{Place: in(dir), Listen: "127.0.0.1:0"})
				if err != nil {
					b.Fatal(err)
				}
				b.StopTimer()
				b.ReportMetric(memory, "anon-MiB")
				if err := s.Stop(); err != nil {
					b.Fatal(err)
				}
				b.StartTimer()
			}
		})
	}
}

// grow adds enrolments to a stopped server's store.
func grow(b testing.TB, dir string, lead ed25519.PrivateKey, entries int) {
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
	if err := e.Compact(); err != nil { // so many at once leave more free pages than a working day
		b.Fatal(err)
	}
}

// anonymous is how much memory a process that serves a folder has for itself, in MiB.
func anonymous(b *testing.B, dir string) float64 {
	b.Helper()
	cmd, _, logs := serveApart(b, in(dir))
	defer func() { _ = cmd.Process.Kill(); _ = cmd.Wait() }()
	for lines := bufio.NewScanner(logs); lines.Scan() && !strings.Contains(lines.Text(), "the documents are what was written"); {
	}
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", cmd.Process.Pid))
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
	b.Skip("the system does not say")
	return 0
}
