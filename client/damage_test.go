package client

import (
	"encoding/base64"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/bolt"
	"witnessmark/store/record"
	"witnessmark/store/storetest"
)

// eachField visits every field that a message has, and those of its messages, by path.
func eachField(path string, m protoreflect.Message, fn func(path string, parent protoreflect.Message, f protoreflect.FieldDescriptor, at int)) {
	for f, v := range m.Range {
		name := path + "." + string(f.Name())
		switch {
		case f.IsList():
			for i := range v.List().Len() {
				fn(name, m, f, i)
				if f.Message() != nil {
					eachField(name, v.List().Get(i).Message(), fn)
				}
			}
		case f.Message() != nil:
			eachField(name, v.Message(), fn)
		default:
			fn(name, m, f, 0)
		}
	}
}

// flipped is a value with one bit changed; of a list, one of its elements.
func flipped(r *rand.Rand, v protoreflect.Value) (protoreflect.Value, bool) {
	bit := func(b []byte) bool {
		if len(b) == 0 {
			return false
		}
		b[r.IntN(len(b))] ^= 1 << r.IntN(8)
		return true
	}
	switch x := v.Interface().(type) {
	case uint64:
		return protoreflect.ValueOfUint64(x ^ 1<<r.IntN(20)), true
	case uint32:
		return protoreflect.ValueOfUint32(x ^ 1<<r.IntN(20)), true
	case []byte:
		b := slices.Clone(x)
		ok := bit(b)
		return protoreflect.ValueOfBytes(b), ok
	case string:
		b := []byte(x)
		ok := len(b) > 0
		if ok {
			b[r.IntN(len(b))] ^= 1 // stays UTF-8, so that it is this field that is judged
		}
		return protoreflect.ValueOfString(string(b)), ok
	}
	return v, false
}

// Of a proof, each field of each of its entries and openings may be changed by no bit; of its checkpoint, no bit at all.
func TestProofFields(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	r := storetest.Rand(t)
	nobody := &Home{Dir: w.path("nobody")}
	noticed := map[string]int{}
	storetest.During(t, time.Second, func() {
		f := w.forgery()
		lists := map[int]proto.Message{proofEntries: &recordv1.ProvenList{Entries: f.entries}, proofOpenings: f.openings}
		for place, list := range lists {
			whole := f.files[place]
			eachField(proofFiles[place].name, list.ProtoReflect(), func(path string, parent protoreflect.Message, field protoreflect.FieldDescriptor, at int) {
				v := parent.Get(field)
				if field.IsList() {
					if field.Message() != nil {
						return
					}
					was := v.List().Get(at)
					now, ok := flipped(r, was)
					if !ok {
						return
					}
					v.List().Set(at, now)
					defer v.List().Set(at, was)
				} else {
					now, ok := flipped(r, v)
					if !ok {
						return
					}
					parent.Set(field, now)
					defer parent.Set(field, v)
				}
				var err error
				f.files[place], err = proto.Marshal(list)
				w.must(nil, err)
				raw, err := pack(f.files)
				w.must(nil, err)
				if _, err := VerifyProof(nobody, w.write("flipped.zip", raw), w.tech.Fingerprint()); err == nil {
					t.Errorf("%s: a bit does not matter", path)
				}
				noticed[path]++
			})
			f.files[place] = whole
		}
	})
	note, filling := w.forgery(), 0
	signature := signatureOf(note.files[proofCheckpoint])
	for i := range note.files[proofCheckpoint] {
		for bit := range 8 {
			note.files[proofCheckpoint][i] ^= 1 << bit
			raw, err := pack(note.files)
			w.must(nil, err)
			o := &opened{name: "flipped"}
			if err = o.parse(raw); err == nil {
				err = o.follow()
			}
			if err == nil && signatureOf(note.files[proofCheckpoint]) == signature {
				filling++ // base64's last character has bits to spare
			} else if err == nil {
				t.Errorf("checkpoint: bit %d of byte %d does not matter", bit, i)
			}
			note.files[proofCheckpoint][i] ^= 1 << bit
			noticed["checkpoint.txt"]++
		}
	}
	for _, path := range slices.Sorted(maps.Keys(noticed)) {
		t.Logf("%-40s %d bits, all noticed", path, noticed[path])
	}
	if t.Logf("checkpoint.txt: but for %d that say nothing", filling); filling > 3 {
		t.Error("too many")
	}
}

// signatureOf is the signature of a checkpoint, decoded as its reader does.
func signatureOf(note []byte) string {
	fields := strings.Fields(string(note))
	raw, _ := base64.StdEncoding.DecodeString(fields[len(fields)-1])
	return string(raw)
}

// An action that waits for its answer and was damaged meanwhile never becomes another one: it is found, refused or
// said to be damaged, and nobody is accused.
func TestDamagedPending(t *testing.T) {
	r := storetest.Rand(t)
	became := map[string]int{}
	for _, point := range []string{pointAction, pointEntry} { // it is no entry, and it is one
		w := newWorld(t)
		w.fake.tell(once(point, status.Error(codes.Unavailable, "the line is dead")))
		_, _, err := w.tech.AddRead(ctx, NewRead{Job: 1, Path: w.write("read.bin", testImage("\x0a\x0b\x0c\x0c"))})
		w.refusedAs(err, Away, "cannot be reached")
		home := w.tech.own.home
		ids := w.pendingLeft(w.tech)
		if len(ids) != 1 {
			t.Fatalf("%d actions are pending", len(ids))
		}
		dir := home.pendingPath(ids[0])
		whole := map[string][]byte{}
		files, err := os.ReadDir(dir)
		w.must(nil, err)
		for _, f := range files {
			whole[f.Name()], err = os.ReadFile(filepath.Join(dir, f.Name()))
			w.must(nil, err)
		}
		entries := len(w.fake.told)
		for range 60 {
			for name := range whole {
				if w.must(nil, os.RemoveAll(dir)); len(w.fake.told) != entries {
					t.Fatalf("%s, damaged after %q, became an entry", name, point)
				}
				w.must(nil, os.Mkdir(dir, 0o700))
				for n, b := range whole {
					b := slices.Clone(b)
					if n == name {
						b[r.IntN(len(b))] ^= 1 << r.IntN(8)
					}
					w.must(nil, os.WriteFile(filepath.Join(dir, n), b, 0o600))
				}
				said := listens(w.tech)
				err := w.tech.Resume(ctx)
				kind := "files"
				if name == envelopeFile || name == openingsFile {
					kind = name
				}
				switch {
				case err != nil && KindOf(err) != Failed && KindOf(err) != Refused || strings.Contains(fmt.Sprint(err, *said), "\n"):
					t.Errorf("%s: kind %v, %v", name, KindOf(err), err)
				case err != nil:
					became[kind+": said to be damaged"]++
				case strings.Contains(fmt.Sprint(*said), "was not entered"):
					if point == pointEntry {
						t.Errorf("%s: it is an entry, and this was said: %v", name, *said)
					}
					became[kind+": refused"]++
				case point == pointEntry && strings.Contains(fmt.Sprint(*said), fmt.Sprintf("is entry %d", entries-1)):
					became[kind+": found in the ledger"]++
				default:
					t.Errorf("%s after %q: %v, %v", name, point, err, *said)
				}
			}
		}
		w.must(nil, os.RemoveAll(dir))
	}
	for _, what := range slices.Sorted(maps.Keys(became)) {
		t.Logf("%-40s %d", what, became[what])
	}
}

// A configuration that a disk changed is never the server's fault.
func TestDamagedConfig(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.tech.Sync(ctx))
	home := w.tech.own.home
	whole, err := os.ReadFile(home.path(configFile))
	w.must(nil, err)
	at := strings.Index(string(whole), `"server"`)
	address := len(`"server": "`) + at
	r, noticed, other := storetest.Rand(t), 0, 0
	for i := range whole {
		if i >= address && i < address+len(w.fake.addr) {
			continue // another server's address, which may be one that never answers
		}
		b, bit := slices.Clone(whole), r.IntN(8)
		b[i] ^= 1 << bit
		w.must(nil, os.WriteFile(home.path(configFile), b, 0o600))
		c, err := Open(home, nil)
		if err == nil {
			err = c.Sync(ctx)
			c.Close()
		}
		switch {
		case err == nil: // blanks, and cases of names, which encoding/json forgives
			other++
		case KindOf(err) == Distrust || strings.Contains(err.Error(), "\n"):
			t.Errorf("bit %d of byte %d: %v", bit, i, err)
		default:
			noticed++
		}
	}
	t.Logf("%d of %d bits were noticed; the others change how names are written, and blanks", noticed, noticed+other)
	if noticed < len(whole)/2 {
		t.Error("too few")
	}
	w.must(nil, os.WriteFile(home.path(configFile), whole, 0o600))
}

// An envelope stands for what was signed, or for nothing: no bit of its payload or signature may change.
func TestEnvelopeBits(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	r, kinds := storetest.Rand(t), map[string]int{}
	w.must(nil, w.fake.View(func(s *record.State) error {
		for _, told := range w.fake.told[1:] {
			envelope, _, err := record.EnvelopeOf(told.GetEntry())
			w.must(nil, err)
			signed, err := s.Open(envelope)
			w.must(nil, err)
			for i := range envelope {
				b, bit := slices.Clone(envelope), r.IntN(8)
				b[i] ^= 1 << bit
				if _, err := s.Open(b); err == nil {
					t.Errorf("%s: bit %d of byte %d (%q) does not matter", signed.Kind, bit, i, envelope[i])
				}
				kinds[signed.Kind]++
			}
		}
		return nil
	}))
	t.Log("bits that were noticed: ", kinds)
}

// A copy that is somebody else's is as good as one's own where it is of the same ledger and goes as far; any other
// says nothing until it was made again, and the server is not to blame.
func TestSwappedCopy(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	home := w.tech.own.home
	other := newWorld(t).released()
	other.must(nil, other.collect(other.tech))
	other.many(100)
	other.must(nil, other.tech.Sync(ctx))
	w.must(nil, w.lead.Sync(ctx))
	for name, c := range map[string]struct {
		of   *Client
		good bool
	}{
		"another person's": {w.lead, true}, "another person's, which is shorter": {w.cal, false}, "another ledger's, which is longer": {other.tech, false},
	} {
		b, err := os.ReadFile(c.of.own.home.path(copyFile))
		w.must(nil, err)
		w.must(nil, os.WriteFile(home.path(copyFile), b, 0o600))
		v, err := VerifyProof(home, w.path("out.bin.proof.zip"), "")
		if c.good != (err == nil) || c.good && v.Known == nil {
			t.Errorf("%s: %v", name, err)
		}
		if !c.good {
			w.refusedAs(err, Failed, "your own copy of the ledger is damaged")
		}
		w.must(nil, w.tech.Sync(ctx))
		w.must(w.tech.VerifyLedger(ctx, false))
		w.must(VerifyProof(home, w.path("out.bin.proof.zip"), ""))
	}
}

// A hash of the copy's own tree that the disk changed is no other ledger: whoever verifies by it says that the copy
// is damaged, whichever hash it is, or needs it for nothing.
func TestDamagedTree(t *testing.T) {
	w := newWorld(t).released()
	w.must(nil, w.collect(w.tech))
	own := w.tech.own
	whole, err := os.ReadFile(own.home.path(copyFile))
	w.must(nil, err)
	noticed := 0
	hashes := tlog.StoredHashCount(int64(w.tech.Head().Size))
	for i := range hashes {
		w.must(nil, os.WriteFile(own.home.path(copyFile), whole, 0o600))
		w.must(nil, own.with(own.home.path(copyFile), writing, func(e *bolt.Engine) error {
			return e.Update(func(tx store.WriteTx) error {
				h, err := tx.Hash(i)
				h[0] ^= 1
				return errors.Join(err, tx.PutHash(i, h))
			})
		}))
		switch _, err := VerifyProof(own.home, w.path("out.bin.proof.zip"), ""); {
		case err != nil && KindOf(err) != Failed:
			t.Errorf("hash %d: %v", i, err)
		case err != nil:
			noticed++
		}
	}
	t.Logf("%d of %d hashes are needed, and noticed", noticed, hashes)
	if noticed < int(hashes)/2 {
		t.Error("too few")
	}
}
