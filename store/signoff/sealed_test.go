package signoff_test

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"slices"
	"strings"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// TestOpeningIsTheHash computes a commitment by hand: field, a zero byte, salt, text.
func TestOpeningIsTheHash(t *testing.T) {
	salt := bytes.Repeat([]byte{7}, 32)
	o := signoff.NewOpening("plate", "HC 18", bytes.NewReader(salt))
	want := sha256.Sum256(slices.Concat([]byte("plate\x00"), salt, []byte("HC 18")))
	if o.Commitment != hex.EncodeToString(want[:]) || o.Field != "plate" || o.Text != "HC 18" || o.Salt != hex.EncodeToString(salt) {
		t.Errorf("opening %v, want commitment %x", o, want)
	}
}

func TestOpenings(t *testing.T) {
	for _, text := range []string{"", "HC 18", "\x00", strings.Repeat("ж", 5000)} {
		o := signoff.NewOpening("note", text, rand.Reader)
		if err := signoff.CheckOpening(o); err != nil {
			t.Errorf("%q: %v", text, err)
		}
		if again := signoff.NewOpening("note", text, rand.Reader); again.Salt == o.Salt || again.Commitment == o.Commitment {
			t.Errorf("%q is sealed alike twice", text)
		}
	}
	for name, spoil := range map[string]func(*recordv1.Opening){
		"another text":        func(o *recordv1.Opening) { o.Text = "HC 19" },
		"another field":       func(o *recordv1.Opening) { o.Field = "frame" },
		"no field":            func(o *recordv1.Opening) { o.Field = "" },
		"field with a zero":   func(o *recordv1.Opening) { o.Field = "plate\x00" },
		"another salt":        func(o *recordv1.Opening) { o.Salt = strings.Repeat("00", 32) },
		"salt cut":            func(o *recordv1.Opening) { o.Salt = o.Salt[2:] },
		"salt in capitals":    func(o *recordv1.Opening) { o.Salt = strings.Repeat("AB", 32) },
		"salt moved to text":  func(o *recordv1.Opening) { o.Text, o.Salt = o.Salt[62:]+o.Text, o.Salt[:62] },
		"another commitment":  func(o *recordv1.Opening) { o.Commitment = strings.Repeat("00", 32) },
		"no commitment":       func(o *recordv1.Opening) { o.Commitment = "" },
		"commitment in caps":  func(o *recordv1.Opening) { o.Commitment = strings.ToUpper(o.Commitment) },
		"nothing in it":       func(o *recordv1.Opening) { *o = recordv1.Opening{} },
		"field of some lines": func(o *recordv1.Opening) { o.Field = "plate\n" },
	} {
		o := signoff.NewOpening("plate", "HC 18", rand.Reader)
		spoil(o)
		err := signoff.CheckOpening(o)
		if !errors.Is(err, signoff.ErrOpening) || strings.Contains(err.Error(), "HC 18") {
			t.Errorf("%s: %v", name, err)
		}
		oneLine(t, err)
	}
}

func TestCommitments(t *testing.T) {
	sealed := func(digit string) *recordv1.Sealed { return &recordv1.Sealed{Commitment: strings.Repeat(digit, 64)} }
	job := header()
	job.Body = &recordv1.Action_Job{Job: &recordv1.OpenJob{Details: &recordv1.JobDetails{
		Note: sealed("c"), Frame: sealed("b"), Plate: sealed("a"), Numbers: map[string]string{"plate": "1"},
	}}}
	note := header()
	note.Body = &recordv1.Action_Note{Note: &recordv1.AddNote{
		Text:  &recordv1.Sealed{},
		Files: []*recordv1.NoteFile{{Name: sealed("1")}, {}, {Name: sealed("2")}},
	}}
	for _, c := range []struct {
		action *recordv1.Action
		want   string
	}{
		{job, "plate a job.details.plate, frame b job.details.frame, note c job.details.note"},
		{note, "name 1 note.files[0].name, name 2 note.files[2].name"},
		{collectAction(), ""},
		{header(), ""},
	} {
		var got []string
		for _, s := range signoff.Commitments(c.action) {
			if s.Commitment != strings.Repeat(s.Commitment[:1], 64) {
				t.Errorf("commitment %q", s.Commitment)
			}
			got = append(got, s.Field+" "+s.Commitment[:1]+" "+s.At)
		}
		if strings.Join(got, ", ") != c.want {
			t.Errorf("found %v, want %s", got, c.want)
		}
	}
	for _, bad := range []string{"abc", strings.Repeat("A", 64), strings.Repeat("a", 65)} {
		job.GetJob().Details.Frame.Commitment = bad
		_, err := signoff.Seal(job, testKey(t))
		if !errors.Is(err, signoff.ErrForm) || !strings.Contains(err.Error(), "action.job.details.frame: commitment") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}
