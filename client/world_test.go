package client

import (
	"context"
	"crypto/ed25519"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// A controller small enough to be read here: one map, a software number, a frame number.
const (
	testDefinition = `name: bench
title: Bench controller
byte_order: big
image: {start: 0x0, size: 0x100, segments: [{start: 0x0, end: 0x100, content: calibration}]}
identity:
  - {id: software, address: 0x00, length: 4, encoding: ascii, expect: "SW01"}
  - {id: frame, address: 0x10, length: 8, encoding: ascii, vehicle: true, private: true}
tables:
  - id: ignition.base
    quantity: ignition_advance
    unit: deg
    stored: {address: 0x40, type: u8}
    x: {id: rpm, quantity: engine_speed, unit: 1/min, points: [1000, 2000, 3000, 4000]}
volatile:
  - {start: 0xF0, end: 0x100, title: learned idle}
`
	testLimits = `name: bench-98
title: Bench
applies_to: [bench]
rules:
  - {id: advance-warn, severity: warning, select: {tables: [ignition.base]}, range: {unit: deg, min: 0, max: 30}, reason: knock, source: common practice}
  - {id: advance-stop, severity: danger, select: {tables: [ignition.base]}, range: {unit: deg, min: 0, max: 60}, reason: pistons, source: common practice}
`
	frame = "FRAME001"
	key   = "advance-warn:ignition.base"
)

// testImage is an image whose map holds these four cells.
func testImage(cells string) []byte {
	b := make([]byte, 0x100)
	copy(b, "SW01")
	copy(b[0x10:], frame)
	copy(b[0x40:], cells)
	return b
}

// world is a fake server and its people, each with a home of their own.
type world struct {
	testing.TB
	fake            *fake
	dir             string
	lead, tech, cal *Client
}

func newWorld(t *testing.T) *world { t.Helper(); return newWorldFor(t) }

func newWorldFor(t testing.TB) *world {
	t.Helper()
	w := &world{TB: t, dir: t.TempDir()}
	lead := w.newKey("lead")
	w.fake = startFake(t, lead, false)
	w.lead = w.login("lead", "lead")
	w.newKey("tech")
	w.newKey("cal")
	w.must(w.lead.Enrol(ctx, "tech", []string{"technician"}, w.path("tech.pub")))
	w.must(w.lead.Enrol(ctx, "cal", []string{"calibrator"}, w.path("cal.pub")))
	w.tech, w.cal = w.login("tech", "tech"), w.login("cal", "cal")
	w.document(Definitions, testDefinition)
	w.document(Limits, testLimits)
	w.must(w.open("HC 18"))
	w.read(1, testImage("\x0a\x0b\x0c\x0d"))
	return w
}

func (w *world) document(kind, text string) {
	w.Helper()
	_, _, err := w.lead.AddDocument(ctx, kind, w.write("document.yaml", []byte(text)))
	w.must(nil, err)
}

func (w *world) open(plate string) (*recordv1.Job, error) {
	return w.tech.OpenJob(ctx, NewJob{Definition: "bench", Details: Details{Plate: plate, Limits: "bench-98"}})
}

func (w *world) read(job uint32, file []byte) {
	w.Helper()
	_, _, err := w.tech.AddRead(ctx, NewRead{Job: job, Path: w.write("read.bin", file)})
	w.must(nil, err)
}

// released takes the world on to a release that carries a warning.
func (w *world) released() *world {
	w.Helper()
	w.submit("\x0a\x0b\x0c\x20")
	w.sign(1)
	return w
}

func (w *world) submit(cells string) {
	w.Helper()
	_, _, err := w.cal.Submit(ctx, NewSubmission{Job: 1, Path: w.write("sub.bin", testImage(cells)), Note: "more advance"})
	w.must(nil, err)
}

func (w *world) sign(n uint32) {
	w.Helper()
	w.must(nil, w.lead.Sync(ctx))
	r, err := w.lead.Review(ctx, 1, n)
	w.must(nil, err)
	w.must(w.lead.SignOff(ctx, r, map[string]string{key: "watched on the rolling road"}, nil))
}

var ctx = context.Background()

func (w *world) path(name string) string { return filepath.Join(w.dir, name) }

func (w *world) write(name string, b []byte) string {
	w.Helper()
	w.must(nil, os.WriteFile(w.path(name), b, 0o600))
	return w.path(name)
}

func (w *world) must(_ any, err error) {
	w.Helper()
	if err != nil {
		w.Fatal(err)
	}
}

func (w *world) newKey(name string) ed25519.PublicKey {
	w.Helper()
	k, err := NewKey(w.path(name), "", nil)
	w.must(nil, err)
	return k
}

// login logs a key in with a fresh home.
func (w *world) login(home, key string) *Client {
	w.Helper()
	c, err := w.tryLogin(home, key)
	w.must(nil, err)
	return c
}

func (w *world) tryLogin(home, key string) (*Client, error) { return w.loginSeen(home, key, "") }

func (w *world) loginSeen(home, key, seen string) (*Client, error) {
	c, err := Login(ctx, &Home{Dir: w.path("home-" + home)}, w.fake.addr, w.path(key), nil, func(f string) error {
		if want := fingerprintOf(w.fake.genesis); f != want {
			w.Errorf("fingerprint %s, want %s", f, want)
		}
		return nil
	}, seen)
	if err == nil {
		w.Cleanup(func() { _ = c.Close() })
	}
	return c, err
}

// collect asks for the release with a frame number, and answers with the error.
func (w *world) collect(c *Client) error {
	_, err := c.Collect(ctx, Collecting{Job: 1, Out: w.path("out.bin"), Frame: frame})
	return err
}

// nothingWritten fails if any file of a collection is there, whole or in part.
func (w *world) nothingWritten() {
	w.Helper()
	files, err := os.ReadDir(w.dir)
	w.must(nil, err)
	for _, f := range files {
		if strings.Contains(f.Name(), "out.bin") {
			w.Errorf("%s was written", f.Name())
		}
	}
}

// refusedAs fails unless the error is of the kind and says the words.
func (w *world) refusedAs(err error, kind Kind, words string) {
	w.Helper()
	if err == nil {
		w.Fatalf("nothing was refused; want %q", words)
	}
	if KindOf(err) != kind || !strings.Contains(err.Error(), words) {
		w.Errorf("got kind %d, %q; want kind %d with %q", KindOf(err), err, kind, words)
	}
	if strings.Contains(err.Error(), frame) {
		w.Errorf("%q prints a private field", err)
	}
}

func TestWholePath(t *testing.T) {
	w := newWorld(t).released()
	got, err := w.tech.Collect(ctx, Collecting{Job: 1, Out: w.path("out.bin"), Frame: "frame-001"})
	w.must(nil, err)
	b, err := os.ReadFile(w.path("out.bin"))
	w.must(nil, err)
	if string(b) != string(testImage("\x0a\x0b\x0c\x20")) || got.FileSHA256 != HashHex(b) {
		t.Errorf("the file is not the submission")
	}
	sheet, err := os.ReadFile(w.path("out.bin.sheet.txt"))
	w.must(nil, err)
	// The sheet has neither keys nor times in it, so that it can be held to a page that people read.
	golden, err := os.ReadFile(filepath.Join("testdata", "bay-sheet.txt"))
	w.must(nil, err)
	if string(sheet) != string(golden) {
		t.Errorf("the bay sheet is not testdata/bay-sheet.txt:\n%s", sheet)
	}
	if got.FileSHA256 != HashHex(b) || !strings.Contains(string(sheet), got.FileSHA256) {
		t.Error("the sheet does not name the file")
	}
	if strings.Contains(string(sheet), frame) {
		t.Error("the bay sheet prints a private field")
	}
	v, err := VerifyProof(w.tech.own.home, w.path("out.bin.proof.zip"), "")
	w.must(nil, err)
	if Name(v.Submission) != "1.1" || v.Report.Verdict != "warning" {
		t.Errorf("the proof shows %s, %s", Name(v.Submission), v.Report.Verdict)
	}
	back := testImage("\x0a\x0b\x0c\x20")
	back[0xF3] = 7 // learned since
	f, err := w.tech.Readback(ctx, 1, w.write("back.bin", back), "")
	w.must(nil, err)
	if !f.Readback.Matches {
		t.Error(f.Why)
	}
	back[0x41]++
	if f, err = w.tech.Readback(ctx, 1, w.write("back.bin", back), ""); err != nil || f.Readback.Matches || f.Report == nil {
		t.Errorf("a changed cell in a read-back: %+v, %v", f, err)
	}
	_, err = w.tech.VerifyLedger(ctx, true)
	w.must(nil, err)
	if signoff.Fingerprint(w.tech.Key()) == "" {
		t.Error("no fingerprint")
	}
}

func asEd25519(w *world, s any) ed25519.PrivateKey {
	w.Helper()
	k, ok := s.(ed25519.PrivateKey)
	if !ok {
		w.Fatalf("a key of type %T", s)
	}
	return k
}

func contextWithTimeout() (context.Context, func()) { return context.WithTimeout(ctx, 20*time.Second) }
