package client

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

// Verified is what a proof shows.
type Verified struct {
	Job         *recordv1.Job // as far as the proof tells
	Submission  *recordv1.Submission
	Yes         *Yes // whose it is
	Report      *calibrationv1.Report
	Fingerprint string
	// Entries is the size of the ledger that the proof was made from.
	Entries uint64
	// Known is the head of the verifier's own copy of that ledger, if it goes at least as far as the
	// collection; else nil, and whether the release was recalled since is not known here.
	Known *Head
	// Newer is a later release of the same job, by that copy.
	Newer *recordv1.Submission
}

// opened is a proof whose files were read, and nothing more.
type opened struct {
	name     string
	files    [][]byte
	entries  []*recordv1.Proven
	openings []*recordv1.Opening
	judge    *judge
	head     ledger.Checkpoint
}

// VerifyProof checks a proof without a network. Its root is the fingerprint given, or else the
// genesis that home pinned: a proof's own root proves nothing. What home's own copy of the same ledger
// says against it counts too; one that is damaged lets nothing be verified.
func VerifyProof(home *Home, path, fingerprint string) (*Verified, error) {
	config, err := home.Config()
	if fingerprint == "" && (err != nil || config.Genesis == "") {
		return nil, usage("--fingerprint F, as init printed it, or log in first", "%s cannot be checked: no ledger is pinned to check it against", path)
	}
	if fingerprint == "" {
		fingerprint = fingerprintOf(config.Genesis)
	}
	o, err := openProof(path)
	if err != nil {
		return nil, err
	}
	if got := fingerprintOf(HashHex(o.entries[0].GetEntry())); got != fingerprint {
		return nil, o.no("it is of the ledger %s, and yours is %s", got, fingerprint)
	}
	if err := o.follow(); err != nil {
		return nil, err
	}
	v, err := o.release()
	if err != nil {
		return nil, err
	}
	v.Fingerprint = fingerprint
	if config.Genesis != o.judge.root {
		return v, nil
	}
	return v, o.later(&ownCopy{home: home, config: config}, v)
}

// no is the answer "no": the proof is not what it says it is.
func (o *opened) no(format string, args ...any) error {
	return &Error{Kind: Distrust, Text: o.name + ": " + fmt.Sprintf(format, args...), Try: "do not write this file to a car"}
}

func openProof(path string) (*opened, error) {
	raw, err := ReadBounded(path, maxProof)
	if err != nil {
		return nil, err
	}
	o := &opened{name: path}
	return o, o.parse(raw)
}

func (o *opened) parse(raw []byte) (err error) {
	if o.files, err = unpack(o.name, raw); err != nil {
		return err
	}
	var entries recordv1.ProvenList
	var openings recordv1.OpeningList
	if err := decode(o.files[proofEntries], &entries); err != nil || len(entries.GetEntries()) == 0 {
		return o.no("entries.pb holds no entries")
	}
	if err := decode(o.files[proofOpenings], &openings); err != nil {
		return o.no("openings.pb holds no openings")
	}
	o.entries, o.openings = entries.GetEntries(), openings.GetOpenings()
	return nil
}

// follow holds every entry to the checkpoint, and hears them in their order.
func (o *opened) follow() error {
	var e recordv1.Entry
	if err := proto.Unmarshal(o.entries[0].GetEntry(), &e); err != nil || e.GetGenesis() == nil {
		return o.no("its first entry is no genesis")
	}
	key, err := signoff.ParsePublicKey("the server's key", []byte(e.GetGenesis().GetServerKey()))
	if err != nil {
		return o.no("%v", err)
	}
	root := HashHex(o.entries[0].GetEntry())
	if o.head, err = ledger.OpenCheckpoint(o.files[proofCheckpoint], ledger.Origin(root), key); err != nil {
		return o.no("its checkpoint does not verify: %v", err)
	}
	if o.judge, err = newJudge(root, e.GetGenesis()); err != nil {
		return o.no("%v", err)
	}
	for i, p := range o.entries {
		if i == 0 && p.GetIndex() != 0 || i > 0 && p.GetIndex() <= o.entries[i-1].GetIndex() {
			return o.no("its entries are not in their order")
		}
		if err := ledger.CheckInclusion(p.GetInclusion(), p.GetIndex(), o.head, ledger.LeafHash(p.GetEntry())); err != nil {
			return o.no("entry %d is not in the ledger of its checkpoint: %v", p.GetIndex(), err)
		}
		if i == 0 {
			continue
		}
		err := o.judge.follow(p.GetEntry())
		if errors.Is(err, record.ErrUnknownKind) {
			return upgrade("%s holds an entry of a kind that this witnessmark does not know", o.name)
		}
		if err != nil {
			return o.no("entry %d does not stand: %v", p.GetIndex(), err)
		}
	}
	return nil
}

// release checks that the image is the one that was signed and collected, by these documents.
func (o *opened) release() (*Verified, error) {
	col := o.judge.collection
	sub := record.SubmissionOf(o.judge.job, col.GetSubmission())
	if sub == nil {
		return nil, o.no("it ends with no collection of a release")
	}
	v := &Verified{Job: o.judge.job, Submission: sub, Yes: YesTo(o.judge.job, sub), Entries: o.head.Size}
	if v.Yes == nil {
		return nil, o.no("%s was %s before it was collected", Name(sub), sub.GetState())
	}
	switch {
	case sub.GetState() != record.Released:
		return nil, o.no("%s was %s before it was collected", Name(sub), sub.GetState())
	case col.GetImageSha256() != sub.GetImage().GetSha256():
		return nil, o.no("another image was collected than that of %s", Name(sub))
	case record.Worse(v.Yes.Judgement, col.GetJudgement()) != "":
		return nil, o.no("%s was collected as a %s, which its sign-off does not cover", Name(sub), col.GetJudgement().GetVerdict())
	case col.GetJudgement().GetBaseSha256() != record.AsFound(v.Job).GetImage().GetSha256():
		return nil, o.no("%s was not compared with its job's read as found", Name(sub))
	}
	if err := o.trusted(v, func(name string) *recordv1.Person { return o.judge.people[name] }); err != nil {
		return nil, err
	}
	if err := o.documents(col.GetJudgement(), v); err != nil {
		return nil, err
	}
	if err := o.inside(v); err != nil {
		return nil, err
	}
	return v, o.texts(v.Job)
}

// trusted says no where a key that the release rests on was compromised since: the signer's, and where a corridor released it
// its author's.
func (o *opened) trusted(v *Verified, find func(name string) *recordv1.Person) error {
	if p := find(v.Yes.By.GetPerson()); p.GetCompromised() {
		return o.no("%s was signed by %s, whose key was compromised since", Name(v.Submission), p.GetName())
	}
	if p := find(v.Submission.GetSubmitted().GetPerson()); v.Yes.Corridor != nil && p.GetCompromised() {
		return o.no("%s was submitted by %s, whose key was compromised since", Name(v.Submission), p.GetName())
	}
	return nil
}

// signedFor compares files with their hashes, by place; those that are not named are looked at elsewhere.
func (o *opened) signedFor(want map[int]string) error {
	for _, i := range slices.Sorted(maps.Keys(want)) {
		if got := HashHex(o.files[i]); got != want[i] {
			return o.no("%s is not the one that was signed for (%s, and signed was %s)", proofFiles[i].name, short(got), short(want[i]))
		}
	}
	return nil
}

// documents compares the files with the hashes that people signed.
func (o *opened) documents(j *recordv1.Judgement, v *Verified) error {
	want := map[int]string{proofImage: v.Submission.GetImage().GetSha256(), proofDefinition: j.GetDefinition().GetSha256(),
		proofLimits: j.GetLimits().GetSha256(), proofReport: j.GetReportSha256()}
	if err := o.signedFor(want); err != nil {
		return err
	}
	for _, rev := range []*recordv1.Revision{j.GetDefinition(), j.GetLimits()} {
		if !o.judge.revisions[rev.GetSha256()] {
			return o.no("it holds no entry that added %s", rev.GetName())
		}
	}
	lay, err := definition.Load("definition.yaml", o.files[proofDefinition])
	if err != nil {
		return o.no("%v", err)
	}
	lim, err := limits.Load("limits.yaml", o.files[proofLimits])
	if err != nil {
		return o.no("%v", err)
	}
	if _, err := image.FromMessage(v.Submission.GetImage(), lay.Space, o.files[proofImage]); err != nil {
		return o.no("%v", err)
	}
	if err := lim.Check(lay); err != nil {
		return o.no("%v", err)
	}
	report := &calibrationv1.Report{}
	if err := decode(o.files[proofReport], report); err != nil {
		return o.no("report.pb is not a report")
	}
	if report.GetSemantics() != compare.Semantics {
		return upgrade("%s: its report was made by rules number %d, and this witnessmark has number %d", o.name, report.GetSemantics(), compare.Semantics)
	}
	if report.GetCandidate().GetSha256() != v.Submission.GetImage().GetSha256() || report.GetVerdict() != j.GetVerdict() ||
		report.GetBase().GetSha256() != j.GetBaseSha256() || report.GetAsFound().GetSha256() != j.GetAsFoundSha256() {
		return o.no("its report is not about its images")
	}
	v.Report = report
	return nil
}

// texts opens what was sealed about the car.
func (o *opened) texts(job *recordv1.Job) error {
	for _, opening := range o.openings {
		if err := signoff.CheckOpening(opening); err != nil {
			return o.no("%v", err)
		}
		if !o.judge.sealed[opening.GetCommitment()] {
			return o.no("it opens a text that no entry of its job seals")
		}
		for _, t := range []*recordv1.Text{job.GetPlate(), job.GetFrame()} {
			if t.GetCommitment() == opening.GetCommitment() {
				t.Text = opening.GetText()
			}
		}
	}
	return nil
}

// later asks the verifier's own copy what it knows.
func (o *opened) later(own *ownCopy, v *Verified) error {
	head, err := own.head()
	if err != nil {
		return err
	}
	last := o.entries[len(o.entries)-1].GetIndex()
	return own.read(relying, func(tx store.ReadTx) error {
		if err := holds(tx, head); err != nil {
			return err
		}
		s := record.Read(tx)
		for _, p := range o.entries {
			if p.GetIndex() >= head.Size {
				break
			}
			if err := o.seen(tx, p, ledger.Checkpoint{Size: head.Size, Root: s.Root(head.Size)}); err != nil {
				return err
			}
		}
		if last < s.Size() {
			v.Known = &head
		}
		if s.Unapplied() {
			return unknownEntry()
		}
		return o.stands(s, v)
	})
}

// seen says no to an entry that is not the one that the verifier has seen, if the copy's own tree
// stands there.
func (o *opened) seen(tx store.ReadTx, p *recordv1.Proven, head ledger.Checkpoint) error {
	inclusion, err := ledger.ProveInclusion(tx, p.GetIndex(), head.Size)
	if err != nil {
		return err
	}
	if ledger.CheckInclusion(inclusion, p.GetIndex(), head, ledger.LeafHash(p.GetEntry())) == nil {
		return nil
	}
	own, err := ledger.Leaf(tx, p.GetIndex())
	if err == nil && ledger.CheckInclusion(inclusion, p.GetIndex(), head, own) != nil {
		err = fmt.Errorf("its tree does not hold at entry %d: %w", p.GetIndex(), store.ErrDamaged)
	}
	if err != nil {
		return err
	}
	return o.no("entry %d is not that of the ledger that you have seen", p.GetIndex())
}

// stands says whether the verifier's own copy still lets the release be used.
func (o *opened) stands(s *record.State, v *Verified) error {
	sub, ok := s.Submission(v.Job.GetNumber(), v.Submission.GetNumber())
	if err := o.trusted(v, func(name string) *recordv1.Person { p, _ := s.Person(name); return p }); err != nil {
		return err
	}
	switch {
	case !ok || v.Known == nil:
		return s.Err()
	case sub.GetState() == record.Returned:
		return o.no("%s was recalled by %s: %s", Name(sub), sub.GetReturned().GetPerson(), sub.GetReturn().GetReason())
	case !record.IsRelease(sub):
		return o.no("%s is %s", Name(sub), sub.GetState())
	}
	if n, err := s.Release(v.Job.GetNumber()); err == nil && n.GetNumber() > sub.GetNumber() {
		v.Newer = n
	}
	return s.Err()
}
