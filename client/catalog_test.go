package client

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// TestCatalogue: each name once with its newest revision and the jobs that are judged by it, open ones and all.
func TestCatalogue(t *testing.T) {
	w := newWorld(t)
	for i := range 3 {
		w.document(Definitions, strings.ReplaceAll(testDefinition, "Bench controller", fmt.Sprint("Bench ", i)))
	}
	w.document(Definitions, strings.ReplaceAll(testDefinition, "name: bench\n", "name: another\n"))
	w.document(Limits, strings.ReplaceAll(testLimits, "bench-98", "bench-95"))
	w.must(w.open("HC 2"))
	w.must(w.open("HC 3"))
	w.must(w.tech.CloseJob(ctx, 2, "cancelled", "sold"))
	w.must(nil, w.lead.Sync(ctx))
	for kind, want := range map[string]string{Definitions: "another 1 [] 0, bench 4 [3 1] 3, ", Limits: "bench-95 1 [] 0, bench-98 1 [3 1] 0, "} {
		got := ""
		names, err := w.lead.Catalogue(kind, "", 9)
		w.must(nil, err)
		all, err := w.lead.CatalogNames(kind)
		if err != nil || len(all) != len(names) || all[0] != names[0].Newest.GetName() || all[1] != names[1].Newest.GetName() {
			t.Errorf("%s: names are %q, %v", kind, all, err)
		}
		for after, want := range map[string]int{"": 0, all[0]: 1, all[1]: 2} {
			page, err := w.lead.Catalogue(kind, after, 1)
			if err != nil || len(page) != min(1, 2-want) || len(page) == 1 && page[0].Newest.GetName() != all[want] {
				t.Errorf("%s after %q: %v, %v", kind, after, page, err)
			}
		}
		for _, n := range names {
			got += fmt.Sprintf("%s %d %v %d, ", n.Newest.GetName(), n.Newest.GetRevision(), n.Open, n.All)
			one, err := w.lead.CataloguedAs(kind, n.Newest.GetName())
			if err != nil || !slices.Equal(one.Open, n.Open) || one.All != n.All || one.Newest.GetSha256() != n.Newest.GetSha256() {
				t.Errorf("%s alone is %v, %v", n.Newest.GetName(), one, err)
			}
		}
		if got != want {
			t.Errorf("%s: %s want %s", kind, got, want)
		}
	}
	for before, want := range map[uint32]string{0: "4 3 ", 3: "2 1 ", 9: "4 3 ", 1: ""} {
		got := ""
		files, err := w.lead.Revisions(Definitions, "bench", before, 2)
		w.must(nil, err)
		for _, f := range files {
			got += fmt.Sprint(f.GetRevision(), " ")
		}
		if got != want {
			t.Errorf("before %d: %q, want %q", before, got, want)
		}
	}
	if _, err := w.lead.CataloguedAs(Limits, "bench"); KindOf(err) != Usage {
		t.Errorf("limits that there are not: %v", err)
	}
}

// TestLookAtDocument tells what adding would come to, and enters nothing; what is not agreed to is not added either.
func TestLookAtDocument(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.lead.Sync(ctx))
	size := w.lead.Head().Size
	stricter := []byte(strings.ReplaceAll(testLimits, "max: 60", "max: 31"))
	l, err := w.lead.LookAtDocument(ctx, Limits, "next.yaml", stricter)
	w.must(nil, err)
	if l.Name != "bench-98" || l.Revision != 2 || l.Is || len(l.Worse) != 1 || l.Worse[0].GetJob() != 1 || l.Worse[0].GetSubmission() != 1 || l.Worse[0].GetVerdict() != "danger" {
		t.Errorf("it would be %+v", l)
	}
	no := refused("not so")
	if _, err := w.lead.AddFile(ctx, Limits, "next.yaml", stricter, func(Looked) error { return no }); err != no {
		t.Errorf("what was not agreed to: %v", err)
	}
	if _, err := w.lead.LookAtDocument(ctx, Limits, "next.yaml", []byte(strings.ReplaceAll(testLimits, "[bench]", "[bunch]"))); KindOf(err) != Refused {
		t.Errorf("a definition that is not here: %v", err)
	}
	for text, want := range map[string]Looked{testLimits: {Name: "bench-98", Revision: 1, Is: true}, strings.ReplaceAll(testLimits, "bench-98", "new"): {Name: "new", Revision: 1}} {
		if l, err := w.lead.LookAtDocument(ctx, Limits, "next.yaml", []byte(text)); err != nil || l.Name != want.Name || l.Revision != want.Revision || l.Is != want.Is || l.Worse != nil {
			t.Errorf("it would be %+v, %v; want %+v", l, err, want)
		}
	}
	w.must(nil, w.lead.Sync(ctx))
	if got := w.lead.Head().Size; got != size {
		t.Errorf("looking made %d entries", got-size)
	}
}
