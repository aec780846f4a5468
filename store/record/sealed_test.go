package record

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
)

func TestOpenings(t *testing.T) {
	h := newHistory(t, false).script(staff)
	told := h.tell("T opens AB-1 frame=WVW1", nil)
	for name, change := range map[string]func(list []*recordv1.Opening) []*recordv1.Opening{
		"twice":         func(list []*recordv1.Opening) []*recordv1.Opening { return append(list, list[0]) },
		"another text":  func(list []*recordv1.Opening) []*recordv1.Opening { list[0].Text = "AB-2"; return list },
		"another field": func(list []*recordv1.Opening) []*recordv1.Opening { list[0].Field = "frame"; return list },
		"another's":     func(list []*recordv1.Opening) []*recordv1.Opening { return h.tell("T opens AB-9", nil).GetOpenings() },
	} {
		bad := proto.CloneOf(told)
		if name == "another's" {
			h.told = append(h.told, nil) // other salts
		}
		bad.Openings = change(bad.GetOpenings())
		h.told = h.told[:6]
		r := refusalOf(t, h.admit(bad))
		if r.Reason != ReasonOpening || strings.Contains(r.Text, "AB-") {
			t.Errorf("%s: %v", name, r)
		}
	}
	for line, field := range map[string]string{"T opens -": "plate", "T opens " + long(5000): "plate", "T opens A frame=wvw\t1": "", "T opens \u202e": "plate"} {
		if err := h.admit(h.tell(line, nil)); field != "" {
			if r := refusalOf(t, err); r.At != field || strings.Contains(r.Text, "xxx") {
				t.Errorf("%.20s: %v", line, r)
			}
		} else if err != nil {
			t.Error(err)
		}
	}
}

func TestOpenedTexts(t *testing.T) {
	for _, c := range []struct{ field, text string }{
		{"plate", ""}, {"plate", " A"}, {"plate", "- -"}, {"plate", long(201)}, {"frame", "wvw1"}, {"frame", "WVW 1"}, {"frame", "\tWVW1"},
		{"frame", ""}, {"file_name", "a\nb"}, {"name", ""}, {"note", " "}, {"text", long(4001)}, {"note", "\u202e"}, {"note", "bell \a"}, {"note", "\xff"},
	} {
		r := refusalOf(t, CheckOpened(&recordv1.Opening{Field: c.field, Text: c.text}))
		if r.At != c.field || c.text != "" && len(c.text) > 2 && strings.Contains(r.Text, strings.TrimSpace(c.text)) {
			t.Errorf("%q as a %s: %v", c.text, c.field, r)
		}
	}
	for field, text := range map[string]string{"plate": "b·MÜ 7", "frame": "WVWZZZ1JZXW000001", "file_name": "read as found.bin", "note": "more air,\nmore fuel", "text": "a"} {
		if err := CheckOpened(&recordv1.Opening{Field: field, Text: text}); err != nil {
			t.Error(err)
		}
	}
}

// TestWithheld: a text that was neither handed on nor erased is counted, until it comes.
func TestWithheld(t *testing.T) {
	lacking := func(h *history) int { return look(h, (*State).Lacking) }
	h := newHistory(t, false).script(staff)
	told := h.tell("T opens AB-1 frame=WVW1", nil)
	if err := h.admit(&recordv1.Told{Entry: told.GetEntry(), Openings: told.GetOpenings()[1:]}); err != nil || lacking(h) != 1 {
		t.Fatalf("%v, %d lacking", err, lacking(h))
	}
	if cars := look(h, func(s *State) []uint32 { return append(s.CarsByPlate("AB1"), s.CarsByFrame("wvw 1")...) }); !slices.Equal(cars, []uint32{1}) {
		t.Errorf("found: %v", cars)
	}
	amend := h.tell("T amends 1 CD-2 frame=WVW1", func(a *recordv1.Action) {
		a.GetAmend().GetDetails().Plate.Commitment = told.GetOpenings()[0].GetCommitment()
	})
	amend.Openings = told.GetOpenings()[:1]
	if err := h.admit(amend); err != nil || lacking(h) != 0 {
		t.Errorf("it came later: %v, %d lacking", err, lacking(h))
	}
	if cars := look(h, func(s *State) []uint32 { return s.CarsByPlate("ab-1") }); len(cars) != 1 {
		t.Errorf("found by it: %v", cars)
	}
	replays(t, h)
	h.script("C notes 1 kept")
	last := h.told[len(h.told)-1]
	again := emptyHistory(t)
	list := append(append([]*recordv1.Told{}, h.told[:len(h.told)-1]...), &recordv1.Told{Entry: last.GetEntry()})
	if err := admit(again.engine, nil, list...); err != nil || lacking(again) != 1 {
		t.Errorf("a note kept back: %v, %d lacking", err, lacking(again))
	}
	h.script("T closes 1 done\nL erases 1")
	again = emptyHistory(t)
	if err := admit(again.engine, nil, h.handedOn()...); err != nil || lacking(again) != 0 {
		t.Errorf("erased: %v, %d lacking", err, lacking(again))
	}
}

// TestErase: what a job alone has is deleted; what another job or the catalogue has is kept.
func TestErase(t *testing.T) {
	h := newHistory(t, false).script(oneJob + `
		C submits 1 mine
		C notes 1 hello file=photo,L1,found,runbefore
		T runs 1 before
		T opens CD-2
		T reads 2 other
		D submits 2 mine
		T closes 1 done`)
	have := func(label string) bool {
		return h.engine.View(func(tx store.ReadTx) error { _, err := tx.Blob(sha(label)); return err }) == nil
	}
	// an image that stood on the one that is to be erased
	base, stood := []byte(strings.Repeat("witness", 200)), []byte(strings.Repeat("witness", 199)+"witmark")
	err := h.engine.Update(func(w store.WriteTx) error {
		packed := store.Pack(stood, base, sha("found"))
		return w.PutBlob(hexSHA256(stood), packed)
	})
	if err != nil {
		t.Fatal(err)
	}
	h.script("L erases 1")
	for label, want := range map[string]bool{"photo": false, "L1": true, "found": true, "mine": true, "runbefore": true, "other": true, "report": true} {
		if have(label) != want {
			t.Errorf("after erasing texts %s is there: %v", label, have(label))
		}
	}
	h.script("L erases 1 images")
	for label, want := range map[string]bool{"L1": true, "found": false, "mine": true, "runbefore": false, "channels": false, "other": true, "report": true} {
		if have(label) != want {
			t.Errorf("after erasing images %s is there: %v", label, have(label))
		}
	}
	h.view(func(s *State) {
		_, found := s.Image(sha("found"))
		_, mine := s.Image(sha("mine"))
		j, _ := s.Job(1)
		if found || !mine || !j.GetPlate().GetErased() || j.GetPlate().GetText() != "" || !j.GetNotes()[0].GetText().GetErased() || !j.GetImagesErased() {
			t.Errorf("images %v %v, job %v", found, mine, j)
		}
		if len(s.CarsByPlate("AB-1")) != 0 || len(s.CarsByPlate("CD-2")) != 1 {
			t.Error("found by an erased plate")
		}
	})
	// a later job brings the same image again: making the documents anew must not delete it
	h.script("T opens EF-3\nT reads 3 found")
	replays(t, h)
	if !have("found") {
		t.Error("the image that came again was deleted")
	}
	h.script("T closes 3 cancelled\nL erases 3 images")
	if have("found") {
		t.Error("the image that came again is still there")
	}
}

// TestRebuildKeepsWhatIsNotUnderstood: an older program that makes the documents again does not delete
// what an entry may name that it cannot read.
func TestRebuildKeepsWhatIsNotUnderstood(t *testing.T) {
	h := newHistory(t, false).script(oneJob + "T closes 1 done\nL erases 1 images\nT opens CD-2\nC notes 2 hello\nT reads 2 found")
	hidden := kinds["note"]
	delete(kinds, "note")
	err := h.engine.Update(func(w store.WriteTx) error { _, err := Rebuild(w); return err })
	kinds["note"] = hidden
	if err != nil || !look(h, (*State).Unapplied) || !slices.Contains(blobsOf(t, h.engine), sha("found")) {
		t.Errorf("%v, blobs %v", err, blobsOf(t, h.engine))
	}
	if err := h.engine.Update(func(w store.WriteTx) error { s := Write(w); return errors.Join(s.CatchUp(), s.Finish()) }); err != nil {
		t.Fatal(err)
	}
	replays(t, h)
}
