package client

import (
	"fmt"
	"os"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/ledger"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
)

// Verified is what a bundle proves.
type Verified struct {
	Job         *recordv1.Job
	Submission  *recordv1.Submission
	Report      *calibrationv1.Report
	Fingerprint string
	// Entries is the size of the ledger that the bundle holds.
	Entries uint64
	// Newer is a later release of the same job; nil if there is none.
	Newer *recordv1.Submission
}

// opened is a bundle whose files were read, and nothing more.
type opened struct {
	name    string
	files   [][]byte
	entries [][]byte
	proofs  []*recordv1.Proof
	state   *record.State
}

// VerifyBundle checks a bundle without a network. Its root is the fingerprint given, or else the
// genesis that home pinned: a bundle's own root proves nothing. Where home has a longer mirror of the
// same ledger, a later recall in it counts too.
func VerifyBundle(home *Home, path, fingerprint string) (*Verified, error) {
	config, err := home.Config()
	if fingerprint == "" && (err != nil || config.Genesis == "") {
		return nil, usage("--fingerprint F, as init printed it, or log in first", "%s cannot be checked: no ledger is pinned to check it against", path)
	}
	if fingerprint == "" {
		fingerprint = fingerprintOf(config.Genesis)
	}
	b, err := openBundle(path)
	if err != nil {
		return nil, err
	}
	if got := fingerprintOf(genesisHash(b.entries[0])); got != fingerprint {
		return nil, b.no("it is of the ledger %s, and yours is %s", got, fingerprint)
	}
	if err := b.replay(); err != nil {
		return nil, err
	}
	v, err := b.release()
	if err != nil {
		return nil, err
	}
	v.Fingerprint = fingerprint
	return v, b.later(home, config, v)
}

// no is the answer "no": the bundle is not what it says it is.
func (b *opened) no(format string, args ...any) error {
	return &Error{Kind: Distrust, Text: b.name + ": " + fmt.Sprintf(format, args...), Hint: "do not write this file to a car"}
}

func openBundle(path string) (*opened, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	b := &opened{name: path}
	if info.Size() > maxBundle {
		return nil, b.no("%d bytes; a bundle has at most %d", info.Size(), maxBundle)
	}
	raw, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return b, b.parse(raw)
}

func (b *opened) parse(raw []byte) (err error) {
	if b.files, err = unpack(b.name, raw); err != nil {
		return err
	}
	var list, proofs recordv1.EntryList
	if err := proto.Unmarshal(b.files[4], &list); err != nil || list.First != 0 || len(list.Entries) == 0 {
		return b.no("entries.pb is not the ledger from its first entry on")
	}
	b.entries = list.Entries
	if err := proto.Unmarshal(b.files[5], &proofs); err != nil || len(proofs.Entries) != 3 {
		return b.no("proofs.pb does not hold three proofs")
	}
	for _, raw := range proofs.Entries {
		p := new(recordv1.Proof)
		if err := proto.Unmarshal(raw, p); err != nil || p.Index >= uint64(len(b.entries)) {
			return b.no("proofs.pb holds what is not a proof")
		}
		b.proofs = append(b.proofs, p)
	}
	return nil
}

// replay judges every entry, and checks the checkpoint and the proofs against them.
func (b *opened) replay() error {
	state, _, err := grow(b.entries, 0)
	if err != nil {
		return b.no("%v", err)
	}
	if state.Unknown {
		return upgrade("%s holds an entry of a kind that this witnessmark does not know", b.name)
	}
	cp, err := ledger.OpenCheckpoint(b.files[6], ledger.Origin(state.GenesisSHA256), state.ServerKey())
	if err != nil {
		return b.no("its checkpoint does not verify: %v", err)
	}
	if cp.Size != state.Size || cp.Root != state.Roots[state.Size] {
		return b.no("its entries are not those of its checkpoint")
	}
	for _, p := range b.proofs {
		if string(p.Entry) != string(b.entries[p.Index]) {
			return b.no("its proof of entry %d is of another entry", p.Index)
		}
		if err := ledger.CheckInclusion(p.Inclusion, p.Index, cp, ledger.LeafHash(p.Entry)); err != nil {
			return b.no("its proof of entry %d does not hold: %v", p.Index, err)
		}
	}
	b.state = state
	return nil
}

// release checks that the image is the one that was signed and collected, by these documents.
func (b *opened) release() (*Verified, error) {
	a, err := actionOf(b.state, b.entries, uint32(b.proofs[2].Index))
	if err != nil {
		return nil, b.no("entry %d cannot be read: %v", b.proofs[2].Index, err)
	}
	col := a.GetCollect()
	if col.GetSubmission() == 0 {
		return nil, b.no("entry %d collects no release", b.proofs[2].Index)
	}
	job, ok := b.state.Job(col.Job)
	sub, ok2 := b.state.Submission(col.Job, col.Submission)
	if !ok || !ok2 {
		return nil, b.no("the ledger has no submission %d.%d", col.Job, col.Submission)
	}
	if uint64(sub.Submitted.GetEntry()) != b.proofs[0].Index || uint64(sub.Signed.GetEntry()) != b.proofs[1].Index {
		return nil, b.no("its proofs are of other entries than the submission's and the sign-off's")
	}
	v := &Verified{Job: job, Submission: sub, Entries: b.state.Size}
	if err := b.stands(b.state, v); err != nil {
		return nil, err
	}
	return v, b.documents(col, v)
}

// documents compares the files with the hashes that people signed.
func (b *opened) documents(col *recordv1.Collect, v *Verified) error {
	j := col.GetJudgement()
	for i, want := range []string{v.Submission.Image.GetSha256(), j.GetDefinition().GetSha256(), j.GetLimits().GetSha256(), j.GetReportSha256()} {
		if got := HashHex(b.files[i]); got != want {
			return b.no("%s is not the one that was signed for (%s, and signed was %s)", bundleNames[i], short(got), short(want))
		}
	}
	rules := &Rules{Definition: j.Definition, Limits: j.Limits, definitionFile: b.files[1], limitsFile: b.files[2]}
	if err := rules.compile(); err != nil {
		return b.no("%v", err)
	}
	var report calibrationv1.Report
	if err := proto.Unmarshal(b.files[3], &report); err != nil {
		return b.no("report.pb is not a report")
	}
	if report.Semantics != compare.Semantics {
		return upgrade("%s: its report was made by rules number %d, and this witnessmark has number %d", b.name, report.Semantics, compare.Semantics)
	}
	if report.Candidate.GetSha256() != v.Submission.Image.GetSha256() || report.Verdict != j.Verdict {
		return b.no("its report is not about its image")
	}
	v.Report = &report
	if err := stillCovered(&Review{Job: v.Job, Submission: v.Submission, Judgement: j}); err != nil {
		return b.no("%v", err)
	}
	return nil
}

// stands says whether a state still lets the release be used.
func (b *opened) stands(s *record.State, v *Verified) error {
	sub, ok := s.Submission(v.Job.Number, v.Submission.Number)
	if !ok {
		return b.no("the ledger has no %s", name(v.Submission))
	}
	if sub.State == "returned" {
		return b.no("%s was recalled by %s: %s", name(sub), sub.Returned.GetPerson(), sub.Return.GetReason())
	}
	if sub.State != "released" && sub.State != "in car" {
		return b.no("%s is %s", name(sub), sub.State)
	}
	if err := signedRightly(s, sub); err != nil {
		return b.no("%v", err)
	}
	// The rules let a release stand that was collected before its signer's key was compromised; whoever
	// holds only the file is told.
	if p, ok := s.Person(sub.Signed.GetPerson()); ok && p.Compromised {
		return b.no("%s was signed by %s, whose key was compromised since", name(sub), p.Name)
	}
	if n, err := s.Release(v.Job.Number); err == nil && n.Number > sub.Number {
		v.Newer = n
	}
	return nil
}

// later asks the person's own mirror, where it goes on from the bundle's ledger.
func (b *opened) later(home *Home, config Config, v *Verified) error {
	if config.Genesis != b.state.GenesisSHA256 {
		return nil
	}
	c := &Client{home: home, config: config}
	if err := c.load(); err != nil {
		return err
	}
	if n := min(c.state.Size, b.state.Size); n > 0 && c.state.Roots[n] != b.state.Roots[n] {
		return b.no("its ledger is not the one you have seen: they differ within %d entries", n)
	}
	if c.state.Size <= b.state.Size {
		return nil
	}
	if c.state.Unknown {
		return upgrade("your ledger holds an entry of a kind that this witnessmark does not know")
	}
	return b.stands(c.state, v)
}
