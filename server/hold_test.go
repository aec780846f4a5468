package server

import (
	"bytes"
	"crypto/tls"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/net/http2"
	"golang.org/x/net/http2/hpack"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
)

// bounded restarts the server with bounds of the test's own.
func (w *workshop) bounded(change func(*bounds)) {
	w.Helper()
	b := usualBounds()
	change(&b)
	w.tune = func(o *Options) { o.bounds = &b }
	w.restart()
}

// until waits for something to become so, which a minute must be enough for.
func (w *workshop) until(what string, so func() bool) {
	w.Helper()
	for end := time.Now().Add(time.Minute); !so(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			w.Fatal("it never came about: ", what)
		}
	}
}

// ended says whether the other side has closed a connection.
func ended(c net.Conn) bool {
	_ = c.SetReadDeadline(time.Now().Add(time.Millisecond))
	_, err := c.Read(make([]byte, 1))
	return err != nil && !errors.Is(err, os.ErrDeadlineExceeded)
}

// TestHandshakesThatDoNotEnd: connections that never say a word are few, the oldest ends for the newest, and
// whoever is honest gets in meanwhile; in the end all of them are ended.
func TestHandshakesThatDoNotEnd(t *testing.T) {
	w := newWorkshop(t)
	w.bounded(func(b *bounds) { b.handshakes, b.handshake = share{4, 8}, 2*time.Second })
	var silent []net.Conn
	for range 40 {
		c, err := net.Dial("tcp", w.srv.Addr())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		silent = append(silent, c)
	}
	if _, err := servicev1.NewRecordClient(w.as("lead")).Head(within(t), &servicev1.HeadRequest{}); err != nil {
		t.Errorf("an honest one: %v", err)
	}
	if _, young := w.srv.listener.count(); young > 4 {
		t.Errorf("%d handshakes are under way from one address, want 4 at most", young)
	}
	w.until("the first ones ended", func() bool { return ended(silent[0]) })
	w.until("all of them ended", func() bool { return !slices.ContainsFunc(silent, func(c net.Conn) bool { return !ended(c) }) })
	w.until("none is counted", func() bool { open, young := w.srv.listener.count(); return open == 1 && young == 0 })
}

// TestStrangersHoldNothing: keys that never were anybody's, many at once, are gone after their handshake.
func TestStrangersHoldNothing(t *testing.T) {
	w := newWorkshop(t)
	var wg sync.WaitGroup
	for range 12 {
		wg.Go(func() {
			config := clientTLS(t, testKey("stranger"), publicOf(w.srv.home.key))
			if err := handshake(w.srv.Addr(), config); err == nil || !strings.Contains(err.Error(), "tls: bad certificate") {
				t.Errorf("a stranger: %v, want to be refused and told so", err)
			}
		})
	}
	wg.Wait()
	w.until("none is open", func() bool { open, _ := w.srv.listener.count(); return open == 0 })
}

// TestSameKeyAgainAndAgain: resumption is off, so that each connection shows its key: none of a stranger's
// sessions opens a door later.
func TestSameKeyAgainAndAgain(t *testing.T) {
	w := newWorkshop(t)
	config := clientTLS(t, w.keys["lead"], publicOf(w.srv.home.key))
	config.ClientSessionCache = tls.NewLRUClientSessionCache(8)
	for range 3 {
		c, err := tls.Dial("tcp", w.srv.Addr(), config)
		if err != nil {
			t.Fatal(err)
		}
		_, err = c.Read(make([]byte, 1))
		if c.ConnectionState().DidResume || err != nil {
			t.Errorf("resumed %t, %v", c.ConnectionState().DidResume, err)
		}
		c.Close()
	}
}

// TestConnectionsOfOneKey: one key has so many, and others get in all the same.
func TestConnectionsOfOneKey(t *testing.T) {
	w := staffed(t)
	w.bounded(func(b *bounds) { b.connections = share{3, 12} })
	config := clientTLS(t, w.keys["technician"], publicOf(w.srv.home.key))
	var in []net.Conn
	for range 3 {
		c, err := tls.Dial("tcp", w.srv.Addr(), config)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		if _, err := c.Read(make([]byte, 1)); err != nil {
			t.Fatalf("one of three: %v", err)
		}
		in = append(in, c)
	}
	if err := handshake(w.srv.Addr(), config); err == nil {
		t.Error("a fourth got in")
	}
	if err := handshake(w.srv.Addr(), clientTLS(t, w.keys["lead"], publicOf(w.srv.home.key))); err != nil {
		t.Errorf("somebody else: %v", err)
	}
	in[0].Close()
	w.until("its place is free", func() bool { return handshake(w.srv.Addr(), config) == nil })
}

// TestRetiredIsToldAndGoes: a key that was somebody's is told who ended that, on few connections, and not for long.
func TestRetiredIsToldAndGoes(t *testing.T) {
	w := staffed(t)
	w.must("lead", retireAction("technician"))
	w.bounded(func(b *bounds) { b.former, b.handshake = share{1, 4}, time.Second })
	config := clientTLS(t, w.keys["technician"], publicOf(w.srv.home.key))
	c, err := tls.Dial("tcp", w.srv.Addr(), config)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := c.Read(make([]byte, 1)); err != nil {
		t.Fatalf("the first: %v", err)
	}
	if err := handshake(w.srv.Addr(), config); err == nil {
		t.Error("a second got in")
	}
	w.until("it is gone", func() bool { open, _ := w.srv.listener.count(); return open == 0 })
	_, err = servicev1.NewRecordClient(w.as("technician")).Head(within(t), &servicev1.HeadRequest{})
	wantFault(t, err, codes.Unauthenticated, "not-enrolled")
}

// halfRequests begin calls on one connection, each with some of the message that it says it will send.
func halfRequests(method string, calls, size int) []byte {
	var out, headers bytes.Buffer
	out.WriteString(http2.ClientPreface)
	f := http2.NewFramer(&out, nil)
	_ = f.WriteSettings()
	for i := range calls {
		headers.Reset()
		h := hpack.NewEncoder(&headers)
		h.SetMaxDynamicTableSize(0)
		for _, field := range [][2]string{{":method", "POST"}, {":scheme", "https"}, {":path", method}, {":authority", "x"}, {"content-type", "application/grpc"}, {"te", "trailers"}} {
			_ = h.WriteField(hpack.HeaderField{Name: field[0], Value: field[1]})
		}
		id := uint32(2*i + 1)
		_ = f.WriteHeaders(http2.HeadersFrameParam{StreamID: id, BlockFragment: headers.Bytes(), EndHeaders: true})
		prefix := binary.BigEndian.AppendUint32([]byte{0}, uint32(size))
		_ = f.WriteData(id, false, append(prefix, make([]byte, min(size/2, 8<<10))...)) // as much as the window has for all
	}
	return out.Bytes()
}

// TestHalfSentRequests: calls that never come to an end are few for each key, also on many connections; others
// are served meanwhile, and after a while nothing of them is left.
func TestHalfSentRequests(t *testing.T) {
	w := staffed(t)
	for _, method := range []string{"/witnessmark.service.v1.Record/Admit", "/witnessmark.service.v1.Jobs/Get", "/witnessmark.service.v1.Blobs/Download"} {
		t.Run(method[strings.LastIndex(method, "/")+1:], func(t *testing.T) {
			w.TB = t
			w.bounded(func(b *bounds) { b.calls, b.rate, b.grace = share{10, 40}, 4<<20, time.Second })
			config := clientTLS(t, w.keys["technician"], publicOf(w.srv.home.key))
			for range 3 {
				conn, err := tls.Dial("tcp", w.srv.Addr(), config)
				if err != nil {
					t.Fatal(err)
				}
				defer conn.Close()
				go io.Copy(io.Discard, conn)
				if _, err := conn.Write(halfRequests(method, perConnection, 1<<20)); err != nil {
					t.Fatal(err)
				}
			}
			w.until("they are there", func() bool { return w.srv.gate.calls.total() >= 10 })
			if n := w.srv.gate.calls.total(); n > 11 {
				t.Errorf("%d calls are under way, want 10 and an honest one at most", n)
			}
			if _, err := servicev1.NewPeopleClient(w.as("lead")).Get(within(t), &servicev1.PeopleGetRequest{}); err != nil {
				t.Errorf("an honest one: %v", err)
			}
			w.until("they have ended", func() bool { return w.srv.gate.calls.total() == 0 })
			if w.figure(`witnessmark_refusals_total{reason="too-many"}`) == 0 || w.figure(`witnessmark_refusals_total{reason="too-slow"}`) == 0 {
				t.Errorf("it was not counted:\n%s", w.figures())
			}
		})
	}
}

// TestMessageTooLarge: a message that says it is larger than any may be is refused before it comes.
func TestMessageTooLarge(t *testing.T) {
	w := newWorkshop(t)
	s := begin(t, w.as("lead"))
	s.part(&servicev1.BlobPart{Data: make([]byte, maxMessage)})
	if _, err := s.Recv(); status.Code(err) != codes.ResourceExhausted {
		t.Errorf("%v", err)
	}
}

// TestTooSlow: who holds room and does not get on is sent away, and leaves nothing: not a word, and a byte now
// and then.
func TestTooSlow(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	data, env, o := b.withFile(1 << 20)
	for name, dribble := range map[string]bool{"nothing comes": false, "it never ends": true} {
		t.Run(name, func(t *testing.T) {
			b.TB = t
			b.bounded(func(b *bounds) { b.grace, b.rate = 100*time.Millisecond, 4<<20 })
			s := begin(t, b.as("technician"))
			s.action(env, o...)
			if _, err := s.Recv(); err != nil { // a busy machine may be slow enough by itself
				wantFault(t, err, codes.DeadlineExceeded, "too-slow")
				return
			}
			s.part(&servicev1.BlobPart{Sha256: hashOf(data), Size: 1 << 20, Data: data[:1]})
			done := make(chan struct{})
			if dribble {
				go func() {
					for i := 1; ; i++ {
						select {
						case <-done:
							return
						case <-time.After(5 * time.Millisecond):
							s.part(&servicev1.BlobPart{Data: data[i : i+1]})
						}
					}
				}()
			}
			_, err := s.Recv()
			close(done)
			wantFault(t, err, codes.DeadlineExceeded, "too-slow")
			b.leavesNothing()
		})
	}
}

// TestSpoolIsShared: one who has all of what one may have on the way is refused more, and is in nobody's way;
// all together have what there is, and all of it is given back.
func TestSpoolIsShared(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	b.bounded(func(b *bounds) { b.spooled = share{2000, 3500} })
	holding := func(who string) *bringing {
		data := []byte(strings.Repeat(who, 1500)[:1500])
		a, o := b.note(1, "a film by "+who, data)
		s := begin(t, b.as(who))
		s.action(b.seal(who, b.filled(a, o...)), o...)
		if _, err := s.Recv(); err != nil {
			t.Fatal(err)
		}
		s.part(&servicev1.BlobPart{Sha256: hashOf(data), Size: 1500, Data: data[:1]})
		return s
	}
	brings := func(who string) error {
		a, o := b.note(1, "another film by "+who, []byte(strings.Repeat(who, 1000)[:1000]))
		_, err := b.bring(who, b.seal(who, b.filled(a, o...)), o...)
		return err
	}
	first := holding("technician")
	b.until("it holds its room", func() bool { return b.srv.spool.held.total() == 1500 })
	wantFault(t, brings("technician"), codes.ResourceExhausted, "too-many")
	if err := brings("calibrator"); err != nil {
		t.Errorf("somebody else: %v", err)
	}
	b.until("that one is done", func() bool { return b.srv.spool.held.total() == 1500 })
	second := holding("calibrator")
	b.until("both hold their room", func() bool { return b.srv.spool.held.total() == 3000 })
	wantFault(t, brings("lead"), codes.ResourceExhausted, "too-many")
	first.cancel()
	second.cancel()
	b.quiet()
	for _, who := range []string{"technician", "calibrator", "lead"} {
		if who != "calibrator" {
			if err := brings(who); err != nil {
				t.Errorf("%s, afterwards: %v", who, err)
			}
		}
	}
	b.leavesNothing()
}

// openViews counts the transactions that are open.
type openViews struct {
	store.Engine
	open *atomic.Int32
}

func (o openViews) View(fn func(store.ReadTx) error) error {
	o.open.Add(1)
	defer o.open.Add(-1)
	return o.Engine.View(fn)
}

// TestSlowDownloads: those who do not read hold no transaction, not more bytes than there are for one, and are ended.
func TestSlowDownloads(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	data, env, o := b.withFile(6 << 20)
	if _, err := b.bring("technician", env, o...); err != nil {
		t.Fatal(err)
	}
	var views atomic.Int32
	stalling := func(grace time.Duration, downloads int) (slow []servicev1.Blobs_DownloadClient, refused int) {
		t.Helper()
		bounds := usualBounds()
		bounds.sending, bounds.grace, bounds.rate = share{20 << 20, 80 << 20}, grace, 1<<20
		b.tune = func(o *Options) {
			o.bounds = &bounds
			o.StopWithin = 200 * time.Millisecond
			o.wrap = func(e store.Engine) store.Engine { return openViews{e, &views} }
		}
		b.restart()
		for range downloads {
			s, err := servicev1.NewBlobsClient(b.as("calibrator")).Download(within(t), &servicev1.DownloadRequest{Sha256: hashOf(data)})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := s.Recv(); err != nil {
				wantFault(t, err, codes.ResourceExhausted, "too-many")
				refused++
				continue
			}
			slow = append(slow, s)
		}
		return slow, refused
	}
	if slow, refused := stalling(time.Hour, 5); len(slow) != 3 || refused != 2 {
		t.Errorf("%d downloads are under way and %d were refused, want 3 and 2", len(slow), refused)
	}
	b.until("no transaction is open while they stall", func() bool { return views.Load() == 0 })
	b.until("the three are under way", func() bool { return b.srv.gate.calls.total() == 3 })
	if got, err := download(t, servicev1.NewBlobsClient(b.as("lead")), hashOf(data)); err != nil || !bytes.Equal(got, data) {
		t.Errorf("somebody who reads: %v", err)
	}
	slow, _ := stalling(time.Second, 1)
	b.until("it has ended", func() bool { return b.srv.gate.calls.total() == 0 })
	for _, s := range slow {
		var err error
		for err == nil {
			_, err = s.Recv()
		}
		wantFault(t, err, codes.DeadlineExceeded, "too-slow")
	}
}
