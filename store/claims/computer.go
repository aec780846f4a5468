package claims

import (
	"errors"
	"fmt"
	"sync/atomic"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
)

// What is kept at the most: how many, and how many bytes of files and reports, which take 15 to 30 times as much compiled.
const (
	keptDocuments, keptFiles = 64, 16 << 20
	keptReports, keptBytes   = 32, 64 << 20
	atOnce                   = 4 // comparisons under way
)

// Computer makes claims. It keeps what is a function of named bytes alone, within bounds: compiled
// definitions, limits, and the last reports. It is safe for concurrent use.
type Computer struct {
	layouts     cache[*definition.Layout]
	limits      cache[*limits.Limits]
	answers     cache[*answer]
	slots       chan struct{}
	comparisons atomic.Uint64
}

// New is a computer that has computed nothing yet.
func New() *Computer {
	c := &Computer{slots: make(chan struct{}, atOnce)}
	c.layouts.most, c.limits.most, c.answers.most = keptDocuments, keptDocuments, keptReports
	c.layouts.room, c.limits.room, c.answers.room = keptFiles, keptFiles, keptBytes
	return c
}

// Comparisons counts those made so far; what was found in memory is not among them.
func (c *Computer) Comparisons() uint64 { return c.comparisons.Load() }

// Compiled counts the definitions and limits that were so far; what was found in memory is not among them.
func (c *Computer) Compiled() uint64 { return c.layouts.computed.Load() + c.limits.computed.Load() }

// Definition compiles a file of that SHA-256, in hex, or finds it compiled; name is what errors call it.
func (c *Computer) Definition(name, sha string, file func() ([]byte, error)) (*definition.Layout, error) {
	return document(&c.layouts, name, sha, file, definition.Load)
}

// Keep has Definition find what was compiled elsewhere, out of so many bytes, without a fault.
func (c *Computer) Keep(lay *definition.Layout, bytes int) {
	_, _ = c.layouts.get(lay.SHA256, func() (*definition.Layout, int, error) { return lay, bytes, nil })
}

// Limits is Definition of limits.
func (c *Computer) Limits(name, sha string, file func() ([]byte, error)) (*limits.Limits, error) {
	return document(&c.limits, name, sha, file, limits.Load)
}

func document[T any](kept *cache[T], name, sha string, file func() ([]byte, error), load func(string, []byte) (T, error)) (T, error) {
	return kept.get(sha, func() (out T, weight int, err error) {
		b, err := file()
		if err != nil {
			return out, 0, err
		}
		if out, err = load(name, b); err != nil {
			err = &unusable{err}
		}
		return out, len(b), err
	})
}

// unusable is what is wrong in a file, where that could be had.
type unusable struct{ error }

func (u *unusable) Unwrap() error { return u.error }

// Layout compiles a revision of a definition. The error is the source's, or a *record.Refusal.
func (c *Computer) Layout(src Source, rev *recordv1.Revision) (*definition.Layout, error) {
	return revision(c, src, "definition", rev, c.Definition)
}

func (c *Computer) limitsFile(src Source, rev *recordv1.Revision) (*limits.Limits, error) {
	return revision(c, src, "limits", rev, c.Limits)
}

func revision[T any](c *Computer, src Source, kind string, rev *recordv1.Revision, of func(string, string, func() ([]byte, error)) (T, error)) (T, error) {
	out, err := of(kind+" "+rev.GetName(), rev.GetSha256(), func() ([]byte, error) { return c.making(src).bytes(kind+".sha256", rev.GetSha256()) })
	var bad *unusable
	if errors.As(err, &bad) {
		err = refuse(ReasonDocument, kind, "", "%s", oneLine(err))
	}
	return out, err
}

// Rules are a definition and limits that fit it.
type Rules struct {
	Layout *definition.Layout
	Limits *limits.Limits
}

// Rules compiles the newest revisions of what a job is judged by.
func (c *Computer) Rules(src Source, job uint32) (Rules, error) {
	_, r, err := c.jobRules(src, job)
	return r, err
}

func (c *Computer) jobRules(src Source, n uint32) (*recordv1.Job, Rules, error) {
	j, def, lim, err := newestOf(src, n)
	if err != nil {
		return nil, Rules{}, err
	}
	r, err := c.compile(src, def, lim)
	return j, r, err
}

// newestOf is a job and the newest revisions of what it is judged by.
func newestOf(src Source, n uint32) (j *recordv1.Job, def, lim *recordv1.Revision, err error) {
	err = src.View(func(s *record.State) error {
		var ok bool
		if j, ok = s.Job(n); !ok {
			return refuse(record.ReasonNotFound, "job", "", "there is no job %d", n)
		}
		def, lim = newest(s, record.Definitions, j.GetDefinition().GetName()), newest(s, record.Limits, j.GetLimits().GetName())
		return nil
	})
	return j, def, lim, err
}

func newest(s *record.State, kind, name string) *recordv1.Revision {
	f, _ := s.Newest(kind, name)
	return &recordv1.Revision{Name: name, Sha256: f.GetSha256()}
}

// compile wants limits and a definition that fit each other.
func (c *Computer) compile(src Source, def, lim *recordv1.Revision) (r Rules, err error) {
	if r.Layout, err = c.Layout(src, def); err != nil {
		return r, err
	}
	if r.Limits, err = c.limitsFile(src, lim); err != nil {
		return r, err
	}
	if err := r.Limits.Check(r.Layout); err != nil {
		return r, refuse(ReasonFit, "limits", "", "limits %s do not fit definition %s: %s", r.Limits.Name, r.Layout.Name, oneLine(err))
	}
	return r, nil
}

// answer is a report, its bytes where it was made here, and their hash.
type answer struct {
	report *calibrationv1.Report
	bytes  []byte
	sha    image.Hash
}

// answer makes a report, or finds it made.
func (c *Computer) answer(in compare.Input) (*answer, error) {
	return c.answers.get(question(in), func() (*answer, int, error) {
		c.slots <- struct{}{}
		defer func() { <-c.slots }()
		c.comparisons.Add(1)
		of := compare.Compare
		if in.Base == nil {
			of = func(in compare.Input) (*calibrationv1.Report, error) {
				return compare.Check(in.Candidate, in.Layout, in.Limits, in.Job)
			}
		}
		r, err := of(in)
		if err != nil {
			return nil, 0, refuse(ReasonComparison, "", "", "the comparison cannot be made: %s", oneLine(err))
		}
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(r)
		return &answer{r, b, image.HashOf(b)}, len(b), err
	})
}

// question names everything that a report depends on. Maps are printed in the order of their keys.
func question(in compare.Input) string {
	q := fmt.Appendf(nil, "%s %s\n%t %q\n", in.Layout.SHA256, in.Limits.SHA256, in.MeantGiven, in.Meant)
	q = fmt.Appendf(q, "%q %v %q\n", in.Job.GetFuel(), in.Job.GetNumbers(), in.Proven)
	if in.Run != nil {
		q = fmt.Appendf(q, "%s", in.Run.SHA256)
		for _, r := range in.Run.Before {
			q = fmt.Appendf(q, " %s", r.SHA256)
		}
	}
	for _, im := range []*image.Image{in.Candidate, in.Base, in.AsFound} {
		if im != nil {
			q = fmt.Appendf(q, "%s %v", im.SHA256(), im.Held)
		}
		q = append(q, '\n')
	}
	return string(image.HashOf(q))
}
