// Package record is state from entries: Decide says whether an action may become an entry,
// Apply makes it part of the state, Judge says whether an entry that a server admitted was
// rightly admitted. Pure; the server decides with it and the client replays with it.
package record

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"

	"golang.org/x/mod/sumdb/tlog"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/signoff"
)

// State is everything the ledger says. The zero State has no genesis yet. Decide, Judge and the
// accessors only read it and may run at the same time; Apply needs it to itself.
type State struct {
	Genesis       *recordv1.Genesis
	GenesisSHA256 string // hex, of entry 0's bytes
	Size          uint64
	Leaves        []tlog.Hash
	Roots         []tlog.Hash // Roots[n] is the root of size n
	// Unknown is set once an entry could not be understood: from there on the state says too
	// little, nothing more may be decided with it, and what it shows is for looking only.
	Unknown bool

	peaks []tlog.Hash // roots of the perfect subtrees, largest first: what the next root needs

	people     map[string]*person // by folded name
	roster     []*person          // in order of enrolment
	keys       map[string]keyUse  // every key there ever was, by fingerprint
	signedWith map[string][]*submission

	serverKey   ed25519.PublicKey
	serverEntry uint64 // the entry that named it

	documents map[string]*shelf // by kind
	jobs      []*job            // job n is jobs[n-1]
	plates    map[string]*car   // by normalised plate
	frames    map[string]*car   // by frame digest
	requests  map[string]request
}

// person is one name, for good.
type person struct {
	msg   *recordv1.Person
	key   ed25519.PublicKey
	entry uint64 // the last entry about the name
}

// keyUse is what a key is or was for; an empty person is the server.
type keyUse struct {
	key    ed25519.PublicKey
	person string
}

// shelf holds the revisions of all definitions, or of all limits.
type shelf struct {
	all    []*recordv1.Document
	newest map[string]*recordv1.Document
	bySHA  map[string]*recordv1.Document
}

// job is one job; its message is complete but for release and in_car, which are asked for.
type job struct {
	msg          *recordv1.Job
	subs         []*submission
	car          *car
	release      uint32
	entry        uint64 // that opened it
	readEntry    uint64 // the original's
	collectEntry uint64 // the newest collection's
}

// submission is one submission; msg is the one inside its job's message.
type submission struct {
	job       *job
	msg       *recordv1.Submission
	entry     uint64 // the latest of its own
	signKey   string // fingerprint of the key of the newest sign-off
	collected bool   // since the newest sign-off
}

type request struct {
	index  uint64
	sha256 string
}

// Request looks up what became of a request id.
func (s *State) Request(id string) (index uint64, envelopeSHA256 string, ok bool) {
	r, ok := s.requests[id]
	return r.index, r.sha256, ok
}

// Open verifies an envelope against every key that the state has seen of a person. Retired and
// replaced keys are found too, so that Decide can say what is wrong with them.
func (s *State) Open(envelope []byte) (*signoff.Signed, error) {
	return signoff.Open(envelope, func(id string) (ed25519.PublicKey, bool) {
		use, ok := s.keys[id]
		return use.key, ok && use.person != ""
	})
}

// ServerKey is the key that signs checkpoints now.
func (s *State) ServerKey() ed25519.PublicKey {
	return append(ed25519.PublicKey(nil), s.serverKey...)
}

// init makes the maps that the first entry needs.
func (s *State) init() {
	s.people = map[string]*person{}
	s.keys = map[string]keyUse{}
	s.signedWith = map[string][]*submission{}
	s.documents = map[string]*shelf{}
	for _, kind := range []string{kindDefinition, kindLimits} {
		s.documents[kind] = &shelf{newest: map[string]*recordv1.Document{}, bySHA: map[string]*recordv1.Document{}}
	}
	s.plates = map[string]*car{}
	s.frames = map[string]*car{}
	s.requests = map[string]request{}
}

// grow adds a leaf and the root that follows, in time that grows with the logarithm of the size.
func (s *State) grow(entry []byte) (index uint64) {
	if len(s.Roots) == 0 {
		s.Roots = append(s.Roots, tlog.Hash(sha256.Sum256(nil)))
	}
	leaf := ledger.LeafHash(entry)
	s.Leaves = append(s.Leaves, leaf)
	h := leaf
	for n := s.Size; n&1 == 1; n >>= 1 {
		h = tlog.NodeHash(s.peaks[len(s.peaks)-1], h)
		s.peaks = s.peaks[:len(s.peaks)-1]
	}
	s.peaks = append(s.peaks, h)
	root := h
	for i := len(s.peaks) - 2; i >= 0; i-- {
		root = tlog.NodeHash(s.peaks[i], root)
	}
	s.Roots = append(s.Roots, root)
	index = s.Size
	s.Size++
	return index
}

// leaf is the hex leaf hash of an entry, which is what acts_on holds.
func (s *State) leaf(index uint64) string { return hexHash(s.Leaves[index]) }

func hexHash(h tlog.Hash) string { return hex.EncodeToString(h[:]) }

func hexSHA256(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}
