package server

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"
	"pgregory.net/rapid"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
)

// TestPages: pages of a list hold everything once that was there at the first page, whatever
// is added in between; a token of another list, another filter or another maker is refused.
func TestPages(t *testing.T) {
	w := newWorkshop(t)
	for i := range 6 {
		w.enrol(fmt.Sprintf("person %d", i), "technician")
	}
	people := servicev1.NewPeopleClient(w.as("lead"))
	var names []string
	token := ""
	for first := true; first || token != ""; first = false {
		got, err := people.List(within(t), &servicev1.PeopleListRequest{PageSize: 2, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range got.GetPeople() {
			names = append(names, p.GetName())
		}
		if first {
			w.enrol("person 2b", "technician")
			w.must("lead", enrolAction("person 4", testKey("person 4's new key"), "technician"))
		}
		token = got.GetNextPageToken()
	}
	want := "lead, person 0, person 1, person 2, person 3, person 4, person 5"
	if got := strings.Join(names, ", "); got != want {
		t.Errorf("pages hold %s; want %s", got, want)
	}
	page1, err := people.List(within(t), &servicev1.PeopleListRequest{PageSize: 1})
	if err != nil {
		t.Fatal(err)
	}
	good := page1.GetNextPageToken()
	for _, bad := range []string{"x", "!", strings.Repeat("A", 64), good + "A", good[:len(good)-1], strings.ToUpper(good)} {
		_, err := people.List(within(t), &servicev1.PeopleListRequest{PageSize: 1, PageToken: bad})
		wantFault(t, err, codes.InvalidArgument, "bad-page-token")
	}
	_, err = servicev1.NewJobsClient(w.as("lead")).List(within(t), &servicev1.JobsListRequest{PageToken: good})
	wantFault(t, err, codes.InvalidArgument, "bad-page-token")
	_, err = people.List(within(t), &servicev1.PeopleListRequest{PageSize: maxPage + 1})
	wantFault(t, err, codes.InvalidArgument, "page-size")
}

// TestPagesHoldEverythingOnce is the same for any rows and any page size.
func TestPagesHoldEverythingOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keys := rapid.SliceOfNDistinct(rapid.StringMatching(`[a-c]{0,4}`), 0, 20, rapid.ID[string]).Draw(t, "keys")
		size := rapid.Uint64Range(0, 10).Draw(t, "tree size")
		rows := make([]row[string], len(keys))
		want := map[string]bool{}
		for i, k := range keys {
			rows[i] = row[string]{k, rapid.Uint64Range(0, 12).Draw(t, "entry"), k}
			if rows[i].entry < size {
				want[k] = true
			}
		}
		p := newPager([]byte("seed"))
		n := rapid.Uint32Range(1, 7).Draw(t, "page size")
		got := map[string]bool{}
		for token, i := "", 0; i == 0 || token != ""; i++ {
			some, next, err := page(p, "list", "filter", token, n, size+uint64(i), rows)
			if err != nil {
				t.Fatal(err)
			}
			for _, k := range some {
				if got[k] {
					t.Fatalf("%q came twice", k)
				}
				got[k] = true
			}
			token = next
		}
		if len(got) != len(want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

// TestLedgerProves: entries, checkpoint and proofs fit each other, as anyone can check.
func TestLedgerProves(t *testing.T) {
	w := newWorkshop(t)
	for i := range 6 {
		w.enrol(fmt.Sprintf("person %d", i), "technician")
	}
	c := servicev1.NewLedgerClient(w.as("lead"))
	note, err := c.GetCheckpoint(within(t), &servicev1.GetCheckpointRequest{})
	if err != nil {
		t.Fatal(err)
	}
	genesis, err := c.GetGenesis(within(t), &servicev1.GetGenesisRequest{})
	if err != nil {
		t.Fatal(err)
	}
	origin := ledger.Origin(hashOf(genesis.GetEntry()))
	cp, err := ledger.OpenCheckpoint(note.GetCheckpoint(), origin, publicOf(w.srv.folder.key))
	if err != nil || cp.Size != 7 {
		t.Fatalf("checkpoint %v %v, want size 7", cp, err)
	}
	list, err := c.ListEntries(within(t), &servicev1.ListEntriesRequest{})
	if err != nil {
		t.Fatal(err)
	}
	state, err := record.Replay(list.GetEntries())
	if err != nil || state.Roots[7] != cp.Root {
		t.Fatalf("replayed root %v (%v), checkpoint %v", state.Roots[7], err, cp.Root)
	}
	for size := uint64(1); size <= 7; size++ {
		at := ledger.Checkpoint{Origin: origin, Size: size, Root: state.Roots[size]}
		for i := range size {
			p, err := c.ProveInclusion(within(t), &servicev1.ProveInclusionRequest{Index: i, Size: size})
			if err != nil {
				t.Fatal(err)
			}
			if err := ledger.CheckInclusion(p.GetHashes(), i, at, ledger.LeafHash(list.GetEntries()[i])); err != nil {
				t.Errorf("entry %d in %d: %v", i, size, err)
			}
		}
		p, err := c.ProveConsistency(within(t), &servicev1.ProveConsistencyRequest{From: size, To: 7})
		if err != nil {
			t.Fatal(err)
		}
		if err := ledger.CheckConsistency(p.GetHashes(), at, cp); err != nil {
			t.Errorf("%d to 7: %v", size, err)
		}
	}
	_, err = c.ProveInclusion(within(t), &servicev1.ProveInclusionRequest{Index: 0, Size: 8})
	wantFault(t, err, codes.InvalidArgument, "range")
	_, err = c.ProveInclusion(within(t), &servicev1.ProveInclusionRequest{Index: 3, Size: 3})
	wantFault(t, err, codes.InvalidArgument, "range")
	_, err = c.ProveConsistency(within(t), &servicev1.ProveConsistencyRequest{From: 5, To: 4})
	wantFault(t, err, codes.InvalidArgument, "range")
}

// TestEntriesComeInBoundedPages: a page is bounded by bytes, and one entry always comes.
func TestEntriesComeInBoundedPages(t *testing.T) {
	w := newWorkshop(t)
	for i := range 4 {
		name := fmt.Sprintf("person %d", i)
		w.keys[name] = testKey(name)
		w.must("lead", enrolAction(name, w.keys[name], "technician"))
	}
	c := servicev1.NewLedgerClient(w.as("lead"))
	var all []string
	for first := uint64(0); ; {
		got, err := c.ListEntries(within(t), &servicev1.ListEntriesRequest{First: first, PageSize: 2})
		if err != nil {
			t.Fatal(err)
		}
		if len(got.GetEntries()) == 0 {
			break
		}
		for _, e := range got.GetEntries() {
			all = append(all, string(e))
		}
		first += uint64(len(got.GetEntries()))
	}
	if len(all) != 5 {
		t.Errorf("%d entries, want 5", len(all))
	}
	_, err := c.ListEntries(within(t), &servicev1.ListEntriesRequest{PageSize: maxEntries + 1})
	wantFault(t, err, codes.InvalidArgument, "page-size")
}

// TestWatchCoalesces: a watcher that does not read is not in anybody's way, and then gets
// the newest checkpoint, not every one.
func TestWatchCoalesces(t *testing.T) {
	w := newWorkshop(t)
	s, err := servicev1.NewLedgerClient(w.as("lead")).Watch(within(t), &servicev1.WatchRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		w.enrol(fmt.Sprintf("person %d", i), "technician")
	}
	origin, key := ledger.Origin(w.srv.core.genesis), publicOf(w.srv.folder.key)
	last := uint64(0)
	for last < 21 {
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

// TestBackup: what Backup streams is a store that Restore makes a server of, with the
// server's key, which is not in it.
func TestBackup(t *testing.T) {
	w := staffed(t)
	s, err := servicev1.NewAdminClient(w.as("lead")).Backup(within(t), &servicev1.BackupRequest{})
	if err != nil {
		t.Fatal(err)
	}
	var copied []byte
	for {
		m, err := s.Recv()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		copied = append(copied, m.GetChunk()...)
	}
	if strings.Contains(string(copied), string(w.srv.folder.key.Seed())) {
		t.Error("the backup holds the server's key")
	}
	if left := stagedNames(t, w); len(left) != 0 {
		t.Errorf("the backup left %v", left)
	}
	folder := t.TempDir()
	file := filepath.Join(folder, "backup")
	if err := os.WriteFile(file, copied, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Restore(filepath.Join(folder, "wrong"), file, testKey("another server")); err == nil {
		t.Error("restored with another server's key")
	}
	if _, err := os.Stat(filepath.Join(folder, "wrong")); err == nil {
		t.Error("a refused restore left a folder")
	}
	_, n, err := Restore(filepath.Join(folder, "data"), file, w.srv.folder.key)
	if err != nil || n != 3 {
		t.Fatalf("restore: %d entries, %v; want 3", n, err)
	}
	again := &workshop{t: t, dir: filepath.Join(folder, "data"), logs: &lockedBuffer{}, keys: w.keys}
	again.start()
	defer again.stop()
	again.enrol("somebody", "technician")
	if again.size() != 4 {
		t.Errorf("%d entries, want 4", again.size())
	}
}

// TestInit: a folder that holds anything is left alone, a failure leaves nothing, and files
// are their owner's alone.
func TestInit(t *testing.T) {
	base := t.TempDir()
	dir := filepath.Join(base, "data")
	print1, err := Init(dir, "lead", publicOf(testKey("lead")), false)
	if err != nil || !strings.HasPrefix(print1, "SHA256:") {
		t.Fatalf("%q %v", print1, err)
	}
	err = filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		info, _ := d.Info()
		if info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s has mode %v", path, info.Mode())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Init(dir, "lead", publicOf(testKey("lead")), false); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("a second init: %v", err)
	}
	if _, err := Init(filepath.Join(base, "bad"), "two\nlines", publicOf(testKey("lead")), false); err == nil {
		t.Error("a name of two lines was accepted")
	}
	names, err := os.ReadDir(base)
	if err != nil || len(names) != 1 {
		t.Errorf("left behind: %v %v", names, err)
	}
	other, err := Init(filepath.Join(base, "other"), "lead", publicOf(testKey("lead")), false)
	if err != nil || other == print1 {
		t.Errorf("two ledgers share the fingerprint %s (%v)", other, err)
	}
}

// TestCheckFinds: each damage to the store is found, and said.
func TestCheckFinds(t *testing.T) {
	b := newBench(t)
	b.must("technician", b.openJob("AB 12 CD", ""))
	original := demoFile(t, "original.bin")
	b.must("technician", readAction(b.read(1, original)))
	e := b.srv.core.engine
	h := &pending{stored: []tlog.Hash{{1}}, first: 0, result: admitted{index: b.size(), entry: []byte("no entry")}}
	for name, c := range map[string]struct {
		damage func(tx store.WriteTx) error
		say    string
	}{
		"a tree hash": {func(tx store.WriteTx) error { return tx.PutHash(2, tlog.Hash{1}) }, "tree hash 2"},
		"a blob":      {func(tx store.WriteTx) error { return tx.PutBlob(hashOf(original), []byte("damaged")) }, hashOf(original)},
		"the head":    {func(tx store.WriteTx) error { return tx.PutDocument(headKind, headKey, []byte("x")) }, "checkpoint inside"},
		"an entry":    {func(tx store.WriteTx) error { return h.put(tx) }, "entry 7"},
	} {
		dir := b.damagedCopy(e, c.damage)
		out, err := Check(dir)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if !strings.Contains(strings.Join(out.Found, "\n"), c.say) {
			t.Errorf("%s: found %q, want %q", name, out.Found, c.say)
		}
	}
}

// damagedCopy is a copy of the server's folder whose store was written to behind its back.
func (b *bench) damagedCopy(e store.Engine, damage func(store.WriteTx) error) string {
	b.t.Helper()
	dir := b.t.TempDir()
	for _, name := range []string{keyFile, checkpointFile} {
		if err := os.WriteFile(filepath.Join(dir, name), fileBytes(b.t, filepath.Join(b.dir, name)), 0o600); err != nil {
			b.t.Fatal(err)
		}
	}
	path := filepath.Join(dir, storeFile)
	f, err := os.Create(path)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := errors.Join(e.Snapshot(f), f.Close()); err != nil {
		b.t.Fatal(err)
	}
	copied, err := bolt.Open(path)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := errors.Join(copied.Update(damage), copied.Close()); err != nil {
		b.t.Fatal(err)
	}
	return dir
}
