package client

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"witnessmark/store/record"
)

func (w *world) finds(f JobFilter, want ...uint32) {
	w.Helper()
	page, err := w.lead.FindJobs(f)
	w.must(nil, err)
	var got []uint32
	for _, j := range page.Jobs {
		got = append(got, j.GetNumber())
	}
	if !slices.Equal(got, want) {
		w.Errorf("%+v finds %v of %d, want %v", f, got, page.Found, want)
	}
}

func TestFindJobs(t *testing.T) {
	w := newWorld(t).released()
	for n := range 30 {
		w.must(w.tech.OpenJob(ctx, NewJob{Definition: "bench", Details: Details{Plate: fmt.Sprintf("B-HC %d", 100+n), Limits: "bench-98", Parts: []string{"larger intercooler"}}}))
	}
	w.must(w.tech.CloseJob(ctx, 2, "cancelled", "the owner changed his mind"))
	w.must(w.cal.AddNote(ctx, NewNote{About: record.Name{Job: 1, Part: record.ASubmission, N: 1}, Table: "ignition.base", Text: "knocks in third gear"}))
	w.must(nil, w.lead.Sync(ctx))

	page, err := w.lead.FindJobs(JobFilter{Text: "intercool"})
	w.must(nil, err)
	if page.Found != 30 || len(page.Jobs) != UsualPage || page.Jobs[0].GetNumber() != 31 {
		t.Errorf("a page of %d, of %d, beginning with %d", len(page.Jobs), page.Found, page.Jobs[0].GetNumber())
	}
	w.finds(JobFilter{Text: "intercool", Skip: 28}, 3, 2)
	w.finds(JobFilter{Skip: 5000})
	w.finds(JobFilter{Text: "hc18"}, 1)
	w.finds(JobFilter{Text: "b-hc 101"}, 3)
	w.finds(JobFilter{Car: "b hc101"}, 3)
	w.finds(JobFilter{Car: frame}, 1)
	w.finds(JobFilter{Car: "2"}, 2)
	w.finds(JobFilter{Text: "third gear"}, 1)
	w.finds(JobFilter{Query: record.Query{State: "closed"}}, 2)
	w.finds(JobFilter{Query: record.Query{Verdict: "warning", Submission: "released"}}, 1)
	w.finds(JobFilter{Query: record.Query{Verdict: "warning", Submission: "waiting"}})
	w.finds(JobFilter{Query: record.Query{Person: "CAL"}}, 1)
	w.finds(JobFilter{Query: record.Query{Sort: record.Worst}, Most: 3}, 1, 31, 30)
	w.finds(JobFilter{Query: record.Query{Sort: record.Oldest}, Most: 2}, 1, 2)
	w.finds(JobFilter{Query: record.Query{Until: "2020-01-01"}})
	for words, f := range map[string]JobFilter{
		"no car with": {Car: "HC 99"}, "nobody called": {Query: record.Query{Person: "somebody"}}, "no definition": {Query: record.Query{Definition: "other"}},
		"neither a letter": {Text: "%%"}, "a day, such as": {Query: record.Query{Since: "yesterday"}}, "sort": {Query: record.Query{Sort: "best"}},
		"verdict": {Query: record.Query{Verdict: "bad"}}, "state": {Query: record.Query{Submission: "lost"}},
	} {
		if _, err := w.lead.FindJobs(f); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%+v: %v, want %q", f, err, words)
		}
	}
}

func TestSearch(t *testing.T) {
	w := newWorld(t).released()
	w.must(w.cal.AddNote(ctx, NewNote{About: record.Name{Job: 1, Part: record.ASubmission, N: 1}, Table: "ignition.base", Text: "knocks in third gear"}))
	w.must(w.open("HC 20"))
	w.must(nil, w.lead.Sync(ctx))
	search := func(text string, want ...string) {
		t.Helper()
		hits, more, err := w.lead.Search(text, 0)
		w.must(nil, err)
		var got []string
		for _, h := range hits {
			got = append(got, fmt.Sprintf("%s %s %s", h.Of, h.What, h.Text))
		}
		if !slices.Equal(got, want) || more != 0 {
			t.Errorf("%q: %q and %d more, want %q", text, got, more, want)
		}
	}
	search("hc", "2 plate HC 20", "1 plate HC 18")
	search("hc 18 third", "1 plate HC 18", "1.1 note knocks in third gear")
	search("ignition.base", "1.1 table ignition.base", "1.1 table ignition.base")
	search("watched", "1.1 reason watched on the rolling road")
	search(frame)
	if hits, more, err := w.lead.Search("hc", 1); err != nil || len(hits) != 1 || more != 1 {
		t.Errorf("one hit: %v, %d more, %v", hits, more, err)
	}
	if _, _, err := w.lead.Search("…", 0); err == nil {
		t.Error("a text without letters is looked for")
	}
}

func TestNoteAboutATable(t *testing.T) {
	w := newWorld(t)
	about := record.Name{Job: 1}
	_, err := w.cal.AddNote(ctx, NewNote{About: about, Table: "ignition.bse", Text: "x"})
	w.refusedAs(err, Refused, `no table "ignition.bse"; allowed: ignition.base`)
	_, err = w.cal.AddNote(ctx, NewNote{About: about, Text: "  "})
	w.refusedAs(err, Usage, "needs a text")
	_, err = w.cal.AddNote(ctx, NewNote{About: record.Name{Job: 1, Part: record.ARead, N: 1}, Text: "x"})
	w.refusedAs(err, Usage, "neither")
	_, err = w.cal.AddNote(ctx, NewNote{About: about, Table: "ignition.base", Text: "x", Files: []string{w.path("missing.jpg")}})
	if err == nil {
		t.Error("a note goes without its file")
	}
}
