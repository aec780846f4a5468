// Package record is what the ledger says, as documents in a store: Decide says whether an action
// may become an entry, Apply makes it one, Judge says whether an entry that a server admitted was
// rightly admitted. It looks at nothing but the store that it is given; the server decides with it
// and the client replays with it. A kind of action is one file here and one message.
package record

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"slices"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/ledger"
	"witnessmark/store/signoff"
)

// documentForm is the form of the documents; another number has them made again from the entries. Once an
// action of a later form is in them, they are of that: an older program must not go on from what it cannot read.
const documentForm = 3

// HeadDocument is the kind of the one document that every entry changes: how far the ledger goes.
const HeadDocument = "head"

// Kinds of documents, and what their keys are made of. Numbers are of ten digits, so that keys
// sort as numbers do; parts are joined by NUL.
const (
	docHead       = HeadDocument  // ""
	docGenesis    = "genesis"     // ""
	docPerson     = "person"      // folded name
	docPersonAt   = "person-at"   // entry: it enrolled or retired somebody
	docKey        = "key"         // key id
	docRevision   = "revision"    // kind, name, revision
	docNewest     = "newest"      // kind, name
	docFile       = "file"        // kind, SHA-256: the newest revision with these bytes
	docJob        = "job"         // job
	docOpenJob    = "open-job"    // job
	docCarJob     = "car-job"     // car, job
	docEvent      = "event"       // job, entry, and a number within the entry
	docAlarm      = "alarm"       // job, alarm, what it is about
	docSignedWith = "signed-with" // key id, job, submission: by a sign-off, a corridor, or the author of what that released
	docRequest    = "request"     // request id
	docImage      = "image"       // SHA-256: as it was first met
	docBlobJob    = "blob-job"    // SHA-256, job
	docSealed     = "sealed"      // commitment: its job, field
	docOpening    = "opening"     // commitment
	docEntrySeals = "entry-seals" // entry: the commitments in it
	docLacking    = "lacking"     // commitment: a text that was neither handed on nor erased
	docPlate      = "plate"       // normalised plate, job: its car
	docFrame      = "frame"       // frame number, job: its car
	docListing    = "listing"     // job: what it is listed by
	docMark       = "mark"        // what it is about, value, block of jobs: a bit for each
	docWait       = "wait"        // how bad, since, what, author, name
)

// State is what the ledger says at one moment: it reads the documents of one transaction, and is
// of no use after it. An error of the store ends everything that follows and is kept for Err:
// whoever was answered in between asks for it before relying on the answers.
type State struct {
	tx   store.ReadTx
	w    store.WriteTx // nil for looking
	err  error
	head *recordv1.Head
	jobs map[uint32]*recordv1.Job // as the documents have them, or will after Finish
	// changed are the jobs that Finish has to write, forgotten the blobs that it has to delete
	// unless a job names them again by then.
	changed   map[uint32]bool
	forgotten map[string]bool
	opened    map[signoff.KeyID]ed25519.PublicKey // whose envelopes were opened
	recent    recent
}

// Read looks at the documents of a transaction.
func Read(tx store.ReadTx) *State {
	s := &State{
		tx: tx, head: &recordv1.Head{}, jobs: map[uint32]*recordv1.Job{}, changed: map[uint32]bool{},
		forgotten: map[string]bool{}, opened: map[signoff.KeyID]ed25519.PublicKey{},
	}
	s.get(docHead, "", s.head)
	return s
}

// Write is a State that Admit, Apply and CatchUp may add to. What they did is in the documents once
// Finish was called, and in the store once its transaction was committed.
func Write(w store.WriteTx) *State {
	s := Read(w)
	s.w, s.recent = w, newRecent()
	return s
}

// Finish writes what is written once for all that was applied: jobs that changed, and the head.
func (s *State) Finish() error {
	changed := slices.Sorted(maps.Keys(s.changed))
	for _, n := range changed {
		s.put(docJob, join(n), s.jobs[n])
	}
	s.relist(changed)
	clear(s.changed)
	s.forget()
	s.head.Root = hexHash(s.Root(s.Size()))
	s.put(docHead, "", s.head)
	s.settleAll()
	return s.err
}

// View runs fn on what the ledger says now, in a transaction that ends with it.
func View(engine store.Engine, fn func(*State) error) error {
	return engine.View(func(tx store.ReadTx) error {
		s := Read(tx)
		if err := fn(s); err != nil && s.err == nil {
			return err
		}
		return s.err
	})
}

// Err is the first error of the store that anything met; nil if all that was answered is so.
func (s *State) Err() error { return s.err }

func (s *State) fail(err error) {
	if s.err == nil && err != nil {
		s.err = fmt.Errorf("read the record: %w", err)
	}
}

// get reads one document into m; false where there is none.
func (s *State) get(kind, key string, m proto.Message) bool {
	value, ok := s.document(kind, key)
	return ok && s.decode(kind, key, value, m)
}

// text reads a document that is a plain text.
func (s *State) text(kind, key string) (string, bool) {
	value, ok := s.document(kind, key)
	return string(value), ok
}

// document reads a document. Actions ask for keys of any length; what no engine would keep is not there.
func (s *State) document(kind, key string) ([]byte, bool) {
	if s.err != nil || store.CheckDocument(kind, key) != nil {
		return nil, false
	}
	if d, known := s.recent.document(kind, key); known {
		return d.value, d.there
	}
	value, err := s.tx.Document(kind, key)
	if there := err == nil; there || errors.Is(err, store.ErrNotFound) {
		s.recent.keep(kind, key, document{value, there})
		return value, there
	}
	s.fail(err)
	return nil, false
}

// scan visits the documents of a kind whose keys begin with prefix, from a key on.
func (s *State) scan(kind, prefix, from string, fn func(key string, value []byte) (more bool)) {
	s.settle(kind)
	from = max(prefix, from)
	if s.err != nil || store.CheckDocument(kind, from) != nil {
		return
	}
	s.fail(s.tx.Scan(kind, from, func(key string, value []byte) (bool, error) {
		if len(key) < len(prefix) || key[:len(prefix)] != prefix {
			return false, nil
		}
		return fn(key, value) && s.err == nil, nil
	}))
}

// keys are the keys below a prefix, without it: what is changed while it is walked through is
// listed first.
func (s *State) keys(kind, prefix string) (out []string) {
	s.scan(kind, prefix, "", func(key string, _ []byte) bool {
		out = append(out, key[len(prefix):])
		return true
	})
	return out
}

func (s *State) decode(kind, key string, value []byte, m proto.Message) bool {
	if err := proto.Unmarshal(value, m); err != nil {
		s.fail(fmt.Errorf("%s %q: %w: %w", kind, key, store.ErrDamaged, err))
		return false
	}
	return true
}

// put writes a document; the bytes of a message are the same on every machine that runs one build,
// and another build's documents are made again where they differ in form.
func (s *State) put(kind, key string, m proto.Message) {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		s.fail(err)
		return
	}
	s.putBytes(kind, key, b)
}

func (s *State) putText(kind, key, value string) { s.putBytes(kind, key, []byte(value)) }

func (s *State) putBytes(kind, key string, value []byte) {
	s.later(kind, key, document{value, true})
}

func (s *State) drop(kind, key string) {
	s.later(kind, key, document{})
}

// join makes a key of parts: texts, and numbers, which are padded so that they sort.
func join(parts ...any) string {
	key := make([]byte, 0, 96)
	for i, p := range parts {
		if i > 0 {
			key = append(key, 0)
		}
		switch p := p.(type) {
		case string:
			key = append(key, p...)
		default:
			key = fmt.Appendf(key, "%010d", p)
		}
	}
	return string(key)
}

// under is the prefix of all keys that begin with these parts.
func under(parts ...any) string { return join(parts...) + "\x00" }

// Head is how far the documents go.
func (s *State) Head() *recordv1.Head { return proto.CloneOf(s.head) }

// Size is how many entries there are.
func (s *State) Size() uint64 { return s.head.GetSize() }

// Unapplied says whether there are entries that this program cannot understand: nothing may be
// decided, collected or verified then, and what is shown is for looking only.
func (s *State) Unapplied() bool { return s.head.GetApplied() < s.head.GetSize() }

// Outdated says whether the documents have another form than this program writes: see Rebuild.
func (s *State) Outdated() bool { return s.Size() > 0 && s.head.GetForm() < documentForm || s.Newer() }

// Newer says whether that form is a newer program's, beside which this one must not write.
func (s *State) Newer() bool { return s.head.GetForm() > max(documentForm, signoff.Form) }

// Genesis is entry 0; empty where there is none yet.
func (s *State) Genesis() *recordv1.Genesis {
	g := &recordv1.Genesis{}
	s.get(docGenesis, "", g)
	return g
}

// GenesisSHA256 is the hex SHA-256 of entry 0's bytes; empty where there is none.
func (s *State) GenesisSHA256() string { return s.head.GetGenesis() }

// ServerKey is the key that signs checkpoints.
func (s *State) ServerKey() ed25519.PublicKey {
	key, err := signoff.ParsePublicKey("the genesis' server key", []byte(s.Genesis().GetServerKey()))
	if s.Size() > 0 {
		s.fail(err)
	}
	return key
}

// AdmittedAt is when the server says that it admitted an entry.
func (s *State) AdmittedAt(index uint64) (at string, err error) {
	entry, err := s.tx.Entry(index)
	if err == nil {
		_, at, err = EnvelopeOf(entry)
	}
	s.fail(err)
	return at, err
}

// Root is the root that the ledger had at a size.
func (s *State) Root(size uint64) tlog.Hash {
	if s.err != nil || size > s.Size() {
		return tlog.Hash{}
	}
	root, err := ledger.Root(tree{s}, size)
	s.fail(err)
	return root
}

// leaf is the hex leaf hash of an entry, which is what acts_on holds.
func (s *State) leaf(index uint64) string {
	if s.err != nil {
		return ""
	}
	h, err := ledger.Leaf(tree{s}, index)
	s.fail(err)
	return hexHash(h)
}

// Request looks up what became of a request id.
func (s *State) Request(id string) (index uint64, envelopeSHA256 string, ok bool) {
	r := &recordv1.Request{}
	ok = s.get(docRequest, id, r)
	return r.GetEntry(), r.GetEnvelopeSha256(), ok
}

func hexHash(h tlog.Hash) string { return hex.EncodeToString(h[:]) }

func hexSHA256(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}
