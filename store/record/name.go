package record

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// Part is what of a job a Name names.
type Part string

// The parts; what stands for them in a name.
const (
	TheJob       Part = ""
	ASubmission  Part = "."
	ARead        Part = ".read"
	AReadback    Part = ".back"
	ARollingRoad Part = ".run"
	ACorridor    Part = ".corridor"
)

// parts, the longer one first where one begins with another.
var parts = []Part{ARead, AReadback, ARollingRoad, ACorridor, ASubmission}

// Name is what people call a job, and its submissions, reads, read-backs, runs and corridors, each from 1:
// 7, 7.2, 7.read1, 7.back1, 7.run1, 7.corridor1.
type Name struct {
	Job  uint32
	Part Part
	N    uint32 // 0 of a job
}

func (n Name) String() string {
	text := strconv.FormatUint(uint64(n.Job), 10)
	if n.Part != TheJob {
		text += string(n.Part) + strconv.FormatUint(uint64(n.N), 10)
	}
	return text
}

// ParseName reads a name in the one way that String writes it.
func ParseName(text string) (Name, error) {
	end := cmp.Or(strings.IndexByte(text, '.')+1, len(text)+1) - 1
	n := Name{Job: digits(text[:end])}
	if i := slices.IndexFunc(parts, func(p Part) bool { return strings.HasPrefix(text[end:], string(p)) }); i >= 0 {
		n.Part = parts[i]
		n.N = digits(text[end+len(n.Part):])
	}
	if n.Job == 0 || n.String() != text || n.Part != TheJob && n.N == 0 {
		return Name{}, fmt.Errorf("%q is no name; allowed: a job (7), a submission (7.2), a read (7.read1), a read-back (7.back1), a run (7.run1), a corridor (7.corridor1)", short(text))
	}
	return n, nil
}

// digits is 0 for what is no number.
func digits(text string) uint32 {
	n, err := strconv.ParseUint(text, 10, 32)
	if err != nil {
		return 0
	}
	return uint32(n)
}

// BytesOf is the SHA-256 of the image or run of that name; empty where there is none, or it has none.
func (s *State) BytesOf(of Name) string {
	j := s.job(of.Job)
	switch of.Part {
	case ASubmission:
		return SubmissionOf(j, of.N).GetImage().GetSha256()
	case ARead:
		return nth(j.GetReads(), of.N).GetImage().GetSha256()
	case AReadback:
		return nth(j.GetReadBacks(), of.N).GetImage().GetSha256()
	case ARollingRoad:
		return nth(j.GetRuns(), of.N).GetFileSha256()
	}
	return ""
}

// nth is the nth of a list, from 1; nil where there are fewer.
func nth[T any](list []*T, n uint32) *T {
	if n < 1 || uint64(n) > uint64(len(list)) {
		return nil
	}
	return list[n-1]
}

// Made is what people call what an entry is about, or made: a submission, read, read-back, run or corridor of a job, or
// the job; of an action that is about no job it is the zero Name.
func (s *State) Made(index uint64, a *recordv1.Action) Name {
	of := Name{Job: JobOf(a)}
	if a.GetJob() != nil {
		of.Job = s.JobOpenedBy(index)
	}
	j := s.job(of.Job)
	part := func(p Part, list int, entry func(i int) uint32) Name {
		for i := range list {
			if uint64(entry(i)) == index {
				return Name{of.Job, p, uint32(i + 1)}
			}
		}
		return of
	}
	switch {
	case a.GetSubmission() != nil:
		list := j.GetSubmissions()
		return part(ASubmission, len(list), func(i int) uint32 { return list[i].GetSubmitted().GetEntry() })
	case a.GetRead() != nil:
		list := j.GetReads()
		return part(ARead, len(list), func(i int) uint32 { return list[i].GetAdded().GetEntry() })
	case a.GetReadBack() != nil:
		list := j.GetReadBacks()
		return part(AReadback, len(list), func(i int) uint32 { return list[i].GetAdded().GetEntry() })
	case a.GetRun() != nil:
		list := j.GetRuns()
		return part(ARollingRoad, len(list), func(i int) uint32 { return list[i].GetAdded().GetEntry() })
	case a.GetCorridor() != nil:
		list := j.GetCorridors()
		return part(ACorridor, len(list), func(i int) uint32 { return list[i].GetOpened().GetEntry() })
	case a.GetCorridorClose() != nil:
		return Name{of.Job, ACorridor, a.GetCorridorClose().GetCorridor()}
	case a.GetVoid() != nil:
		return Name{of.Job, ARead, a.GetVoid().GetRead()}
	case a.GetSettle() != nil:
		if about, err := ParseName(a.GetSettle().GetAbout()); err == nil {
			return about
		}
	}
	if sub, ok := body(a).(subAction); ok && sub.GetSubmission() != 0 {
		return Name{of.Job, ASubmission, sub.GetSubmission()}
	}
	return of
}
