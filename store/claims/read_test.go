package claims

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

func hole(start, end uint64) image.Range {
	return image.Range{Start: 0x1000 + start, End: 0x1000 + end}
}

// TestFrameOf: which of an image's fields is the car's, and when there is none to seal.
func TestFrameOf(t *testing.T) {
	with, err := definition.Load("tiny", []byte(tiny))
	if err != nil {
		t.Fatal(err)
	}
	without, err := definition.Load("tiny", []byte(strings.ReplaceAll(tiny, "vehicle: true, ", "")))
	if err != nil {
		t.Fatal(err)
	}
	w := &world{t: t, blobs: map[string][]byte{}}
	for _, c := range []struct {
		what, field, job string
		lay              *definition.Layout
		holes            []image.Range
		frame            string
		ok, other        bool
	}{
		{what: "the first field", field: "ab-1 2", lay: with, frame: "AB12", ok: true},
		{what: "the job's", field: "ab-1 2", job: "AB12", lay: with, frame: "AB12", ok: true},
		{what: "the job's is the second field", field: "X", job: "AB01", lay: with, frame: "AB01", ok: true},
		{what: "none is the job's", field: "X", job: "Y", lay: with, other: true},
		{what: "blank", field: "", lay: with},
		{what: "blank, and the job has one", field: "", job: "Y", lay: with, other: true},
		{what: "no such field", field: "X", job: "Y", lay: without},
		{what: "not held", field: "X", lay: with, holes: []image.Range{hole(8, 9)}},
		{what: "one not held, the other is the job's", field: "X", job: "AB01", lay: with, holes: []image.Range{hole(8, 9)}, frame: "AB01", ok: true},
		{what: "one not held, the other not the job's", field: "X", job: "Y", lay: with, holes: []image.Range{hole(8, 9)}},
		{what: "a hole beside it", field: "X", lay: with, holes: []image.Range{hole(0x12, 0x20)}, frame: "X", ok: true},
	} {
		m := w.image(picture(c.field, 110), c.holes...)
		im, err := image.FromMessage(m, image.Space{{Start: 0x1000, End: 0x1080}}, w.blobs[m.GetSha256()])
		if err != nil {
			t.Fatal(err)
		}
		frame, ok := FrameOf(c.lay, im, c.job)
		if _, other := frameOf(c.lay, im, c.job); ok != c.ok || ok && frame != c.frame || other != c.other {
			t.Errorf("%s: %q, %v, %v", c.what, frame, ok, other)
		}
	}
}

// TestReadOfAnotherCar is refused, and no frame number is told.
func TestReadOfAnotherCar(t *testing.T) {
	for _, c := range []struct {
		what, typed, holds, sealed, at string
	}{
		{"typed, and the image's", "FRAME001", "FRAME001", "FRAME001", ""},
		{"another car's image", "FRAME001", "FRAME002", "FRAME002", "read.image"},
		{"another car's image, sealed as the job's", "FRAME001", "FRAME002", "FRAME001", "read.image"},
		{"sealed as another", "", "FRAME001", "FRAME002", "read.frame"},
		{"not sealed", "", "FRAME001", "", "read.frame"},
		{"sealed, and blank in the image", "", "", "FRAME001", "read.frame"},
	} {
		w := newWorld(t)
		w.do(w.open("AB-1", c.typed, ""))
		a := w.read(1, w.image(picture(c.holds, 110)), c.sealed)
		_, _, err := w.fill(a)
		if c.at == "" {
			if err != nil {
				t.Errorf("%s: %v", c.what, err)
			}
			continue
		}
		if reason, at := refused(t, err); reason != ReasonOtherFrame || at != c.at || strings.Contains(err.Error(), "FRAME0") {
			t.Errorf("%s: %v", c.what, err)
		}
	}
	w := newWorld(t)
	w.do(w.open("AB-1", "", ""))
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	if _, _, err := w.fill(w.read(1, w.image(picture("FRAME002", 110)), "FRAME002")); err == nil {
		t.Error("a second read of another car was taken")
	}
	_, _, err := w.fill(w.amend(1, "AB-1", "FRAME002", ""))
	if reason, at := refused(t, err); reason != ReasonOtherFrame || at != "amend.details.frame" {
		t.Errorf("amended to another frame number than the read's: %v", err)
	}
	w.do(w.amend(1, "AB-1", "FRAME001", ""))
}

// TestHoles: what a read does not hold is said, and is no difference to what was in the car.
func TestHoles(t *testing.T) {
	w := newWorld(t)
	w.do(w.open("AB-1", "", ""))
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	holed := w.read(1, w.image(picture("FRAME001", 110), hole(0, 8), hole(0x21, 0x22), hole(0x78, 0x80)), "FRAME001")
	w.do(holed)
	r := holed.GetRead()
	// The checksum goes over all but the end, which nothing names.
	want := &recordv1.AddRead{Holes: image.Messages([]image.Range{hole(0, 8), hole(0x21, 0x22)})}
	if !proto.Equal(&recordv1.AddRead{Holes: r.GetHoles()}, want) {
		t.Errorf("holes: %v", r.GetHoles())
	}
	if !r.GetLastKnown().GetSame() || r.GetLastKnown().GetReportSha256() != "" {
		t.Errorf("what is unknown was taken for a change: %v", r.GetLastKnown())
	}
	changed := w.read(1, w.image(edited(picture("FRAME001", 110), 0x22, 9), hole(0x40, 0x48)), "FRAME001")
	made := w.do(changed)
	if last := changed.GetRead().GetLastKnown(); last.GetSame() || last.GetReportSha256() == "" || made.LastReport == nil || made.Last == nil {
		t.Errorf("a change beside a hole: %v", last)
	}
	wrong := w.read(1, w.image(edited(picture("FRAME001", 110), 0, 'X'), hole(0x40, 0x48)), "FRAME001")
	_, _, err := w.fill(wrong)
	if reason, _ := refused(t, err); reason != ReasonImage {
		t.Errorf("of another software: %v", err)
	}
}

// TestWhatWasLeftInTheCar by an earlier job, whose read had holes and whose images may be gone.
func TestWhatWasLeftInTheCar(t *testing.T) {
	w := newWorld(t)
	w.do(w.open("AB-1", "", ""))
	w.do(w.read(1, w.image(picture("FRAME001", 110), hole(0x78, 0x80)), "FRAME001"))
	w.do(w.submit(1, w.image(picture("FRAME001", 150), hole(0x78, 0x80))))
	w.do(w.sign(1, 1))
	w.do(w.collect(1, 1))
	full := edited(picture("FRAME001", 150), 0x79, 5)
	if back := w.readBack(1, w.image(full)); w.do(back) == nil || !back.GetReadBack().GetMatches() {
		t.Error("what the file did not hold was taken for a difference")
	}
	w.do(w.open("AB-1", "", ""))
	before := w.read(2, w.image(full), "FRAME001")
	if w.do(before); !before.GetRead().GetLastKnown().GetSame() || before.GetRead().GetLastKnown().GetSubmission() != 1 {
		t.Errorf("%v", before.GetRead().GetLastKnown())
	}
}

// TestOtherDefinitionInTheCar: of two definitions there is no report, and of two sizes no comparison.
func TestOtherDefinitionInTheCar(t *testing.T) {
	for _, c := range []struct {
		what     string
		file     string
		found    []byte
		revise   string // of the definition that the car had before
		same     bool
		reported bool
	}{
		{"the same one", tiny, picture("FRAME001", 111), "", false, true},
		{"another, and the same bytes", strings.Replace(tiny, "name: tiny", "name: other", 1), picture("FRAME001", 110), "", true, false},
		{"another", strings.Replace(tiny, "name: tiny", "name: other", 1), picture("FRAME001", 111), "", false, false},
		{"a larger one", strings.NewReplacer("name: tiny", "name: other", "size: 0x80", "size: 0x100").Replace(tiny), append(picture("FRAME001", 110), make([]byte, 0x80)...), "", false, false},
		{"revised to another size", strings.Replace(tiny, "name: tiny", "name: other", 1), picture("FRAME001", 110), strings.Replace(tiny, "size: 0x80", "size: 0x100", 1), false, false},
	} {
		w := newWorld(t)
		w.do(w.open("A", "", ""))
		w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
		w.do(&recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(strings.Replace(road, "applies_to: [tiny]\n", "", 1))}}})
		if c.file != tiny {
			w.do(&recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(c.file)}}})
		}
		if c.revise != "" {
			w.do(&recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(c.revise)}}})
		}
		lay, err := w.c.Layout(w, w.file(c.file))
		w.ok(err)
		a := w.open("A", "", "")
		a.GetJob().Definition = w.newest(record.Definitions, lay.Name)
		w.do(a)
		read := w.read(2, w.image(c.found), "FRAME001")
		made := w.do(read)
		last := read.GetRead().GetLastKnown()
		if last.GetJob() != 1 || last.GetSame() != c.same || (last.GetReportSha256() != "") != c.reported || (made.LastReport != nil) != c.reported {
			t.Errorf("%s: %v", c.what, last)
		}
	}
}

// TestErasedInTheCar: nothing can be held against an image whose bytes were erased.
func TestErasedInTheCar(t *testing.T) {
	for _, boost := range []byte{110, 111} {
		w := newWorld(t)
		w.do(w.open("A", "", ""))
		w.do(w.open("A", "", ""))
		w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
		w.do(&recordv1.Action{Body: &recordv1.Action_Close{Close: &recordv1.CloseJob{Job: 1, Outcome: "done"}}})
		w.do(&recordv1.Action{Body: &recordv1.Action_Erase{Erase: &recordv1.Erase{Job: 1, Images: true, Because: "sold"}}})
		clear(w.blobs)
		w.file(tiny)
		w.file(road)
		a := w.read(2, w.image(picture("FRAME001", boost)), "FRAME001")
		w.do(a)
		if last := a.GetRead().GetLastKnown(); last != nil {
			t.Errorf("held against what was erased: %v", last)
		}
	}
}

// TestReadBackTries what was collected, newest first.
func TestReadBackTries(t *testing.T) {
	w := newWorld(t)
	w.do(w.open("AB-1", "", ""))
	w.do(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	for i, boost := range []byte{150, 160} {
		w.do(w.submit(1, w.image(picture("FRAME001", boost))))
		w.do(w.sign(1, uint32(i+1)))
		w.do(w.collect(1, uint32(i+1)))
	}
	w.do(w.collect(1, 2))
	w.do(w.collect(1, 0))
	for _, c := range []struct {
		boost   byte
		of      uint32
		matches bool
	}{{110, 0, true}, {160, 2, true}, {150, 1, true}, {155, 0, false}} {
		a := w.readBack(1, w.image(picture("FRAME001", c.boost)))
		a.GetReadBack().Submission = 7 // whatever was there before
		_, made, err := w.fill(a)
		w.ok(err)
		if fresh := New(); !c.matches { // three were collected, one of them twice
			_, err := fresh.Check(w, a, nil)
			if w.ok(err); fresh.Comparisons() != 3+1 {
				t.Errorf("%d comparisons", fresh.Comparisons())
			}
		}
		w.do(a)
		r := a.GetReadBack()
		if r.GetSubmission() != c.of || r.GetMatches() != c.matches || (r.GetReportSha256() == "") != c.matches || (made.Why == "") != c.matches || (made.Report == nil) != c.matches {
			t.Errorf("%d: %v, %q", c.boost, r, made.Why)
		}
	}
	made := w.do(&recordv1.Action{Body: &recordv1.Action_ReadBack{ReadBack: &recordv1.AddReadback{Job: 1, Submission: 1, NotPossible: "locked"}}})
	if made.Report != nil || len(made.Reports) != 0 {
		t.Error("a report on nothing")
	}
}

// TestJudgedWorse: what waits and what was released, of open jobs, by the judgement that stands.
func TestJudgedWorse(t *testing.T) {
	w := newWorld(t)
	for job := range uint32(3) {
		w.do(w.open("AB-1", "", ""))
		w.do(w.read(job+1, w.image(picture("FRAME001", 110)), "FRAME001"))
		w.do(w.submit(job+1, w.image(picture("FRAME001", 150)))) // becomes a release
		w.do(w.sign(job+1, 1))
		w.do(w.submit(job+1, w.image(picture("FRAME001", 150)))) // will be replaced
		w.do(w.submit(job+1, w.image(picture("FRAME001", 135)))) // stays clear
		w.do(w.submit(job+1, w.image(picture("FRAME001", 160)))) // waits
	}
	w.do(&recordv1.Action{Body: &recordv1.Action_Close{Close: &recordv1.CloseJob{Job: 2, Outcome: "done"}}})
	a := &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(strict)}}}
	w.do(a)
	var got []uint32
	for _, j := range a.GetLimits().GetJudgedWorse() {
		if got = append(got, j.GetJob(), j.GetSubmission()); j.GetVerdict() != "warning" || !slices.Equal(j.GetWarnings(), []string{"high:boost"}) {
			t.Errorf("%v", j)
		}
	}
	if !slices.Equal(got, []uint32{1, 1, 1, 4, 3, 1, 3, 4}) {
		t.Errorf("%v", got)
	}
	before := w.c.Comparisons()
	other := &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(strings.Replace(strict, "name: road", "name: track", 1))}}}
	if w.do(other); w.c.Comparisons() != before || other.GetLimits().GetJudgedWorse() != nil {
		t.Error("limits that no job has judged something")
	}
	if w.job(1).GetSubmissions()[0].GetJudgedWorse() == nil || record.AsFound(w.job(1)) == nil {
		t.Error("the record does not show it")
	}
}

// TestLimitsThatMendAJob: a job that was taken up again after its definition had changed under it gets
// limits that fit.
func TestLimitsThatMendAJob(t *testing.T) {
	w := newWorld(t)
	add := func(a *recordv1.Action) *recordv1.Action { w.do(a); return a }
	limits := func(text string) *recordv1.Action {
		return &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(text)}}}
	}
	add(limits(strings.Replace(road, "applies_to: [tiny]\n", "", 1)))
	add(w.open("A", "", ""))
	add(w.read(1, w.image(picture("FRAME001", 110)), "FRAME001"))
	add(w.submit(1, w.image(picture("FRAME001", 150))))
	add(&recordv1.Action{Body: &recordv1.Action_Close{Close: &recordv1.CloseJob{Job: 1, Outcome: "done"}}})
	add(&recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(strings.Replace(tiny, "unit: kPa", "unit: Cel", 1))}}})
	add(&recordv1.Action{Body: &recordv1.Action_Reopen{Reopen: &recordv1.ReopenJob{Job: 1, Because: "a second look"}}})
	_, _, err := w.fill(w.sign(1, 1))
	if reason, _ := refused(t, err); reason != ReasonFit {
		t.Errorf("judged by limits of another unit: %v", err)
	}
	add(limits(strings.NewReplacer("name: road", "name: track", "applies_to: [tiny]\n", "", "unit: kPa", "unit: Cel").Replace(road)))
	amended := w.amend(1, "A", "", "")
	amended.GetAmend().Details.Limits = w.newest(record.Limits, "track")
	if _, _, err := w.fill(amended); err != nil {
		t.Errorf("amended to limits that fit: %v", err)
	}
	mended := add(limits(strings.NewReplacer("applies_to: [tiny]\n", "", "unit: kPa", "unit: Cel", "max: 200", "max: 140").Replace(road)))
	if got := mended.GetLimits().GetJudgedWorse(); len(got) != 1 || got[0].GetVerdict() != "warning" {
		t.Errorf("%v", got)
	}
}

// TestHolesAgain: what neither file has is no difference, also where a checksum covers it: not when it is
// read back, and not at the next visit.
func TestHolesAgain(t *testing.T) {
	w := newWorld(t)
	gap := hole(0x40, 0x48)
	w.visit("A", picture("FRAME001", 110), gap)
	w.do(w.submit(1, w.image(picture("FRAME001", 150), gap)))
	w.do(w.sign(1, 1))
	w.do(w.collect(1, 1))
	for _, c := range []struct {
		what    string
		found   *recordv1.Image
		matches bool
	}{
		{"whole", w.image(picture("FRAME001", 150)), true},
		{"with the hole", w.image(picture("FRAME001", 150), gap), true},
		{"with another hole", w.image(picture("FRAME001", 150), hole(0x48, 0x50)), false},
		{"whole, and the checksum is wrong", w.image(edited(picture("FRAME001", 150), 0x70, 1)), false},
		{"with the hole, and changed", w.image(picture("FRAME001", 151), gap), false},
		{"whole, and changed", w.image(picture("FRAME001", 151)), false},
	} {
		back := w.readBack(1, c.found)
		_, made, err := w.fill(back)
		if w.ok(err); back.GetReadBack().GetMatches() != c.matches || (made.Report == nil) != c.matches {
			t.Errorf("read back %s: matches %v: %s", c.what, back.GetReadBack().GetMatches(), made.Why)
		}
	}
	w.do(w.readBack(1, w.image(picture("FRAME001", 150), gap)))
	w.do(w.open("A", "", ""))
	for _, c := range []struct {
		what  string
		found *recordv1.Image
		same  bool
	}{
		{"whole", w.image(picture("FRAME001", 150)), true},
		{"with the hole", w.image(picture("FRAME001", 150), gap), true},
		{"with another hole", w.image(picture("FRAME001", 150), hole(0x48, 0x50)), true},
		{"with another hole, and changed", w.image(picture("FRAME001", 151), hole(0x48, 0x50)), false},
		{"with the hole, and changed", w.image(picture("FRAME001", 151), gap), false},
		{"whole, and changed", w.image(picture("FRAME001", 151)), false},
	} {
		read := w.read(2, c.found, "FRAME001")
		_, made, err := w.fill(read)
		if w.ok(err); read.GetRead().GetLastKnown().GetSame() != c.same || (made.LastReport == nil) != c.same {
			t.Errorf("read again %s: same %v", c.what, read.GetRead().GetLastKnown().GetSame())
		}
		for _, table := range made.LastReport.GetTables() {
			if table.GetId() != "boost" {
				t.Errorf("read again %s: %s is said to differ", c.what, table.GetId())
			}
		}
	}
}

// TestOpenJobsGoOn: neither a definition nor limits come between an open job and its judging, whether
// anything was submitted or not, and whether the limits name the definition or fit any.
func TestOpenJobsGoOn(t *testing.T) {
	w := newWorld(t)
	any := strings.NewReplacer("name: road", "name: any", "applies_to: [tiny]\n", "").Replace(road)
	w.do(&recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(any)}}})
	a := w.open("A", "", "")
	a.GetJob().GetDetails().Limits = w.newest(record.Limits, "any")
	w.do(a)
	definition := func(text string) *recordv1.Action {
		return &recordv1.Action{Body: &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: w.file(text)}}}
	}
	limits := func(text string) *recordv1.Action {
		return &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: w.file(text)}}}
	}
	gone := strings.NewReplacer("quantity: manifold_pressure", "quantity: boost_pressure").Replace(tiny)
	for what, a := range map[string]*recordv1.Action{
		"a definition that its limits do not fit":      definition(gone),
		"limits that do not fit its definition":        limits(strings.Replace(any, "unit: kPa", "unit: Cel", 1)),
		"limits that apply to another definition now":  limits(strings.Replace(any, "rules:", "applies_to: [other]\nrules:", 1)),
		"limits that select nothing of its definition": limits(strings.Replace(any, "manifold_pressure", "lambda", 1)),
	} {
		if what == "limits that apply to another definition now" {
			w.do(definition(strings.Replace(tiny, "name: tiny", "name: other", 1)))
		}
		_, _, err := w.fill(a)
		if reason, _ := refused(t, err); reason != ReasonFit || !strings.Contains(err.Error(), "limits any do not fit") {
			t.Errorf("%s: %v", what, err)
		}
	}
	for _, ok := range []*recordv1.Action{definition(strings.Replace(gone, "name: tiny", "name: third", 1)), definition(tiny + "# again\n"), limits(strings.Replace(any, "max: 200", "max: 190", 1))} {
		if _, _, err := w.fill(ok); err != nil {
			t.Errorf("what stops no job: %v", err)
		}
	}
	w.do(&recordv1.Action{Body: &recordv1.Action_Close{Close: &recordv1.CloseJob{Job: 1, Outcome: "done"}}})
	w.do(limits(strings.Replace(road, "max: 200", "max: 190", 1)))
	if _, _, err := w.fill(definition(gone)); err == nil {
		t.Error("limits that name the definition are in force")
	}
}
