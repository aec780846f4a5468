package claims

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/memory"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/tables/image"
)

// tiny is a definition that a person can check by hand: 128 bytes from 0x1000.
const tiny = `
name: tiny
title: A tiny controller
byte_order: big
image:
  start: 0x1000
  size: 0x80
  segments: [{start: 0x1000, end: 0x1080, content: calibration}]
identity:
  - {id: software, address: 0x1000, length: 4, encoding: ascii, expect: "SW-1"}
  - {id: frame, address: 0x1008, length: 8, encoding: ascii, vehicle: true, private: true}
  - {id: immobiliser, address: 0x1010, length: 2, encoding: hex, vehicle: true, private: true}
tables:
  - id: boost
    quantity: manifold_pressure
    unit: kPa
    stored: {address: 0x1020, type: u8}
    x: {id: rpm, quantity: engine_speed, unit: 1/min, points: [1000, 2000, 3000, 4000]}
checksums:
  - {id: sum, algorithm: sum-8, over: [{start: 0x1000, end: 0x1060}], stored: {address: 0x1070, type: u8}, restamped_on_write: true}
volatile: [{start: 0x1060, end: 0x1068, title: learned}]
`

const road = `
name: road
title: On the road
applies_to: [tiny]
fuel: ["98 RON"]
rules:
  - {id: high, severity: warning, select: {quantity: manifold_pressure}, range: {unit: kPa, max: 200}, reason: The wheel surges above., source: test}
`

// strict is road with less room.
var strict = strings.Replace(road, "max: 200", "max: 140", 1)

const run98 = "time [s],engine_speed [1/min],torque [N.m]\n0,2000,150\n1,3000,180\n2,4000,190\n3,5000,170\n"

// picture is an image of tiny: a frame number, and the boost at 2000 1/min.
func picture(frame string, boost byte) []byte {
	b := make([]byte, 0x80)
	copy(b, "SW-1")
	copy(b[8:16], frame)
	b[0x10], b[0x11] = 0xAB, 0x01
	copy(b[0x20:], []byte{100, boost, 120, 130})
	b[0x70] = 0
	for _, v := range b[:0x60] {
		b[0x70] += v
	}
	return b
}

// edited changes one byte; sums are left as they were.
func edited(b []byte, at int, to byte) []byte {
	b = bytes.Clone(b)
	b[at] = to
	return b
}

// world is a workshop of one person, in memory. It is the Source of what it admits.
type world struct {
	t       testing.TB
	engine  store.Engine
	c       *Computer
	blobs   map[string][]byte
	sealed  []*recordv1.Opening // of the action that is being written
	entered []entered
}

// entered is an admitted action, and the record as it was when it came.
type entered struct {
	before   store.Engine
	action   *recordv1.Action
	openings []*recordv1.Opening
}

var lead = ed25519.NewKeyFromSeed(bytes.Repeat([]byte{1}, 32))

func at(n int) string {
	return time.Date(2026, 5, 1, 9, 0, n, 0, time.UTC).Format(time.RFC3339)
}

func newWorld(t testing.TB) *world {
	w := &world{t: t, engine: memory.New(), c: New(), blobs: map[string][]byte{}}
	server := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{2}, 32))
	entry, _ := record.NewGenesis(&recordv1.Genesis{
		ServerKey: signoff.FormatPublicKey(server.Public().(ed25519.PublicKey)), LeadName: "L",
		LeadKey: signoff.FormatPublicKey(lead.Public().(ed25519.PublicKey)), OnePerson: true, CreatedAt: at(0), Salt: strings.Repeat("ab", 16),
	})
	w.admit(entry, nil)
	w.do(&recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(tiny)}}})
	w.do(&recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(road)}}})
	return w
}

func (w *world) View(fn func(*record.State) error) error { return record.View(w.engine, fn) }

func (w *world) Blob(what string, sha image.Hash) ([]byte, error) {
	if b, ok := w.blobs[string(sha)]; ok {
		return b, nil
	}
	return nil, fmt.Errorf("%s: %w", what, store.ErrNotFound)
}

// past is the source of an earlier moment.
type past struct {
	*world
	engine store.Engine
}

func (p past) View(fn func(*record.State) error) error { return record.View(p.engine, fn) }

func (w *world) put(b []byte) string {
	sha := string(image.HashOf(b))
	w.blobs[sha] = b
	return sha
}

func (w *world) file(text string) *recordv1.Revision {
	return &recordv1.Revision{Sha256: w.put([]byte(text))}
}

// image names bytes that hold all, or all but some ranges.
func (w *world) image(b []byte, holes ...image.Range) *recordv1.Image {
	im := image.Whole(0x1000, bytes.Clone(b))
	im.Held = image.Minus(im.Held, holes)
	for _, h := range holes {
		for i := h.Start; i < h.End; i++ {
			im.Bytes[i-0x1000] = 0xFF
		}
	}
	w.put(im.Bytes)
	return im.Message()
}

func (w *world) seal(field, text string) *recordv1.Sealed {
	if text == "" {
		return nil
	}
	o := signoff.NewOpening(field, text, rand.Reader)
	w.sealed = append(w.sealed, o)
	return &recordv1.Sealed{Commitment: o.GetCommitment()}
}

// fill makes the claims of an action, with what was sealed for it.
func (w *world) fill(a *recordv1.Action) ([]*recordv1.Opening, *Made, error) {
	openings := w.sealed
	w.sealed = nil
	made, err := w.c.Fill(w, a, openings)
	return openings, made, err
}

// do fills an action, has a computer that knows nothing check it, and enters it by the rules.
func (w *world) do(a *recordv1.Action) *Made {
	w.t.Helper()
	openings, made, err := w.fill(a)
	if err != nil {
		w.t.Fatalf("fill %s: %v", signoff.Kind(a), err)
	}
	if _, err := New().Check(w, a, openings); err != nil {
		w.t.Fatalf("check %s: %v", signoff.Kind(a), err)
	}
	for sha, b := range made.Reports {
		if image.HashOf(b) != sha {
			w.t.Errorf("a report is not what it is named by")
		}
		w.put(b)
	}
	w.enter(a, openings)
	return made
}

// enter admits an action by the rules alone.
func (w *world) enter(a *recordv1.Action, openings []*recordv1.Opening) {
	w.t.Helper()
	var snapshot bytes.Buffer
	before, err := w.engine, w.engine.Snapshot(&snapshot)
	if err == nil {
		before, err = memory.Open(&snapshot)
	}
	w.ok(err)
	w.entered = append(w.entered, entered{before, a, openings})
	w.ok(w.View(func(s *record.State) (err error) {
		root := s.Root(s.Size())
		a.Genesis, a.RequestId, a.Time = s.GenesisSHA256(), fmt.Sprint("r-", s.Size()), at(int(s.Size()))
		a.Seen = &recordv1.Seen{Size: uint32(s.Size()), Root: fmt.Sprintf("%x", root[:])}
		a.ActsOn, err = s.Target(a)
		return err
	}))
	envelope, err := signoff.Seal(a, lead)
	w.ok(err)
	w.admit(record.MakeEntry(envelope, a.GetTime()), openings)
}

func (w *world) admit(entry []byte, openings []*recordv1.Opening) {
	w.t.Helper()
	w.ok(w.engine.Update(func(tx store.WriteTx) error {
		s := record.Write(tx)
		if _, err := s.Admit(entry, openings); err != nil {
			return err
		}
		return s.Finish()
	}))
}

func (w *world) ok(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

func (w *world) job(n uint32) (j *recordv1.Job) {
	w.ok(w.View(func(s *record.State) error { j, _ = s.Job(n); return nil }))
	return j
}

// newest names the newest revision of a definition or of limits.
func (w *world) newest(kind, name string) (rev *recordv1.Revision) {
	w.ok(w.View(func(s *record.State) error { rev = newest(s, kind, name); return nil }))
	return rev
}

func (w *world) details(plate, frame, said string) *recordv1.JobDetails {
	return &recordv1.JobDetails{
		Plate: w.seal("plate", plate), Frame: w.seal("frame", frame), CarSaid: said,
		Limits: w.newest(record.Limits, "road"), Fuel: "98 RON", Numbers: map[string]string{"wheel": "54.5"},
	}
}

func (w *world) open(plate, frame, said string) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Job{Job: &recordv1.OpenJob{
		Definition: w.newest(record.Definitions, "tiny"), Details: w.details(plate, frame, said),
	}}}
}

func (w *world) amend(job uint32, plate, frame, said string) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Amend{Amend: &recordv1.AmendJob{Job: job, Details: w.details(plate, frame, said)}}}
}

func (w *world) read(job uint32, im *recordv1.Image, frame string) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Read{Read: &recordv1.AddRead{
		Job: job, Image: im, Frame: w.seal("frame", frame), FileName: w.seal("file_name", "read.hex"), WithHoles: true,
	}}}
}

func (w *world) submit(job uint32, im *recordv1.Image) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_Submission{Submission: &recordv1.Submit{
		Job: job, Image: im, Note: w.seal("note", "more boost at 2000"), MeantGiven: true, Meant: []string{"boost"},
	}}}
}

func (w *world) sign(job, sub uint32, because ...string) *recordv1.Action {
	so := &recordv1.SignOff{Job: job, Submission: sub, ByAuthor: true, Reason: "held on the rolling road", Because: map[string]string{}}
	so.ImageSha256 = w.job(job).GetSubmissions()[sub-1].GetImage().GetSha256()
	for _, key := range because {
		so.Because[key] = "seen"
	}
	return &recordv1.Action{Body: &recordv1.Action_SignOff{SignOff: so}}
}

func (w *world) collect(job, sub uint32) *recordv1.Action {
	j := w.job(job)
	c := &recordv1.Collect{Job: job, Submission: sub, ImageSha256: record.AsFound(j).GetImage().GetSha256()}
	if sub != 0 {
		c.ImageSha256 = j.GetSubmissions()[sub-1].GetImage().GetSha256()
	}
	return &recordv1.Action{Body: &recordv1.Action_Collect{Collect: c}}
}

func (w *world) readBack(job uint32, im *recordv1.Image) *recordv1.Action {
	return &recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: job, Image: im}}}
}

// refused is the reason and place of a refusal; the test ends where err is none.
func refused(t testing.TB, err error) (reason, at string) {
	t.Helper()
	var r *record.Refusal
	if !errors.As(err, &r) {
		t.Fatalf("no refusal: %v", err)
	}
	if strings.ContainsAny(r.Text, "\n") || r.Text == "" {
		t.Errorf("not one line: %q", r.Text)
	}
	return r.Reason, r.At
}

// story is one action of every kind that makes claims.
func story(t testing.TB) *world {
	w := newWorld(t)
	w.do(w.open("AB-1", "", ""))
	found := picture("FRAME001", 110)
	w.do(w.read(1, w.image(found), "FRAME001"))
	w.do(w.submit(1, w.image(picture("FRAME001", 150))))
	w.do(w.sign(1, 1))
	w.do(w.collect(1, 1))
	w.do(w.readBack(1, w.image(edited(picture("FRAME001", 150), 0x62, 9))))
	w.do(w.submit(1, w.image(picture("FRAME001", 210))))
	w.do(w.sign(1, 2, "high:boost"))
	w.do(w.collect(1, 2))
	w.do(w.readBack(1, w.image(edited(picture("FRAME001", 210), 0x23, 7))))
	w.do(w.read(1, w.image(edited(found, 0x23, 1)), "FRAME001"))
	w.do(w.collect(1, 0))
	w.do(&recordv1.Action{Body: &recordv1.Action_Run{Run: &recordv1.AddRun{
		Job: 1, When: "before", FileSha256: w.put([]byte(run98)), ChannelsSha256: w.put([]byte("{}\n")), FileName: w.seal("file_name", "pull 1.csv"),
	}}})
	w.do(&recordv1.Action{Body: &recordv1.Action_Note{Note: &recordv1.AddNote{
		Job: 1, Table: "boost", Text: w.seal("text", "see the plug"), Files: []*recordv1.NoteFile{{Sha256: w.put([]byte("photo")), Name: w.seal("name", "plug.jpg")}},
	}}})
	w.do(w.amend(1, "AB-12", "", ""))
	w.do(w.submit(1, w.image(picture("FRAME001", 160))))
	w.do(&recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(strict)}}})
	w.do(&recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(tiny + "# again\n")}}})
	w.do(w.corridor(1, 0, upTo("boost", "20", "10")))
	w.do(w.submit(1, w.image(picture("FRAME001", 135))))
	w.do(w.submit(1, w.image(picture("FRAME001", 125))))
	w.do(w.collect(1, 5))
	return w
}
