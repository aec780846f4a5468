package record

import (
	"sort"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// Whatever these return is the caller's own.

// Person finds somebody by name, retired or not.
func (s *State) Person(name string) (*recordv1.Person, bool) {
	p, err := s.personNamed("name", name)
	if err != nil {
		return nil, false
	}
	return proto.CloneOf(p.msg), true
}

// PersonByKey finds whose current key this is, by fingerprint; retired people have none.
func (s *State) PersonByKey(keyID string) (*recordv1.Person, bool) {
	use, ok := s.keys[keyID]
	if !ok || use.person == "" {
		return nil, false
	}
	p := s.people[fold(use.person)]
	if p.msg.GetRetired() || p.msg.GetKeyFingerprint() != keyID {
		return nil, false
	}
	return proto.CloneOf(p.msg), true
}

// People are all who were ever enrolled, in order of enrolment.
func (s *State) People() []*recordv1.Person {
	out := make([]*recordv1.Person, len(s.roster))
	for i, p := range s.roster {
		out[i] = proto.CloneOf(p.msg)
	}
	return out
}

// Documents are all revisions of a kind, definition or limits, by name and then oldest first.
func (s *State) Documents(kind string) []*recordv1.Document {
	shelf := s.documents[kind]
	if shelf == nil {
		return nil
	}
	out := make([]*recordv1.Document, len(shelf.all))
	for i, d := range shelf.all {
		out[i] = proto.CloneOf(d)
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].GetName() < out[b].GetName() })
	return out
}

// Newest finds the newest revision of a name; kind is definition or limits.
func (s *State) Newest(kind, name string) (*recordv1.Document, bool) {
	if shelf := s.documents[kind]; shelf != nil && shelf.newest[name] != nil {
		return proto.CloneOf(shelf.newest[name]), true
	}
	return nil, false
}

// Document finds a revision by the SHA-256 of its file; kind is definition or limits.
func (s *State) Document(kind, sha256 string) (*recordv1.Document, bool) {
	if shelf := s.documents[kind]; shelf != nil && shelf.bySHA[sha256] != nil {
		return proto.CloneOf(shelf.bySHA[sha256]), true
	}
	return nil, false
}

// Job finds job n, with all that happened in it.
func (s *State) Job(n uint32) (*recordv1.Job, bool) {
	j := s.job(n)
	if j == nil {
		return nil, false
	}
	return j.show(), true
}

// Jobs are all jobs, by number.
func (s *State) Jobs() []*recordv1.Job {
	out := make([]*recordv1.Job, len(s.jobs))
	for i, j := range s.jobs {
		out[i] = j.show()
	}
	return out
}

func (j *job) show() *recordv1.Job {
	m := proto.CloneOf(j.msg)
	m.Release = j.release
	m.InCar = proto.CloneOf(j.car.inCar)
	return m
}

// Submission finds submission n of a job.
func (s *State) Submission(job, n uint32) (*recordv1.Submission, bool) {
	sub := s.job(job).sub(n)
	if sub == nil {
		return nil, false
	}
	return proto.CloneOf(sub.msg), true
}
