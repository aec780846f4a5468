package server

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"witnessmark/client"
	"witnessmark/client/grown"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/postgres/pgtest"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// grow has a stopped folder's ledger have so many jobs, each like the first; every other one waits for its sign-off,
// which is the last that was done in the first.
func (b *bench) grow(jobs uint32) {
	b.Helper()
	e, err := bolt.Open(filepath.Join(b.dir, storeFile))
	if err != nil {
		b.Fatal(err)
	}
	var deeds []grown.Deed
	for next := uint32(2); err == nil && next <= jobs; {
		err = e.Update(func(w store.WriteTx) error {
			s := record.Write(w)
			if deeds == nil {
				var told []*recordv1.Told
				for i := range s.Size() {
					one, err := record.Told(w, i)
					if err != nil {
						return err
					}
					told = append(told, one)
				}
				if deeds, err = grown.Deeds(s, told, b.keys["lead"], b.keys["technician"], b.keys["calibrator"]); err != nil {
					return err
				}
			}
			for end := min(next+100, jobs+1); next < end; next++ {
				if _, err := grown.Again(s, next, "2026-01-02T03:04:05Z", deeds[:len(deeds)-int(next%2)]); err != nil {
					return err
				}
			}
			return s.Finish()
		})
	}
	if err = errors.Join(err, e.Close()); err != nil {
		b.Fatal(err)
	}
}

// BenchmarkLists has a person whose client is up to date look at the jobs and at the tray, and another program list a
// hundred jobs, with 50 jobs and with 5,000: at a folder's server, and at a database's that holds the same ledger.
// Each is the fastest of all rounds, in turns, since others use the machine too: the database's in times of the
// folder's, and 5,000 jobs in times of 50.
func BenchmarkLists(b *testing.B) {
	best := map[string]time.Duration{}
	for _, jobs := range []uint32{50, 5000} {
		w := newBench(b)
		w.released("HC 1")
		w.stop()
		w.grow(jobs)
		moving := Place{Dir: w.spoiled(nil), Database: pgtest.URL(b)}
		if _, err := moving.Move(); err != nil {
			b.Fatal(err)
		}
		w.start()
		beside := &bench{workshop: &workshop{TB: b, place: moving, dir: moving.Dir, logs: &lockedBuffer{}, files: w.files, keys: w.keys}}
		beside.start()
		b.Cleanup(beside.stop)
		looks := map[string]func() error{}
		for at, s := range map[string]*workshop{"folder": w.workshop, "database": beside.workshop} {
			s.srv.gate.asking = newPace(beat{1_000_000, 1_000_000}) // none of its bounds is what is measured
			c, list := s.person("lead"), servicev1.NewJobsClient(s.as("lead"))
			looks["job-list/"+at] = func() error {
				page, err := c.FindJobs(client.JobFilter{})
				if err == nil && page.Found < int(jobs) {
					err = fmt.Errorf("%d jobs", page.Found)
				}
				return errors.Join(c.Sync(b.Context()), err)
			}
			looks["tray/"+at] = func() error {
				tray, err := c.Tray(b.Context(), 0)
				if err == nil && len(tray.Waits) == 0 {
					err = errors.New("nothing waits")
				}
				return errors.Join(c.Sync(b.Context()), err)
			}
			looks["Jobs.List/"+at] = func() error {
				page, err := list.List(b.Context(), &servicev1.JobsListRequest{After: jobs / 2, PageSize: 25})
				if err == nil && len(page.GetJobs()) != 25 {
					err = fmt.Errorf("%d jobs", len(page.GetJobs()))
				}
				return err
			}
		}
		for range 30 {
			for name, look := range looks {
				start := time.Now()
				if err := look(); err != nil {
					b.Fatalf("%s: %v", name, err)
				}
				name = fmt.Sprint(name, "/", jobs)
				if took := time.Since(start); best[name] == 0 || took < best[name] {
					best[name] = took
				}
			}
		}
	}
	for b.Loop() {
	}
	for _, list := range []string{"job-list", "tray", "Jobs.List"} {
		in := func(at string, jobs int) float64 {
			return float64(best[fmt.Sprint(list, "/", at, "/", jobs)].Microseconds())
		}
		unit := func(of string) string { return list + ":" + of }
		b.ReportMetric(in("folder", 5000), unit("folder-µs"))
		b.ReportMetric(in("database", 5000), unit("database-µs"))
		b.ReportMetric(in("database", 5000)/in("folder", 5000), unit("database/folder"))
		b.ReportMetric(in("folder", 5000)/in("folder", 50), unit("folder-5000/50"))
		b.ReportMetric(in("database", 5000)/in("database", 50), unit("database-5000/50"))
	}
}

// person is somebody's own client, with a home of its own.
func (w *workshop) person(name string) *client.Client {
	w.Helper()
	dir := w.TempDir()
	pem, err := signoff.MarshalPrivateKey(testKey(name), name, nil)
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "key"), pem, 0o600)
	}
	if err != nil {
		w.Fatal(err)
	}
	c, err := client.Login(w.Context(), &client.Home{Dir: filepath.Join(dir, "home")}, w.srv.Addr(), filepath.Join(dir, "key"), nil, func(string) error { return nil }, "")
	if err != nil {
		w.Fatal(err)
	}
	w.Cleanup(func() { _ = c.Close() })
	return c
}
