package server

import (
	"crypto/rand"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// BenchmarkPlaces has sixteen people write notes with a file of 64 KiB, each in a job of their own and waiting for the
// answer before the next, and one person look at a job: at a folder's server, at a database's, and at two of one.
func BenchmarkPlaces(b *testing.B) {
	for _, c := range []struct {
		name    string
		place   func(testing.TB) Place
		servers int
	}{{"folder", newFolderPlace, 1}, {"database", newDatabasePlace, 1}, {"database, two servers", newDatabasePlace, 2}} {
		w := newSmallBenchIn(b, c.place(b))
		const people = 16
		for i := range people {
			w.enrol(fmt.Sprint("person ", i), "technician")
			w.smallJob(uint32(i + 1))
		}
		servers := []*workshop{w.workshop}
		for len(servers) < c.servers {
			servers = append(servers, w.beside())
		}
		for _, s := range servers { // none of its bounds is what is measured
			s.srv.gate.asking = newPace(beat{1_000_000, 1_000_000})
		}
		b.Run("16 write/"+c.name, func(b *testing.B) { w.write(b, servers, people) })
		b.Run("look/"+c.name, func(b *testing.B) {
			jobs := servicev1.NewJobsClient(w.as("lead"))
			for b.Loop() {
				if _, err := jobs.Get(b.Context(), &servicev1.JobsGetRequest{Number: 1}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// write shares b.N notes among people.
func (w *bench) write(b *testing.B, servers []*workshop, people int) {
	var left atomic.Int64
	left.Store(int64(b.N))
	var wg sync.WaitGroup
	for i := range people {
		who, at := fmt.Sprint("person ", i), servers[i%len(servers)]
		conn := at.as(who)
		wg.Go(func() {
			for left.Add(-1) >= 0 {
				film := make([]byte, 64<<10)
				_, _ = rand.Read(film)
				a, o := w.note(uint32(i+1), "seen on the hill", film)
				if _, _, err := bring(b, conn, map[string][]byte{hashOf(film): film}, at.seal(who, at.carry(a)), o...); err != nil {
					b.Errorf("%s: %v", who, err)
					return
				}
			}
		})
	}
	wg.Wait()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "actions/s")
}
