package record

import (
	"errors"
	"fmt"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/ledger"
	"witnessmark/store/signoff"
)

// Opened is an entry that was read, and the action that its envelope holds; Signed is nil of a
// genesis and of what this program does not know.
type Opened struct {
	Entry   []byte
	Signed  *signoff.Signed
	genesis *recordv1.Genesis
	at      string // admitted
}

func (o *Opened) known() bool { return o.genesis != nil || o.Signed != nil }

// change is an entry as the effects see it.
type change struct {
	*State
	action *recordv1.Action
	keyID  string
	entry  uint64
	event  *recordv1.Event
	told   uint32 // events so far
}

// Admit opens, decides and applies an entry that a server says it admitted, with the openings that
// came with it. A *Refusal means that it was admitted against the rules. An entry that this program
// does not know is kept and not applied, as is everything after it: nothing may be decided,
// collected or verified until a newer program has taken it up (CatchUp). The answer is what was
// opened; nothing is in it where the entry is not known.
func (s *State) Admit(entry []byte, openings []*recordv1.Opening) (*Opened, error) {
	o, err := Judge(s, entry)
	switch {
	case s.err != nil:
		return nil, s.err
	case errors.Is(err, ErrUnknownKind):
		o = &Opened{Entry: entry}
	case err != nil:
		return nil, err
	}
	if err := CheckOpenings(o, openings); err != nil {
		return nil, err
	}
	_, err = s.Apply(o, openings)
	return o, err
}

// Apply adds an entry, its tree hashes and its effect, with the openings of what it seals, and
// answers with its index. Only the store's errors come back: what Decide let pass is not refused.
func (s *State) Apply(o *Opened, openings []*recordv1.Opening) (index uint64, err error) {
	index = s.Size()
	if s.err == nil {
		s.fail(s.grow(o.Entry))
	}
	for _, opening := range openings {
		s.put(docOpening, opening.GetCommitment(), opening)
	}
	switch {
	case s.err != nil:
	case o.known() && s.head.GetApplied() == index:
		s.effect(index, o)
		s.head.Applied++
	default:
		var seals []string
		for _, opening := range openings {
			seals = append(seals, opening.GetCommitment())
		}
		s.putSeals(index, seals)
	}
	return index, s.err
}

// grow adds the entry to the tree.
func (s *State) grow(entry []byte) error {
	index := s.Size()
	_, stored, first, err := ledger.Append(tree{s}, index, entry)
	if err != nil {
		return fmt.Errorf("tree: %w", err)
	}
	if err := s.w.PutEntry(index, entry); err != nil {
		return err
	}
	for i, h := range stored {
		if err := s.w.PutHash(first+int64(i), h); err != nil {
			return err
		}
		s.recent.keepHash(first+int64(i), h)
	}
	s.head.Form, s.head.Size = max(s.head.GetForm(), documentForm), index+1
	return nil
}

// effect changes the documents by an entry that is in the tree already.
func (s *State) effect(index uint64, o *Opened) {
	if o.genesis != nil {
		s.begin(o)
		return
	}
	a := o.Signed.Action
	k := kinds[o.Signed.Kind]
	use, _ := s.key(string(o.Signed.KeyID))
	c := &change{State: s, action: a, keyID: string(o.Signed.KeyID), entry: index, event: &recordv1.Event{
		Entry: uint32(index), Kind: k.name, Person: use.GetPerson(), SignedAt: a.GetTime(), AdmittedAt: o.at,
	}}
	s.put(docRequest, a.GetRequestId(), &recordv1.Request{Entry: index, EnvelopeSha256: hexSHA256(o.Signed.Envelope)})
	s.head.Form = max(s.head.GetForm(), a.GetForm())
	k.apply(c)
	n := JobOf(a)
	if k == openJob {
		n = s.head.GetJobs()
	}
	c.bring(n)
	c.seal(n)
}

// bring remembers which job brought which bytes, and every image as it was first met.
func (c *change) bring(job uint32) {
	for _, b := range Brings(c.action) {
		if _, met := c.text(docImage, b.SHA256); b.Image != nil && !met {
			c.put(docImage, b.SHA256, b.Image)
		}
		if job != 0 {
			c.putText(docBlobJob, join(b.SHA256, job), "")
		}
	}
}

// CatchUp applies what an older program kept unapplied, as far as this one understands it.
func (s *State) CatchUp() error {
	for s.err == nil && s.Unapplied() {
		index := s.head.GetApplied()
		entry, err := s.tx.Entry(index)
		if err != nil {
			return err
		}
		o, err := s.judgeAt(index, entry)
		if errors.Is(err, ErrUnknownKind) {
			break
		}
		if err == nil {
			err = CheckOpenings(o, s.OpeningsOf(index))
		}
		if err != nil {
			return fmt.Errorf("entry %d: %w", index, err)
		}
		s.effect(index, o)
		s.head.Applied++
	}
	return s.err
}

// Rebuild makes all documents again from the entries; of the documents only the openings are kept,
// which no entry holds.
func Rebuild(w store.WriteTx) (*State, error) {
	type kept struct{ kind, key, value string }
	var keep []kept
	old := Read(w)
	for _, kind := range []string{docOpening, docEntrySeals} {
		old.scan(kind, "", "", func(key string, value []byte) bool {
			keep = append(keep, kept{kind, key, string(value)})
			return true
		})
	}
	size, err := w.Entries()
	if err = errors.Join(old.err, err); err != nil {
		return nil, err
	}
	if err := w.DropDocuments(); err != nil {
		return nil, err
	}
	s := Write(w)
	for _, k := range keep {
		s.putText(k.kind, k.key, k.value)
	}
	s.head.Form, s.head.Size = documentForm, size
	if err := s.CatchUp(); err != nil {
		return nil, err
	}
	if s.Unapplied() {
		clear(s.forgotten) // who else names them is not known
	}
	return s, s.Finish()
}

// begin is the effect of the genesis.
func (s *State) begin(o *Opened) {
	g := o.genesis
	s.put(docGenesis, "", g)
	s.head.Genesis = hexSHA256(o.Entry)
	server, leadKey, err := genesisKeys(g)
	if err != nil {
		s.fail(err)
		return
	}
	s.put(docKey, string(signoff.Fingerprint(server)), &recordv1.Key{PublicKey: g.GetServerKey()})
	s.setPerson(g.GetLeadName(), roleNames([]recordv1.Role{lead}), leadKey, &recordv1.Event{
		Kind: "genesis", Person: g.GetLeadName(), SignedAt: g.GetCreatedAt(), AdmittedAt: o.at,
	})
}
