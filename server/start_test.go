package server

import (
	"crypto/ed25519"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.etcd.io/bbolt"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// stopped stops the server and reads the store's file.
func (w *workshop) stopped() []byte {
	w.Helper()
	w.stop()
	return fileBytes(w, filepath.Join(w.dir, storeFile))
}

func (w *workshop) write(name string, data []byte) {
	w.Helper()
	if err := os.WriteFile(filepath.Join(w.dir, name), data, 0o600); err != nil {
		w.Fatal(err)
	}
}

func (w *workshop) refusesToStart(say string) {
	w.Helper()
	s, err := Start(Options{Place: Place{Dir: w.dir, Database: w.place.Database}, Listen: "127.0.0.1:0"})
	if err == nil {
		_ = s.Stop()
		w.Fatalf("it started; want %q", say)
	}
	if !strings.Contains(err.Error(), say) || strings.Contains(err.Error(), "\n") {
		w.Errorf("it says %q, want one line with %q", err, say)
	}
}

// checkSays wants check to find it too.
func (w *workshop) checkSays(say string) {
	w.Helper()
	out, err := w.place.Check()
	if err != nil {
		w.Fatalf("check: %v", err)
	}
	if !strings.Contains(strings.Join(out.Found, "\n"), say) {
		w.Errorf("check found %q, want %q", out.Found, say)
	}
}

// TestStoreBehindItsCheckpoint: a store from before the kept checkpoint, or beside it, is not served,
// and check says so.
func TestStoreBehindItsCheckpoint(t *testing.T) {
	w := newWorkshop(t)
	older := w.stopped()
	begun := fileBytes(t, filepath.Join(w.dir, checkpointFile))
	w.start()
	w.enrol("technician", "technician")
	w.stop()
	w.write(storeFile, older)
	w.refusesToStart("behind its checkpoint")
	w.checkSays("behind its checkpoint")

	// A fork: as many entries, another one.
	kept := fileBytes(t, filepath.Join(w.dir, checkpointFile))
	w.write(checkpointFile, begun)
	w.start()
	w.enrol("calibrator", "calibrator")
	w.stop()
	w.write(checkpointFile, kept)
	w.refusesToStart("disagree")
	w.checkSays("disagree")
	w.write(checkpointFile, []byte("not a note"))
	w.refusesToStart("checkpoint cannot be used")
	if err := os.Remove(filepath.Join(w.dir, checkpointFile)); err != nil {
		t.Fatal(err)
	}
	w.refusesToStart("the kept checkpoint")
}

// TestOtherKey: a folder whose key is not the ledger's.
func TestOtherKey(t *testing.T) {
	w := newWorkshop(t)
	w.stop()
	pem, err := signoff.MarshalPrivateKey(testKey("another server"), "", nil)
	if err != nil {
		t.Fatal(err)
	}
	w.write(keyFile, pem)
	w.refusesToStart("not the one that the ledger names")
	w.checkSays("not the one that the ledger names")
	if pem, err = signoff.MarshalPrivateKey(testKey("another server"), "", []byte("secret")); err != nil {
		t.Fatal(err)
	}
	w.write(keyFile, pem)
	w.refusesToStart("must not have a passphrase")
}

// TestDamagedNewestPage flips one bit in the newer of the database's two meta pages. The
// database then opens with the commit before, without a word; the kept checkpoint knows better.
func TestDamagedNewestPage(t *testing.T) {
	w := newWorkshop(t)
	w.enrol("technician", "technician")
	w.enrol("calibrator", "calibrator")
	db := w.stopped()
	// A page begins with 16 bytes of its own; a meta page's transaction number lies 48 bytes in.
	page := os.Getpagesize()
	number := func(p int) uint64 { return binary.NativeEndian.Uint64(db[p*page+48:]) }
	newer := 0
	if number(1) > number(0) {
		newer = 1
	}
	db[newer*page+48] ^= 1
	w.write(storeFile, db)
	w.refusesToStart("behind its checkpoint: it has 2 entries and had 3")
	w.checkSays("behind its checkpoint")
}

// TestFirstVersion: a ledger of the first version is refused in one line.
func TestFirstVersion(t *testing.T) {
	w := newWorkshop(t)
	w.stop()
	db, err := bbolt.Open(filepath.Join(w.dir, storeFile), 0o600, nil)
	if err != nil {
		t.Fatal(err)
	}
	err = db.Update(func(tx *bbolt.Tx) error { return tx.Bucket([]byte("meta")).Put([]byte("format"), []byte("1")) })
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	w.refusesToStart("take the version that made it")
}

// TestStoreWithoutEntries was not made by init.
func TestStoreWithoutEntries(t *testing.T) {
	if err := takeUp(&home{engine: newOwn(), keeper: &folder{}}, nil); err == nil || !strings.Contains(err.Error(), "no genesis") {
		t.Errorf("taken up: %v", err)
	}
}

// documents are those of the server that runs.
func (w *workshop) documents() string {
	w.Helper()
	return documentsOf(w, w.srv.home.engine)
}

// documentsOf are all that a store has, one a line.
func documentsOf(t testing.TB, e store.Engine) string {
	t.Helper()
	var out strings.Builder
	err := e.View(func(tx store.ReadTx) error {
		return tx.Documents(func(kind, key string, value []byte) (bool, error) {
			fmt.Fprintf(&out, "%q %q %x\n", kind, key, value)
			return true, nil
		})
	})
	if err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// setHead changes the document that says how far the documents go.
func (w *workshop) setHead(change func(*recordv1.Head)) {
	w.Helper()
	w.damage(func(tx store.WriteTx) error {
		head := record.Read(tx).Head()
		change(head)
		b, err := proto.Marshal(head)
		if err != nil {
			return err
		}
		return tx.PutDocument("head", "", b)
	})
}

// TestOtherFormOfDocuments: documents of another form are made again, the same ones.
func TestOtherFormOfDocuments(t *testing.T) {
	b := newBench(t)
	b.released("AB 12 CD")
	b.closeAndErase(1, false)
	before := b.documents()
	b.setHead(func(h *recordv1.Head) { h.Form = 99; h.Jobs = 0 })
	b.damage(func(tx store.WriteTx) error { return tx.PutDocument("old", "of another form", nil) })
	b.restart()
	if after := b.documents(); after != before {
		t.Errorf("the documents are\n%s\nand were\n%s", after, before)
	}
	if !strings.Contains(b.logs.String(), "made again from the entries") {
		t.Error("it was not logged")
	}
	b.well()
}

// TestDocumentsOfOtherEntries: documents that say less than the entries are damage.
func TestDocumentsOfOtherEntries(t *testing.T) { onBoth(t, testDocumentsOfOtherEntries) }

func testDocumentsOfOtherEntries(t *testing.T, p Place) {
	w := staffedIn(t, p)
	w.setHead(func(h *recordv1.Head) { h.Size, h.Applied = 2, 2 })
	w.stop()
	w.refusesToStart("3 entries and documents of 2")
}

// unknown is an entry from a newer version, signed by the lead.
func unknown(key ed25519.PrivateKey) []byte {
	payload := `{"form":9,"news":{}}`
	pae := fmt.Sprintf("DSSEv1 %d %s %d %s", len(signoff.ActionType), signoff.ActionType, len(payload), payload)
	return record.MakeEntry(fmt.Appendf(nil, `{"payloadType":%q,"payload":%q,"signatures":[{"keyid":%q,"sig":%q}]}`,
		signoff.ActionType, base64.StdEncoding.EncodeToString([]byte(payload)), signoff.Fingerprint(publicOf(key)),
		base64.StdEncoding.EncodeToString(ed25519.Sign(key, []byte(pae)))), "2026-11-01T10:00:00Z")
}

// TestEntryOfANewerVersion: it is kept, looking goes on, and nothing is answered with yes.
func TestEntryOfANewerVersion(t *testing.T) { onBoth(t, testEntryOfANewerVersion) }

func testEntryOfANewerVersion(t *testing.T, p Place) {
	w := staffedIn(t, p)
	w.damage(func(tx store.WriteTx) error {
		s := record.Write(tx)
		if _, err := s.Admit(unknown(w.keys["lead"]), nil); err != nil {
			return err
		}
		return s.Finish()
	})
	w.restart()
	if !strings.Contains(w.logs.String(), "an older version did not understand") {
		t.Errorf("it was not logged: %s", w.logs)
	}
	got, err := servicev1.NewPeopleClient(w.as("lead")).List(within(t), &servicev1.PeopleListRequest{})
	if err != nil || len(got.GetPeople()) != 3 {
		t.Errorf("people: %v %v", got, err)
	}
	wantFault(t, w.try("lead", retireAction("technician")), codes.FailedPrecondition, "upgrade")
	// And one that somebody brings.
	fresh := newWorkshop(t)
	env, _, err := record.EnvelopeOf(unknown(fresh.keys["lead"]))
	if err != nil {
		t.Fatal(err)
	}
	_, err = fresh.bring("lead", env)
	wantFault(t, err, codes.FailedPrecondition, "upgrade")
	w.stop()
	w.checkSays("entry 3 is of a kind that this version does not know")
}

// TestDamagedDocuments: damage that only the sum over all documents shows stops writing, after the
// server has started.
func TestDamagedDocuments(t *testing.T) {
	w := newWorkshop(t)
	w.tune = func(o *Options) { o.wrap = func(e store.Engine) store.Engine { return otherSum{e} } }
	w.restart()
	for w.srv.core.isBroken() == nil {
		_, _, changed := w.srv.core.head()
		if w.srv.core.isBroken() == nil {
			<-changed
		}
	}
	err := w.try("lead", enrolAction("technician", testKey("technician"), "technician"))
	wantFault(t, err, codes.Unavailable, "store-broken")
	watch, err := healthv1.NewHealthClient(w.as("lead")).Watch(within(t), &healthv1.HealthCheckRequest{})
	for err == nil {
		var m *healthv1.HealthCheckResponse
		if m, err = watch.Recv(); m.GetStatus() == healthv1.HealthCheckResponse_NOT_SERVING {
			break
		}
	}
	if err != nil || !strings.Contains(w.logs.String(), "damaged") {
		t.Errorf("%v; logged: %s", err, w.logs)
	}
}

// otherSum is an engine whose documents are not those that its sum was kept over.
type otherSum struct{ store.Engine }

func (o otherSum) View(fn func(store.ReadTx) error) error {
	return o.Engine.View(func(tx store.ReadTx) error { return fn(otherSumTx{tx}) })
}

type otherSumTx struct{ store.ReadTx }

func (otherSumTx) Sum() (store.Sum, error) { return store.Sum{1}, nil }

// TestLeftoversAreSwept: what somebody killed left is gone with the next start, or the next new folder; other
// people's files stay.
func TestLeftoversAreSwept(t *testing.T) {
	w := newWorkshop(t)
	w.stop()
	for _, name := range []string{".checkpoint-123", ".erasing-4", ".checkpoint-mine"} {
		w.write(name, []byte("half"))
	}
	beside := filepath.Dir(w.dir)
	left := filepath.Join(beside, ".witnessmarkd-5")
	if err := errors.Join(os.Mkdir(left, 0o700), os.WriteFile(filepath.Join(left, "in-use"), nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	w.start()
	if left, err := filepath.Glob(filepath.Join(w.dir, ".*")); err != nil || len(left) != 1 || filepath.Base(left[0]) != ".checkpoint-mine" {
		t.Errorf("in the folder lie %v, %v", left, err)
	}
	if _, err := in(filepath.Join(beside, "other")).Init("lead", publicOf(testKey("lead")), false); err != nil {
		t.Fatal(err)
	}
	if left, err := filepath.Glob(filepath.Join(beside, ".*")); err != nil || len(left) > 0 {
		t.Errorf("beside the folders lie %v, %v", left, err)
	}
}

// TestSpoolIsEmptiedAtStart: what a crash in the wrong moment left has no name afterwards.
func TestSpoolIsEmptiedAtStart(t *testing.T) {
	w := newWorkshop(t)
	w.stop()
	w.write(filepath.Join(spoolFolder, "1234"), []byte("half"))
	w.start()
	w.leavesNothing()
}
