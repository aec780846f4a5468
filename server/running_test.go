package server

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
)

// TestStopLetsRunningCallsEnd: an action that is on its way when the server begins to stop goes in, a download
// comes to its end, and nothing new begins.
func TestStopLetsRunningCallsEnd(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	first, env, o := b.withFile(4 << 20)
	if _, err := b.bring("technician", env, o...); err != nil {
		t.Fatal(err)
	}
	b.tune = func(o *Options) { o.StopWithin = time.Minute }
	b.restart()
	data, env, o := b.withFile(1 << 20)
	s := begin(t, b.as("technician"))
	s.action(env, o...)
	if _, err := s.Recv(); err != nil {
		t.Fatal(err)
	}
	down, err := servicev1.NewBlobsClient(b.as("calibrator")).Download(within(t), &servicev1.DownloadRequest{Sha256: hashOf(first)})
	if err != nil {
		t.Fatal(err)
	}
	m, err := down.Recv()
	if err != nil {
		t.Fatal(err)
	}
	stopped := make(chan error, 1)
	go func() { stopped <- b.srv.Stop() }()
	b.until("it takes nothing new", func() bool {
		return handshake(b.srv.Addr(), clientTLS(t, b.keys["lead"], publicOf(b.srv.home.key))) != nil
	})
	s.blob(data)
	answer, err := s.Recv()
	if err != nil || answer.GetAdmitted() == nil {
		t.Errorf("the action on its way: %v %v", answer, err)
	}
	got := len(m.GetChunk())
	for err == nil {
		if m, err = down.Recv(); err == nil {
			got += len(m.GetChunk())
		}
	}
	if err != io.EOF || got != len(first) {
		t.Errorf("the download on its way: %d of %d bytes, %v", got, len(first), err)
	}
	if err := <-stopped; err != nil {
		t.Error(err)
	}
}

// TestClockThatJumps: days forth and back between entries and in a batch break nothing: only the index orders.
func TestClockThatJumps(t *testing.T) {
	b := newBench(t)
	var ahead atomic.Int64
	b.tune = func(o *Options) { o.Now = func() time.Time { return time.Now().Add(time.Duration(ahead.Load())) } }
	b.restart()
	const day = 24 * time.Hour
	steps := []time.Duration{3 * day, -5 * day, 400 * day, -20_000 * day, 0}
	for i, d := range steps {
		ahead.Store(int64(d))
		job := b.released([]string{"AB 12 CD", "EF 34 GH", "IJ 56 KL", "MN 78 OP", "QR 90 ST"}[i])
		b.act("technician", b.collect(job, 1, hashOf(demoFile(t, "submission-2.bin"))))
		b.have(demoFile(t, "readback.bin"))
		b.act("technician", &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: job, Image: wholeImage(demoFile(t, "readback.bin"))}}})
		b.restart()
	}
	b.sync()
	var times []string
	b.look(func(s *record.State) {
		for n := range uint32(len(steps)) {
			job, _ := s.Job(n + 1)
			times = append(times, job.GetOpened().GetAdmittedAt())
		}
	})
	back := 0
	for i := range times[1:] {
		if times[i+1] < times[i] {
			back++
		}
	}
	if back != 2 {
		t.Errorf("time went back %d times in %q, want 2", back, times)
	}
	b.well()
}

// private are the texts that people's work on the demo car holds, and that nobody may find outside the store.
func (b *bench) private() map[string]string {
	return map[string]string{
		"plate": "AB 12 CD", "plate as looked up": "AB12CD", "frame number": b.frameOf(demoFile(b, "asfound.bin")), "name of a file": "read-of-job-1.bin",
		"note of the job": "the hill on Sunday", "note of a submission": "more boost for the larger wheel", "note": "the gauge sticks at 1.4",
		"name of a note's file": "file 1", "a note's file": "what the camera saw", "reason of a sign-off": "fits the parts", "reason of a warning": "seen on the rolling road",
		"name of a person": "calibrator", "another's": "technician", "fuel": "98 RON",
	}
}

// TestNothingPrivateIsTold takes a car along the whole road, with refusals on the way, and looks for each private
// text in the log, in both of its forms, and in the figures. Keys and methods are there.
func TestNothingPrivateIsTold(t *testing.T) {
	b := newBench(t)
	var asJSON lockedBuffer
	b.tune = func(o *Options) {
		o.Place.Log = slog.New(both{o.Place.Log.Handler(), slog.NewJSONHandler(&asJSON, nil)})
		o.Metrics = "127.0.0.1:0"
	}
	b.restart()
	job := b.released("AB 12 CD")
	b.act("technician", b.collect(job, 1, hashOf(demoFile(t, "submission-2.bin"))))
	b.have(demoFile(t, "readback.bin"))
	b.act("technician", &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: job, Image: wholeImage(demoFile(t, "readback.bin"))}}})
	note, o := b.note(job, "the gauge sticks at 1.4", []byte("what the camera saw"))
	b.do("technician", note, o)
	// Refusals name what was wrong: to whoever asked, and to nobody else.
	other := b.patched("ZZZDX1ERASE000042", []byte("other"))
	b.have(other)
	wrong, o := b.read(job, other)
	wrong.GetRead().Check = &recordv1.Judgement{Verdict: "clear"}
	if _, err := b.bring("technician", b.seal("technician", b.carry(wrong)), o...); err == nil {
		t.Error("another car's read went in")
	}
	if _, err := servicev1.NewPeopleClient(b.as("lead")).Get(within(t), &servicev1.PeopleGetRequest{Name: "technician "}); err == nil {
		t.Error("nobody of that name was found")
	}
	b.closeAndErase(job, true)

	addr := regexp.MustCompile(`metrics=(127\.0\.0\.1:\d+)`).FindStringSubmatch(b.logs.String())
	if addr == nil {
		t.Fatalf("it does not say where the figures are: %s", b.logs)
	}
	got, err := http.Get("http://" + addr[1] + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer got.Body.Close()
	figures, err := io.ReadAll(got.Body)
	if err != nil || got.StatusCode != http.StatusOK {
		t.Fatalf("%s %v", got.Status, err)
	}
	told := map[string]string{"log": b.logs.String(), "JSON log": asJSON.String(), "figures": string(figures)}
	for where, text := range told {
		for what, needle := range b.private() {
			if strings.Contains(text, needle) {
				t.Errorf("%s: %q is in the %s", what, needle, where)
			}
		}
		if !strings.Contains(text, "Record/Admit") {
			t.Errorf("the %s does not tell of calls", where)
		}
	}
	for line := range strings.Lines(asJSON.String()) {
		if !json.Valid([]byte(line)) {
			t.Errorf("no JSON: %s", line)
		}
	}
	for _, name := range []string{"calls_total", "call_seconds", "refusals_total", "commit_seconds", "checkpoint_sync_seconds", "actions_waiting", "bytes_total",
		"connections", "handshakes", "calls_under_way", "spooled_bytes", "ledger_entries", "entries_admitted_total", "disk_free_bytes", "writable"} {
		if !strings.Contains(string(figures), "\nwitnessmark_"+name) {
			t.Errorf("no figure witnessmark_%s", name)
		}
	}
	if n := b.figure("witnessmark_entries_admitted_total"); n < 8 || b.figure("witnessmark_ledger_entries") != float64(b.size()) {
		t.Errorf("%v entries were admitted, of %d", n, b.size())
	}
}

// both hands each record to two handlers.
type both [2]slog.Handler

func (h both) Enabled(ctx context.Context, l slog.Level) bool { return true }

func (h both) Handle(ctx context.Context, r slog.Record) error {
	return errors.Join(h[0].Handle(ctx, r.Clone()), h[1].Handle(ctx, r.Clone()))
}

func (h both) WithAttrs(a []slog.Attr) slog.Handler {
	return both{h[0].WithAttrs(a), h[1].WithAttrs(a)}
}
func (h both) WithGroup(n string) slog.Handler { return both{h[0].WithGroup(n), h[1].WithGroup(n)} }
