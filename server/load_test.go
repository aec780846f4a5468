package server

import (
	"context"
	"crypto/tls"
	"fmt"
	"net"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/store/storetest"
)

const honest = 16

// abuse prepares one way to be in everybody's way, and how many do it side by side, again and again. Errors
// are what it is there for.
type abuse func(b *bench) (beside int, do func(ctx context.Context))

var abuses = map[string]abuse{
	"silent connections": func(b *bench) (int, func(context.Context)) {
		return 8, func(ctx context.Context) {
			if c, err := net.Dial("tcp", b.srv.Addr()); err == nil {
				time.AfterFunc(200*time.Millisecond, func() { c.Close() })
			}
			time.Sleep(time.Millisecond)
		}
	},
	"a stranger's handshakes": func(b *bench) (int, func(context.Context)) {
		config := clientTLS(b.TB, testKey("stranger"), publicOf(b.srv.home.key))
		return 2, func(context.Context) { _ = handshake(b.srv.Addr(), config) }
	},
	"half-sent requests": func(b *bench) (int, func(context.Context)) {
		config := clientTLS(b.TB, b.keys["abuser"], publicOf(b.srv.home.key))
		return 2, func(ctx context.Context) {
			if c, err := tls.Dial("tcp", b.srv.Addr(), config); err == nil {
				_, _ = c.Write(halfRequests("/witnessmark.service.v1.Record/Admit", perConnection, 1<<20))
				time.Sleep(20 * time.Millisecond)
				c.Close()
			}
		}
	},
	"uploads that dribble": func(b *bench) (int, func(context.Context)) {
		data := make([]byte, 8<<20)
		sha := b.have(data)
		a, o := b.note(1, "a film", data)
		env := b.seal("abuser", b.carry(a))
		return 8, func(ctx context.Context) {
			s, err := tryBegin(ctx, b.as("abuser"))
			if err != nil {
				return
			}
			defer s.cancel()
			s.action(env, o...)
			if _, err := s.Recv(); err != nil {
				return
			}
			s.part(&servicev1.BlobPart{Sha256: sha, Size: uint64(len(data)), Data: data[:1]})
			select {
			case <-ctx.Done():
			case <-time.After(time.Second):
			}
		}
	},
	"downloads that stall": func(b *bench) (int, func(context.Context)) {
		sha := hashOf(demoFile(b, "asfound.bin"))
		return 16, func(ctx context.Context) {
			inner, cancel := context.WithTimeout(ctx, 500*time.Millisecond)
			defer cancel()
			if s, err := servicev1.NewBlobsClient(b.as("abuser")).Download(inner, &servicev1.DownloadRequest{Sha256: sha}); err == nil {
				_, _ = s.Recv()
				<-inner.Done()
			}
		}
	},
	"reports that grow": func(b *bench) (int, func(context.Context)) {
		bomb := make([]byte, 8<<20)
		for i := 0; i < len(bomb); i += 2 {
			bomb[i] = 0x72
		}
		read, o := b.read(1, demoFile(b, "asfound.bin"))
		read.GetRead().Check = &recordv1.Judgement{ReportSha256: b.have(bomb), Verdict: "clear"}
		env := b.seal("abuser", b.carry(read))
		return 1, func(ctx context.Context) { _, _, _ = bring(b.TB, b.as("abuser"), b.files, env, o...) }
	},
	"corridors as large as an action may be": func(b *bench) (int, func(context.Context)) {
		open := &recordv1.OpenCorridor{Job: 1, FromSha256: hashOf(demoFile(b, "asfound.bin")), Authors: []string{"calibrator"}, Most: "caution", Maps: 1,
			Definition: b.revision(record.Definitions, definitionName), Limits: b.revision(record.Limits, limitsName), Fuel: "98 RON"}
		for i := range 10000 {
			open.Tables = append(open.Tables, &recordv1.CorridorTable{Table: fmt.Sprintf("no.such.table.%d", i), Up: "1", Down: "1"})
		}
		env := b.seal("abuser", b.carry(&recordv1.Action{Body: &recordv1.Action_Corridor{Corridor: open}}))
		_, _, err := bring(b.TB, b.as("abuser"), nil, env)
		wantFault(b.TB, err, codes.InvalidArgument, record.ReasonBadValue)
		return 3, func(context.Context) { _, _, _ = bring(b.TB, b.as("abuser"), nil, env) }
	},
	"actions without end": func(b *bench) (int, func(context.Context)) {
		return 8, func(ctx context.Context) { _, _, _ = bring(b.TB, b.as("abuser"), nil, []byte("{}")) }
	},
}

var plates atomic.Int64

// TestHonestBesideAbuse measures how many entries honest people get in, alone and beside each abuser. In the long
// run they keep at least half of their rate; the short one only goes the way.
func TestHonestBesideAbuse(t *testing.T) {
	long := storetest.Long(t, 0)
	b := newBench(t)
	b.enrol("abuser", "technician", "calibrator", "lead")
	b.as("abuser") // a connection that outlives each part
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	read, o := b.read(1, demoFile(t, "asfound.bin"))
	b.do("technician", read, o)
	people := make([]string, honest)
	for i := range people {
		people[i] = fmt.Sprintf("honest %d", i)
		b.enrol(people[i], "technician")
	}
	rounds, span := 1, 50*time.Millisecond
	if long > 0 {
		rounds, span = 5, min(long, 10*time.Second)
	}
	b.rate(people, span, 0, nil) // to warm up
	for name, abuse := range abuses {
		t.Run(name, func(t *testing.T) {
			b.TB = t
			beside, do := abuse(b)
			var alone, with, best float64
			for range rounds { // in turns, so that what else the machine does falls on both
				a, w := b.rate(people, span/time.Duration(rounds), 0, nil), b.rate(people, span/time.Duration(rounds), beside, do)
				alone, with, best = alone+a/float64(rounds), with+w/float64(rounds), max(best, w/a)
			}
			var m runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&m)
			t.Logf("%d honest callers: %.0f entries a second alone, %.0f beside it (%.2f, in the best turn %.2f); %d MiB live", honest, alone, with, with/alone, best, m.HeapAlloc>>20)
			if long > 0 && best < 0.5 { // an abuser does it in every turn, another process of the machine in one
				t.Errorf("in no turn do they keep more than %.2f of their rate, want half", best)
			}
		})
	}
	b.quiet()
	b.well()
}

// rate is how many jobs a second honest people get in, each waiting for an answer before the next.
func (b *bench) rate(people []string, span time.Duration, beside int, abuse func(context.Context)) float64 {
	b.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	var abusing, working sync.WaitGroup
	defer func() { cancel(); abusing.Wait() }()
	for range beside {
		abusing.Go(func() {
			for ctx.Err() == nil {
				abuse(ctx)
			}
		})
	}
	first, o := b.openJob("N 0")
	fuels := b.filled(first, o...).GetJob().GetDetails().GetLimitsFuel()
	var in atomic.Int64
	end := time.Now().Add(span)
	for _, who := range people {
		conn := b.as(who)
		working.Go(func() {
			for time.Now().Before(end) {
				a, o := b.openJob(fmt.Sprintf("N %d", plates.Add(1))) // a new car, which needs no claims computed
				a.GetJob().GetDetails().LimitsFuel = fuels
				_, _, err := bring(b.TB, conn, nil, b.seal(who, b.carry(a)), o...)
				if err != nil && faultOf(err).GetReason() != "busy" { // the next free number was somebody else's, again and again
					b.Errorf("%s: %v", who, err)
					return
				}
				in.Add(1)
			}
		})
	}
	working.Wait()
	return float64(in.Load()) / span.Seconds()
}
