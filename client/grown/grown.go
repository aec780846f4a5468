// Package grown makes a ledger as long as a workshop's after some years, for tests and benchmarks: what was
// done in one true job is done again in others.
package grown

import (
	"crypto"
	"crypto/ed25519"
	"crypto/rand"
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// Deed is an action of job 1, with what was sealed in it, and who signs it.
type Deed struct {
	*recordv1.Action
	Openings []*recordv1.Opening
	By       crypto.Signer
}

// Deeds are what was done in job 1, in order, by people whose keys are given.
func Deeds(s *record.State, told []*recordv1.Told, keys ...crypto.Signer) (out []Deed, err error) {
	owners := map[signoff.KeyID]crypto.Signer{}
	for _, k := range keys {
		owners[signoff.Fingerprint(k.Public().(ed25519.PublicKey))] = k
	}
	for _, t := range told[1:] { // after the genesis
		envelope, _, err := record.EnvelopeOf(t.GetEntry())
		if err != nil {
			return nil, err
		}
		signed, err := s.Open(envelope)
		if err != nil {
			return nil, err
		}
		if a := signed.Action; a.GetJob() != nil || record.JobOf(a) == 1 {
			out = append(out, Deed{a, t.GetOpenings(), owners[signed.KeyID]})
		}
	}
	return out, nil
}

// Again does deeds in another job, at a time of the server's, and admits them; told are their entries. Every fourth job is
// of a car that was in before. The claims stay those of job 1: nobody makes them again.
func Again(s *record.State, job uint32, at string, deeds []Deed) (told []*recordv1.Told, err error) {
	for _, d := range deeds {
		one, err := d.again(s, job, at)
		if err == nil {
			_, err = s.Admit(one.GetEntry(), one.GetOpenings())
		}
		if err != nil {
			return nil, fmt.Errorf("job %d, %s: %w", job, signoff.Kind(d.Action), err)
		}
		told = append(told, one)
	}
	return told, nil
}

func (d Deed) again(s *record.State, job uint32, at string) (*recordv1.Told, error) {
	told := &recordv1.Told{}
	swap := map[string]string{}
	for _, o := range d.Openings {
		text := o.GetText()
		if o.GetField() == "plate" {
			text = fmt.Sprintf("HC %d", job)
		}
		fresh := signoff.NewOpening(o.GetField(), text, rand.Reader)
		told.Openings = append(told.Openings, fresh)
		swap[o.GetCommitment()] = fresh.GetCommitment()
	}
	a := proto.CloneOf(d.Action)
	reseal(a.ProtoReflect(), swap, job)
	if o := a.GetJob(); o != nil && job%4 == 0 {
		o.GetDetails().Car = job / 4
	}
	if r := a.GetRead(); r != nil {
		j, _ := s.Job(job)
		r.Car = j.GetCar()
		if in := s.InCar(r.Car); in.GetKnown() {
			r.LastKnown = &recordv1.LastKnown{Job: in.GetJob(), Submission: in.GetSubmission(), ImageSha256: in.GetImageSha256(), Same: true}
		}
	}
	a.RequestId = fmt.Sprintf("%d %d", job, s.Size())
	root := s.Root(s.Size())
	a.Seen = &recordv1.Seen{Size: uint32(s.Size()), Root: fmt.Sprintf("%x", root[:])}
	var err error
	if a.ActsOn, err = s.Target(a); err != nil {
		return nil, err
	}
	envelope, err := signoff.Seal(a, d.By)
	if err != nil {
		return nil, err
	}
	told.Entry = record.MakeEntry(envelope, at)
	return told, nil
}

// reseal puts other commitments in the place of those of job 1, and another job's number.
func reseal(m protoreflect.Message, swap map[string]string, job uint32) {
	if s, ok := m.Interface().(*recordv1.Sealed); ok {
		s.Commitment = swap[s.GetCommitment()]
		return
	}
	if f := m.Descriptor().Fields().ByName("job"); f != nil && f.Kind() == protoreflect.Uint32Kind && m.Get(f).Uint() == 1 {
		m.Set(f, protoreflect.ValueOfUint32(job))
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap() || f.Message() == nil:
		case f.IsList():
			for i := range v.List().Len() {
				reseal(v.List().Get(i).Message(), swap, job)
			}
		default:
			reseal(v.Message(), swap, job)
		}
		return true
	})
}
