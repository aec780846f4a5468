package server

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/ledger"
	"witnessmark/store/memory"
	"witnessmark/store/record"
)

// TestPeoplePages: pages hold everybody once, whoever comes in between.
func TestPeoplePages(t *testing.T) {
	w := newWorkshop(t)
	for i := range 6 {
		w.enrol(fmt.Sprintf("Person %d", i), "technician")
	}
	people := servicev1.NewPeopleClient(w.as("lead"))
	var names []string
	for more, after := true, ""; more; {
		got, err := people.List(within(t), &servicev1.PeopleListRequest{PageSize: 2, After: after})
		if err != nil {
			t.Fatal(err)
		}
		if len(got.GetPeople()) > 2 {
			t.Fatalf("a page of %d", len(got.GetPeople()))
		}
		for _, p := range got.GetPeople() {
			names = append(names, p.GetName())
			after = p.GetName()
		}
		if more = got.GetMore(); len(names) == 2 {
			w.enrol("person 2b", "technician")
		}
	}
	want := "lead, Person 0, Person 1, Person 2, person 2b, Person 3, Person 4, Person 5"
	if got := strings.Join(names, ", "); got != want {
		t.Errorf("pages hold %s; want %s", got, want)
	}
	_, err := people.List(within(t), &servicev1.PeopleListRequest{PageSize: maxPage + 1})
	wantFault(t, err, codes.InvalidArgument, "page-size")
	for _, after := range []string{"Person 3\n", "\nPerson 3", "Person 33", "Person\x003", " "} {
		_, err := people.List(within(t), &servicev1.PeopleListRequest{After: after})
		wantFault(t, err, codes.InvalidArgument, "bad-value")
	}
	got, err := people.Get(within(t), &servicev1.PeopleGetRequest{Name: "Person 3"})
	if err != nil || got.GetPerson().GetName() != "Person 3" {
		t.Errorf("get: %v %v", got, err)
	}
	self, err := people.Get(within(t), &servicev1.PeopleGetRequest{})
	if err != nil || self.GetPerson().GetName() != "lead" {
		t.Errorf("who calls: %v %v", self, err)
	}
	_, err = people.Get(within(t), &servicev1.PeopleGetRequest{Name: "nobody"})
	wantFault(t, err, codes.NotFound, "not-found")
}

// TestJobsAndCatalog: what Get and List say is what was done, page by page.
func TestJobsAndCatalog(t *testing.T) {
	b := newBench(t)
	for _, plate := range []string{"AB 12 CD", "EF 34 GH", "AB 12 CD"} {
		open, o := b.openJob(plate)
		b.do("technician", open, o)
	}
	jobs := servicev1.NewJobsClient(b.as("technician"))
	list := func(r *servicev1.JobsListRequest) string {
		out := ""
		for {
			got, err := jobs.List(within(t), r)
			if err != nil {
				t.Fatal(err)
			}
			for _, j := range got.GetJobs() {
				out += fmt.Sprintf("%d:%s ", j.GetNumber(), j.GetPlate().GetText())
			}
			if r.After = got.GetNext(); r.After == 0 {
				return out
			}
			out += "| "
		}
	}
	for want, r := range map[string]*servicev1.JobsListRequest{
		"1:AB 12 CD 2:EF 34 GH 3:AB 12 CD ":   {},
		"1:AB 12 CD 2:EF 34 GH | 3:AB 12 CD ": {PageSize: 2},
		"1:AB 12 CD | 3:AB 12 CD ":            {PageSize: 1, Car: 1},
		"2:EF 34 GH ":                         {Car: 2},
		"":                                    {Car: 3},
	} {
		if got := list(r); got != want {
			t.Errorf("%v: %q, want %q", r, got, want)
		}
	}
	_, err := jobs.List(within(t), &servicev1.JobsListRequest{PageSize: maxPage + 1})
	wantFault(t, err, codes.InvalidArgument, "page-size")
	_, err = jobs.Get(within(t), &servicev1.JobsGetRequest{Number: 4})
	wantFault(t, err, codes.NotFound, "not-found")

	second := append(demoFile(t, "dx1-road-98.yaml"), []byte("# looked at again\n")...)
	b.act("lead", &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{
		Revision: &recordv1.Revision{Name: limitsName, Sha256: b.have(second)}}}})
	catalog := servicev1.NewCatalogClient(b.as("calibrator"))
	for revision, want := range map[uint32]string{0: hashOf(second), 1: hashOf(demoFile(t, "dx1-road-98.yaml")), 2: hashOf(second)} {
		got, err := catalog.Get(within(t), &servicev1.CatalogGetRequest{Kind: record.Limits, Name: limitsName, Revision: revision})
		if err != nil || got.GetFile().GetSha256() != want {
			t.Errorf("revision %d is %v (%v), want %s", revision, got, err, want)
		}
	}
	first, err := catalog.List(within(t), &servicev1.CatalogListRequest{Kind: record.Limits, PageSize: 1})
	if err != nil || len(first.GetFiles()) != 1 || !first.GetMore() {
		t.Fatalf("first page: %v %v", first, err)
	}
	rest, err := catalog.List(within(t), &servicev1.CatalogListRequest{Kind: record.Limits, AfterName: limitsName, AfterRevision: 1})
	if err != nil || len(rest.GetFiles()) != 1 || rest.GetMore() || rest.GetFiles()[0].GetRevision() != 2 {
		t.Errorf("second page: %v %v", rest, err)
	}
	for _, r := range []*servicev1.CatalogListRequest{{AfterName: limitsName + "\n", AfterRevision: 1}, {AfterName: limitsName}, {AfterRevision: 1}, {AfterName: limitsName, AfterRevision: 3}} {
		r.Kind = record.Limits
		_, err = catalog.List(within(t), r)
		wantFault(t, err, codes.InvalidArgument, "bad-value")
	}
	_, err = catalog.Get(within(t), &servicev1.CatalogGetRequest{Kind: record.Limits, Name: limitsName, Revision: 3})
	wantFault(t, err, codes.NotFound, "not-found")
	_, err = catalog.Get(within(t), &servicev1.CatalogGetRequest{Kind: "maps"})
	wantFault(t, err, codes.InvalidArgument, "bad-value")
	_, err = catalog.List(within(t), &servicev1.CatalogListRequest{Kind: "maps"})
	wantFault(t, err, codes.InvalidArgument, "bad-value")
	_, err = catalog.List(within(t), &servicev1.CatalogListRequest{Kind: record.Limits, PageSize: maxPage + 1})
	wantFault(t, err, codes.InvalidArgument, "page-size")
}

// TestPageIsBoundedByBytes: a page ends where it gets too large for one message, and holds one item
// at least.
func TestPageIsBoundedByBytes(t *testing.T) {
	p, err := newPage[*recordv1.Person](10)
	if err != nil {
		t.Fatal(err)
	}
	large := &recordv1.Person{Name: strings.Repeat("x", pageBytes/2)}
	for n := 0; p.take(large); n++ {
		if n > 3 {
			t.Fatal("it takes whatever comes")
		}
	}
	if len(p.items) != 2 || !p.more {
		t.Errorf("%d items, more %t; want 2 and more", len(p.items), p.more)
	}
}

// TestEntries: what comes is judged to the same head, whatever part is asked for.
func TestEntries(t *testing.T) {
	b := newBench(t)
	b.released("AB 12 CD")
	c := servicev1.NewRecordClient(b.as("technician"))
	note, err := c.Head(within(t), &servicev1.HeadRequest{})
	if err != nil {
		t.Fatal(err)
	}
	fetch := func(first, end uint64) (out []*recordv1.Told, err error) {
		s, err := c.Entries(within(t), &servicev1.EntriesRequest{First: first, End: end})
		if err != nil {
			return nil, err
		}
		for {
			m, err := s.Recv()
			if errors.Is(err, io.EOF) {
				return out, nil
			}
			if err != nil {
				return out, err
			}
			if m.GetFirst() != first+uint64(len(out)) {
				t.Errorf("a message says %d after %d entries from %d on", m.GetFirst(), len(out), first)
			}
			out = append(out, m.GetEntries()...)
		}
	}
	all, err := fetch(0, 0)
	if err != nil {
		t.Fatal(err)
	}
	err = memory.New().Update(func(w store.WriteTx) error {
		s := record.Write(w)
		for _, told := range all {
			if _, err := s.Admit(told.GetEntry(), told.GetOpenings()); err != nil {
				return err
			}
		}
		cp, err := ledger.OpenCheckpoint(note.GetCheckpoint(), ledger.Origin(hashOf(all[0].GetEntry())), publicOf(b.srv.home.key))
		if err != nil || cp.Size != s.Size() || cp.Root != s.Root(s.Size()) || s.Lacking() != 0 {
			t.Errorf("checkpoint %v (%v), %d entries, %d texts are lacking", cp, err, s.Size(), s.Lacking())
		}
		return s.Finish()
	})
	if err != nil {
		t.Fatal(err)
	}
	size := uint64(len(all))
	for _, c := range []struct{ first, end, want uint64 }{{0, 1, 1}, {3, 5, 2}, {size, 0, 0}, {size, size, 0}, {2, 0, size - 2}} {
		if some, err := fetch(c.first, c.end); err != nil || uint64(len(some)) != c.want {
			t.Errorf("%d to %d: %d entries (%v), want %d", c.first, c.end, len(some), err, c.want)
		}
	}
	for _, c := range []struct{ first, end uint64 }{{0, size + 1}, {size + 1, 0}, {5, 4}} {
		_, err := fetch(c.first, c.end)
		wantFault(t, err, codes.InvalidArgument, "range")
	}
}

// TestEntriesComeInBoundedParts: many entries are many messages, without a gap.
func TestEntriesComeInBoundedParts(t *testing.T) {
	w := newWorkshop(t)
	w.stop()
	grow(t, w.dir, w.keys["lead"], maxPage+10)
	w.start()
	s, err := servicev1.NewRecordClient(w.as("lead")).Entries(within(t), &servicev1.EntriesRequest{First: 2})
	if err != nil {
		t.Fatal(err)
	}
	for want := []int{maxPage, 8}; ; want = want[1:] {
		m, err := s.Recv()
		if errors.Is(err, io.EOF) && len(want) == 0 {
			return
		}
		if err != nil || len(want) == 0 || len(m.GetEntries()) != want[0] {
			t.Fatalf("%d entries from %d on (%v), want %d", len(m.GetEntries()), m.GetFirst(), err, want)
		}
	}
}

// TestWatchCoalesces: a watcher that does not read is not in anybody's way, and then gets
// the newest checkpoint, not every one.
func TestWatchCoalesces(t *testing.T) {
	w := newWorkshop(t)
	s, err := servicev1.NewRecordClient(w.as("lead")).Watch(within(t), &servicev1.WatchRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		w.enrol(fmt.Sprintf("person %d", i), "technician")
	}
	origin, key := "", publicOf(w.srv.home.key)
	w.look(func(s *record.State) { origin = ledger.Origin(s.GenesisSHA256()) })
	for last := uint64(0); last < 21; {
		m, err := s.Recv()
		if err != nil {
			t.Fatalf("after size %d: %v", last, err)
		}
		cp, err := ledger.OpenCheckpoint(m.GetCheckpoint(), origin, key)
		if err != nil || cp.Size <= last {
			t.Fatalf("size %d after %d: %v", cp.Size, last, err)
		}
		last = cp.Size
	}
}

// TestDownloadRefusals: what is no hash, and what is not there.
func TestDownloadRefusals(t *testing.T) {
	w := newWorkshop(t)
	c := servicev1.NewBlobsClient(w.as("lead"))
	_, err := download(t, c, "../server.key")
	wantFault(t, err, codes.InvalidArgument, "bad-value")
	_, err = download(t, c, hashOf(nil))
	wantFault(t, err, codes.NotFound, "not-found")
}

// TestRetiredDownloadEnds: a download is cut off too, even one whose reader keeps the server waiting.
func TestRetiredDownloadEnds(t *testing.T) {
	b := newBench(t)
	open, o := b.openJob("AB 12 CD")
	b.do("technician", open, o)
	data, env, o := b.withFile(6 << 20)
	if _, err := b.bring("technician", env, o...); err != nil {
		t.Fatal(err)
	}
	s, err := servicev1.NewBlobsClient(b.as("calibrator")).Download(within(t), &servicev1.DownloadRequest{Sha256: hashOf(data)})
	if err != nil {
		t.Fatal(err)
	}
	m, err := s.Recv()
	if err != nil || m.GetSize() != uint64(len(data)) {
		t.Fatalf("the first message says %d bytes, %v", m.GetSize(), err)
	}
	got := len(m.GetChunk())
	b.must("lead", retireAction("calibrator"))
	for err == nil {
		if m, err = s.Recv(); err == nil {
			got += len(m.GetChunk())
		}
	}
	wantFault(t, err, codes.Unauthenticated, "not-enrolled")
	if got >= len(data) {
		t.Errorf("all %d bytes came", got)
	}
}

// TestInParts: the parts merge to the whole, and no table is split, whatever their sizes.
func TestInParts(t *testing.T) {
	whole := &calibrationv1.Report{Verdict: "clear"}
	for i, n := range []int{10, chunkBytes, 10, 10, chunkBytes / 2, chunkBytes/2 + 1, 10} {
		whole.Tables = append(whole.Tables, &calibrationv1.TableReport{Id: strings.Repeat(fmt.Sprint(i), n)})
	}
	merged, parts := &calibrationv1.Report{}, 0
	err := inParts(whole, func(p *calibrationv1.Report) error {
		parts++
		proto.Merge(merged, p)
		if proto.Size(p) > chunkBytes+1000 && len(p.GetTables()) > 1 {
			t.Errorf("part %d has %d tables of %d bytes", parts, len(p.GetTables()), proto.Size(p))
		}
		return nil
	})
	if err != nil || !proto.Equal(merged, whole) || parts < 4 {
		t.Errorf("%d parts, equal %t, %v", parts, proto.Equal(merged, whole), err)
	}
	if err := inParts(whole, func(*calibrationv1.Report) error { return io.ErrClosedPipe }); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("a send that failed: %v", err)
	}
}
