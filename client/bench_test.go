package client

import (
	"crypto/ed25519"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/client/grown"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// mixed makes the ledger as long as a workshop's after some years: each job with a
// read, what was submitted, signed, collected and read back, and closed. The claims are those of
// one true job, since the fake is not asked.
func (w *world) mixed(n int) {
	w.Helper()
	w.must(nil, w.collect(w.tech))
	back := testImage("\x0a\x0b\x0c\x20")
	w.must(w.tech.Readback(ctx, 1, w.write("back.bin", back), ""))
	w.must(w.tech.AddNote(ctx, NewNote{About: record.Name{Job: 1}, Text: "strapped down, warm, second gear"}))
	w.must(nil, w.tech.Sync(ctx))
	w.must(nil, w.fake.update(func(s *record.State) error {
		first, err := grown.Deeds(s, w.fake.told, w.tech.signer, w.cal.signer, w.lead.signer)
		for job := uint32(2); err == nil && len(w.fake.told) < n; job++ {
			var told []*recordv1.Told
			told, err = grown.Again(s, job, admittedAt, first)
			w.fake.told = append(w.fake.told, told...)
		}
		return err
	}))
}

// What catching up costs for each entry, as a multiple of one signature's verification on the same core, each the
// fastest of several; nothing of it may depend on how long the ledger is.
func BenchmarkCatchUp(b *testing.B) {
	for _, n := range []int{500, 2000, 8000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			w := newWorldFor(b).released()
			w.mixed(n)
			t := target{note: w.fake.sign(w.fake.told)}
			t.Size, t.Root = uint64(len(w.fake.told)), rootOf(w.fake.told)
			home := &Home{Dir: b.TempDir()}
			own := &ownCopy{home: home, config: w.tech.own.config, say: func(string) {}}
			entry, verify := math.MaxFloat64, math.MaxFloat64
			for b.Loop() {
				w.must(nil, removed(home.path(copyFile)))
				w.must(nil, removed(home.path(headFile)))
				start := time.Now()
				for next, done := uint64(0), false; !done; {
					var err error
					if next, done, err = own.take(t, next, w.fake.told[next:min(next+gathered, t.Size)]); err != nil {
						b.Fatal(err)
					}
				}
				entry = min(entry, float64(time.Since(start).Nanoseconds())/float64(t.Size))
				verify = min(verify, verifying(3*t.Size))
			}
			b.ReportMetric(entry/1000, "µs/entry")
			b.ReportMetric(entry/verify, "verify/entry")
		})
	}
}

// verifying is how long one signature of an envelope's length takes, of so many, in nanoseconds: over as long a time as
// what it is held against, others use the machine as much.
func verifying(times uint64) float64 {
	public, private, _ := ed25519.GenerateKey(nil)
	message := make([]byte, 1500)
	sig := ed25519.Sign(private, message)
	start := time.Now()
	for range times {
		ed25519.Verify(public, message, sig)
	}
	return float64(time.Since(start).Nanoseconds()) / float64(times)
}

// BenchmarkJobShow is what looking at one job costs among 20,000 entries in times of 200: the fastest of many, in turns.
func BenchmarkJobShow(b *testing.B) {
	shows := map[int]func() time.Duration{}
	best := map[int]time.Duration{}
	for _, n := range []int{200, 20000} {
		w := newWorldFor(b).released()
		w.mixed(n)
		w.must(nil, w.tech.Sync(ctx))
		best[n] = time.Hour
		shows[n] = func() time.Duration {
			start := time.Now()
			if j, err := w.tech.Job(7); err != nil || len(j.GetSubmissions()) != 1 {
				b.Fatal(err)
			}
			return time.Since(start)
		}
	}
	for b.Loop() {
		for n, show := range shows {
			best[n] = min(best[n], show())
		}
	}
	b.ReportMetric(float64(best[200].Microseconds()), "µs-of-200")
	b.ReportMetric(float64(best[20000])/float64(best[200]), "20000×")
}

// BenchmarkJobShowCommand is the same as a person has it: a process that opens the copy and prints a
// job. The server is away, since what the fake's answers cost grows with the ledger.
func BenchmarkJobShowCommand(b *testing.B) {
	program := filepath.Join(b.TempDir(), "witnessmark")
	if out, err := exec.Command("go", "build", "-o", program, "witnessmark/client/witnessmark").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	for _, n := range []int{200, 20000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			w := newWorldFor(b).released()
			w.mixed(n)
			w.must(nil, w.tech.Sync(ctx))
			config := w.tech.own.config
			config.Server = "127.0.0.1:1"
			w.must(nil, w.tech.own.home.writeJSON(configFile, config))
			for b.Loop() {
				command := exec.Command(program, "job", "show", "7")
				command.Env = append(os.Environ(), "WITNESSMARK_HOME="+w.tech.own.home.Dir)
				if out, err := command.CombinedOutput(); err != nil || !strings.Contains(string(out), "submission 7.1") {
					b.Fatalf("%v: %s", err, out)
				}
			}
		})
	}
}

// BenchmarkLists is what a page of jobs, a search and the tray cost with 3,000 jobs, in times of what they cost
// with 30: at most twice. Each is the best of all rounds, since others use the machine too.
func BenchmarkLists(b *testing.B) {
	const each = 9 // entries of a job, about
	lists := map[string]func(c *Client) error{
		"newest": func(c *Client) error { _, err := c.FindJobs(JobFilter{}); return err },
		"filters": func(c *Client) error {
			_, err := c.FindJobs(JobFilter{Text: "hc", Query: record.Query{State: "open", Sort: record.Worst, Person: "cal"}})
			return err
		},
		"search": func(c *Client) error { _, _, err := c.Search("strap", 0); return err },
		"tray":   func(c *Client) error { _, err := c.Tray(ctx, 0); return err },
	}
	best := map[string]map[int]time.Duration{}
	for _, jobs := range []int{30, 3000} {
		w := newWorldFor(b).released()
		w.mixed(jobs * each)
		w.must(nil, w.lead.Sync(ctx))
		if page, err := w.lead.FindJobs(JobFilter{}); err != nil || page.Found < jobs || len(page.Jobs) != UsualPage {
			b.Fatalf("%v, %v", page, err)
		}
		for name, list := range lists {
			if best[name] == nil {
				best[name] = map[int]time.Duration{}
			}
			least := time.Hour
			for range 20 {
				start := time.Now()
				w.must(nil, list(w.lead))
				least = min(least, time.Since(start))
			}
			best[name][jobs] = least
		}
	}
	for b.Loop() {
	}
	for name, took := range best {
		b.ReportMetric(float64(took[3000])/float64(took[30]), name+"×")
		b.ReportMetric(float64(took[3000].Microseconds()), name+"-µs")
	}
}
