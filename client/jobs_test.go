package client

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// hexOf is an Intel HEX file that holds only these ranges of an image.
func hexOf(w *world, flat []byte, held ...image.Range) []byte {
	w.Helper()
	f := &image.File{}
	for _, r := range held {
		f.Segments = append(f.Segments, image.Segment{Address: r.Start, Data: flat[r.Start:r.End]})
	}
	b, err := f.Encode(image.IHex)
	w.must(nil, err)
	return b
}

// A read from a HEX file with a gap: what is submitted holds the same ranges, and is collected so.
func TestSubmissionHoldsTheReadsRanges(t *testing.T) {
	w := newWorld(t)
	w.must(w.open("GAP 1"))
	flat := testImage("\x0a\x0b\x0c\x0d")
	copy(flat[0x10:], "FRAME002")
	for i := 0x80; i < 0xC0; i++ {
		flat[i] = 0xFF
	}
	held := []image.Range{{Start: 0, End: 0x80}, {Start: 0xC0, End: 0x100}}
	_, _, err := w.tech.AddRead(ctx, NewRead{Job: 2, Path: w.write("gap.hex", hexOf(w, flat, held...))})
	w.must(nil, err)
	submit := func(file []byte) error {
		_, _, err := w.cal.Submit(ctx, NewSubmission{Job: 2, Path: w.write("sub", file), Note: "x"})
		return err
	}
	changed := slices.Clone(flat)
	changed[0x40], changed[0x90] = 0x0C, 0
	w.refusedAs(submit(changed), Refused, "what the job's read holds")
	changed[0x90] = 0xFF
	w.refusedAs(submit(hexOf(w, changed, image.Range{End: 0x70}, held[1])), Refused, "what the job's read holds")
	w.must(nil, submit(changed)) // raw: the gap is 0xFF
	w.must(nil, submit(hexOf(w, changed, held...)))
	w.must(nil, w.lead.Sync(ctx))
	r, err := w.lead.Review(ctx, 2, 2)
	w.must(nil, err)
	if len(r.Report.GetHoles()) == 0 {
		t.Error("the report does not name the gap")
	}
	w.must(w.lead.SignOff(ctx, r, nil, nil))
	_, err = w.tech.Collect(ctx, Collecting{Job: 2, Out: w.path("out.hex"), Frame: "frame-002"})
	w.must(nil, err)
	im, err := ReadFile(w.path("out.hex"), "", r.Layout())
	w.must(nil, err)
	if string(im.SHA256()) != r.Submission.GetImage().GetSha256() || im.Format != image.IHex || !slices.Equal(im.Held, held) {
		t.Errorf("collected %v", im.Message())
	}
	_, err = VerifyProof(w.tech.own.home, w.path("out.hex.proof.zip"), "")
	w.must(nil, err)
}

// A read that lacks bytes of a table is refused with where, unless the technician takes it all the same.
func TestReadWithHoles(t *testing.T) {
	w := newWorld(t)
	w.must(w.open("GAP 1"))
	flat := testImage("\xff\xff\xff\xff")
	path := w.write("hole.hex", hexOf(w, flat, image.Range{End: 0x40}, image.Range{Start: 0x44, End: 0x100}))
	_, _, err := w.tech.AddRead(ctx, NewRead{Job: 2, Path: path})
	w.refusedAs(err, Refused, "lacks 0x40 to 0x44")
	read, _, err := w.tech.AddRead(ctx, NewRead{Job: 2, Path: path, WithHoles: true})
	w.must(nil, err)
	if h := read.GetHoles(); len(h) != 1 || h[0].GetStart() != 0x40 || h[0].GetEnd() != 0x44 {
		t.Errorf("holes %v", h)
	}
	job, err := w.tech.VoidRead(ctx, 2, 1, "the cable was loose")
	w.must(nil, err)
	if record.AsFound(job) != nil {
		t.Error("a voided read is as found")
	}
}

// What people say of a job can be corrected; a text that stays keeps its commitment.
func TestAmend(t *testing.T) {
	w := newWorld(t)
	job, err := w.tech.Job(1)
	w.must(nil, err)
	d := DetailsOf(job)
	if d.Frame != frame || d.Plate != "HC 18" {
		t.Errorf("details %+v", d)
	}
	d.Fuel, d.Numbers, d.Note = "98 RON", []string{"crank_pulley_mm=180"}, "larger compressor wheel and intercooler"
	now, err := w.tech.AmendJob(ctx, 1, d)
	w.must(nil, err)
	if now.GetPlate().GetCommitment() != job.GetPlate().GetCommitment() || now.GetNote().GetText() != d.Note || now.GetFuel() != "98 RON" || now.GetNumbers()["crank_pulley_mm"] != "180" {
		t.Errorf("amended %v", now)
	}
	_, err = w.tech.VoidRead(ctx, 1, 1, "another car's")
	w.must(nil, err)
	if now, err = w.tech.Job(1); err != nil || now.GetFrame() != nil {
		t.Errorf("the read's frame number stayed when it was voided: %v", now.GetFrame())
	}
	d.Limits = "none"
	_, err = w.tech.AmendJob(ctx, 1, d)
	w.refusedAs(err, Usage, `no limits is called "none"`)
}

// A plate and a frame number that are two cars' are settled by a person.
func TestCarIsSaid(t *testing.T) {
	w := newWorld(t)
	n := NewJob{Definition: "bench", Details: Details{Plate: "HC 18", Frame: "OTHER1", Limits: "bench-98"}}
	_, err := w.tech.OpenJob(ctx, n)
	w.refusedAs(err, Refused, "car")
	if reasonOf(err) != "car-said" || strings.Contains(err.Error(), "OTHER1") {
		t.Errorf("%v", err)
	}
	n.Car = AnotherCar
	job, err := w.tech.OpenJob(ctx, n)
	w.must(nil, err)
	if job.GetCar() != 2 {
		t.Errorf("car %d", job.GetCar())
	}
	if cars, err := w.tech.Cars("hc-18"); err != nil || !slices.Equal(cars, []uint32{2, 1}) {
		t.Errorf("%v, %v", cars, err)
	}
	if cars, err := w.tech.Cars("frame 001"); err != nil || !slices.Equal(cars, []uint32{1}) {
		t.Errorf("%v, %v", cars, err)
	}
	_, err = w.tech.Cars("XX 1")
	w.refusedAs(err, Usage, "no car with")
}

func TestHistory(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	h, err := w.tech.History(ctx, 1, "ignition.base")
	w.must(nil, err)
	if len(h.GetEvents()) != 3 {
		t.Errorf("%d events changed the table: submitted, signed and collected did", len(h.GetEvents()))
	}
	_, err = w.tech.History(ctx, 1, "fuel.base")
	w.refusedAs(err, Usage, `no table "fuel.base"; allowed: ignition.base`)
	_, err = w.tech.History(ctx, 9, "")
	w.refusedAs(err, Usage, "there is no car 9")
}

// A lead's word ends an alarm; notes carry files.
func TestSettleAndNote(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	w.must(w.lead.ReturnSubmission(ctx, 1, 1, "a slip"))
	alarms, err := w.lead.AlarmsNow(0)
	w.must(nil, err)
	if len(alarms) != 2 || alarms[1].Alarm != record.Recalled {
		t.Fatalf("alarms %v", alarms)
	}
	about, err := record.ParseName(alarms[1].About)
	w.must(nil, err)
	job, err := w.lead.Settle(ctx, about, record.Recalled, "the car never left")
	w.must(nil, err)
	if len(job.GetAlarms()) != 1 {
		t.Errorf("alarms %v", job.GetAlarms())
	}
	plot := w.write("plot.txt", []byte("knock at 4000"))
	job, err = w.cal.AddNote(ctx, NewNote{About: about, Table: "ignition.base", Text: "see the log", Files: []string{plot}})
	w.must(nil, err)
	note := job.GetNotes()[0]
	if note.GetText().GetText() != "see the log" || note.GetSubmission() != 1 || note.GetFiles()[0].GetName().GetText() != "plot.txt" {
		t.Errorf("note %v", note)
	}
	w.must(nil, w.tech.Sync(ctx))
	if b, err := w.tech.NoteFile(ctx, note.GetFiles()[0]); err != nil || string(b) != "knock at 4000" {
		t.Errorf("%q, %v", b, err)
	}
	_, err = w.cal.AddNote(ctx, NewNote{About: about, Table: "nothing.here", Text: "x"})
	w.refusedAs(err, Refused, `definition bench has no table "nothing.here"`)
	_, err = w.cal.AddNote(ctx, NewNote{About: record.Name{Job: 1, Part: record.ARead, N: 1}, Text: "x"})
	w.refusedAs(err, Usage, "1.read1 is neither")
}

// Erasing takes a job's texts and bytes out of every file of the home: the copy, what was kept of
// blobs, copies that were set aside.
func TestErase(t *testing.T) {
	w := newWorld(t)
	w.must(w.lead.AddNote(ctx, NewNote{About: record.Name{Job: 1}, Text: "the owner lives by the river", Files: []string{w.write("gate.txt", []byte("ring twice"))}}))
	w.submit("\x0a\x0b\x0c\x20")
	w.sign(1)
	w.must(nil, w.collect(w.tech))
	_, err := w.tech.Review(ctx, 1, 1)
	w.must(nil, err)
	home := w.tech.own.home
	w.must(nil, os.WriteFile(home.path(damagedFile+"1"), []byte("HC 18"), 0o600))
	private := [][]byte{[]byte("HC 18"), []byte(frame), []byte("the owner lives by the river"), testImage("\x0a\x0b\x0c\x20")}
	found := func() (out []string) {
		w.must(nil, filepath.WalkDir(home.Dir, func(path string, d os.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			b, err := os.ReadFile(path)
			for _, p := range private {
				if bytes.Contains(b, p) {
					out = append(out, filepath.Base(path)+": "+string(p[:5]))
				}
			}
			return err
		}))
		return out
	}
	if len(found()) < 5 {
		t.Fatalf("before: %v", found())
	}
	w.must(w.lead.CloseJob(ctx, 1, "done", ""))
	_, err = w.lead.Erase(ctx, 1, true, "the owner asks")
	w.must(nil, err)
	w.must(nil, w.tech.Sync(ctx))
	if left := found(); len(left) != 0 {
		t.Errorf("after: %v", left)
	}
	job, err := w.tech.Job(1)
	w.must(nil, err)
	if !job.GetPlate().GetErased() || job.GetPlate().GetText() != "" {
		t.Errorf("plate %v", job.GetPlate())
	}
	for sum := range w.fake.blobs {
		if sum != HashHex([]byte(testDefinition)) && sum != HashHex([]byte(testLimits)) {
			delete(w.fake.blobs, sum)
		}
	}
	w.must(w.tech.VerifyLedger(ctx, true))
	// Whoever comes later gets a ledger without those texts, and nobody is said to keep them back.
	w.must(w.login("fresh", "tech").VerifyLedger(ctx, true))
	// Of a job that was not erased, bytes are kept back.
	w.must(w.open("HC 19"))
	w.read(2, testImage("\x0a\x0b\x0c\x0c"))
	w.must(w.login("later", "tech").VerifyLedger(ctx, true))
	delete(w.fake.blobs, HashHex(testImage("\x0a\x0b\x0c\x0c")))
	_, err = w.login("last", "tech").VerifyLedger(ctx, true)
	w.refusedAs(err, Distrust, "keeps back bytes that entry")
}

// A text that is erased between asking for the head and for the entries is not kept back.
func TestErasedMeanwhile(t *testing.T) {
	w := newWorld(t)
	w.must(w.lead.CloseJob(ctx, 1, "done", ""))
	before := w.fake.sign(w.fake.told)
	_, err := w.lead.Erase(ctx, 1, false, "the owner asks")
	w.must(nil, err)
	asked := 0
	w.fake.tell(lie{note: func(note []byte) []byte {
		if asked++; asked == 1 {
			return before
		}
		return note
	}})
	w.must(w.tryLogin("fresh", "tech"))
	if asked != 2 {
		t.Errorf("asked for the head %d times", asked)
	}
}

// What is kept of blobs is bounded, goes by use, and is checked when it is used.
func TestKeptBlobs(t *testing.T) {
	h := &Home{Dir: t.TempDir()}
	var sums []string
	for i := range 4 {
		b := bytes.Repeat([]byte{byte(i)}, 100)
		sums = append(sums, HashHex(b))
		h.keep(sums[i], b)
		then := time.Now().Add(time.Duration(i-100) * time.Second)
		if err := os.Chtimes(h.blob(sums[i]), then, then); err != nil {
			t.Fatal(err)
		}
	}
	if _, ok := h.recall(sums[0]); !ok {
		t.Fatal("it was not kept")
	}
	h.trim(250) // the first was used last
	for i, want := range []bool{true, false, false, true} {
		if _, ok := h.recall(sums[i]); ok != want {
			t.Errorf("blob %d: %v", i, ok)
		}
	}
	if err := os.WriteFile(h.blob(sums[0]), []byte("other"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, ok := h.recall(sums[0]); ok {
		t.Error("other bytes were taken for it")
	}
	if _, ok := h.recall("../config.json"); ok {
		t.Error("a name that is no hash was read")
	}
}

func TestBackup(t *testing.T) {
	w := newWorld(t)
	path := w.path("backup.db")
	n, err := w.lead.Backup(ctx, Out{Path: path})
	w.must(nil, err)
	if b, err := os.ReadFile(path); err != nil || string(b) != "one two three" || n != int64(len(b)) {
		t.Errorf("%q, %d, %v", b, n, err)
	}
	_, err = w.lead.Backup(ctx, Out{Path: path})
	w.refusedAs(err, Usage, "there already")
	left, err := filepath.Glob(w.path(".backup*"))
	if err != nil || len(left) != 0 {
		t.Errorf("%v, %v", left, err)
	}
}

// A release of one of several authors has to be named; the read as found goes back at any time.
func TestCollectByName(t *testing.T) {
	w := newWorld(t).released()
	_, _, err := w.lead.Submit(ctx, NewSubmission{Job: 1, Path: w.write("sub.bin", testImage("\x0a\x0b\x0c\x0e")), From: 1})
	w.must(nil, err)
	w.newKey("second")
	w.must(w.lead.Enrol(ctx, "second", []string{"lead"}, w.path("second.pub")))
	second := w.login("second", "second")
	r, err := second.Review(ctx, 1, 2)
	w.must(nil, err)
	w.must(second.SignOff(ctx, r, nil, nil))
	w.refusedAs(w.collect(w.tech), Refused, "say which: 1.1, 1.2")
	got, err := w.tech.Collect(ctx, Collecting{Job: 1, Submission: 1, Out: w.path("out.bin"), Frame: frame})
	w.must(nil, err)
	if len(got.Newer) != 1 || got.Newer[0].GetNumber() != 2 || !strings.Contains(got.Sheet, "submission 1.2 is released") {
		t.Errorf("newer %v", got.Newer)
	}
	found, err := w.tech.Collect(ctx, Collecting{Job: 1, AsFound: true, Out: w.path("found.bin")})
	w.must(nil, err)
	if b, err := os.ReadFile(w.path("found.bin")); err != nil || HashHex(b) != found.Read.GetImage().GetSha256() {
		t.Error("it is not the read as found")
	}
	f, err := w.tech.NotPossible(ctx, 1, "the controller is locked")
	w.must(nil, err)
	if f.Readback.GetSubmission() != 0 || f.Readback.GetNotPossible() == "" {
		t.Errorf("%v", f.Readback)
	}
	// What is read back is what was collected before, not what was collected last.
	if f, err = w.tech.Readback(ctx, 1, w.write("back.bin", testImage("\x0a\x0b\x0c\x20")), ""); err != nil || !f.Readback.GetMatches() || f.Readback.GetSubmission() != 1 {
		t.Errorf("%v, %v", f, err)
	}
}

// A new revision says which releases it judges worse.
func TestNewLimitsTellWhatTheyJudgeWorse(t *testing.T) {
	w := newWorld(t).released()
	_, worse, err := w.lead.AddDocument(ctx, Limits, w.write("l2.yaml", []byte(strings.ReplaceAll(testLimits, "max: 60", "max: 20"))))
	w.must(nil, err)
	if len(worse) != 1 || worse[0].GetVerdict() != "danger" {
		t.Errorf("%v", worse)
	}
	f, b, err := w.lead.Document(ctx, Limits, "bench-98", 1)
	w.must(nil, err)
	if string(b) != testLimits || f.GetRevision() != 1 {
		t.Errorf("revision %d", f.GetRevision())
	}
	_, _, err = w.lead.Document(ctx, Limits, "bench-98", 3)
	w.refusedAs(err, Usage, "it has 1 to 2")
}
