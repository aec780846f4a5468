package claims

import (
	"fmt"
	"sync"
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

const (
	keptDocuments = 64
	keptReports   = 32
	atOnce        = 4 // comparisons under way
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
	return c
}

// Comparisons counts those made so far; what was found in memory is not among them.
func (c *Computer) Comparisons() uint64 { return c.comparisons.Load() }

// cache keeps the last few values of a function, by the hash of what it is a function of.
type cache[V any] struct {
	mu    sync.Mutex
	most  int
	kept  map[string]V
	order []string // oldest first
}

func (c *cache[V]) get(key string, compute func() (V, error)) (V, error) {
	c.mu.Lock()
	v, ok := c.kept[key]
	c.mu.Unlock()
	if ok {
		return v, nil
	}
	v, err := compute()
	if err != nil {
		return v, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.kept == nil {
		c.kept = map[string]V{}
	}
	if _, ok := c.kept[key]; !ok {
		c.kept[key], c.order = v, append(c.order, key)
	}
	if len(c.order) > c.most {
		delete(c.kept, c.order[0])
		c.order = c.order[1:]
	}
	return v, nil
}

// Layout compiles a revision of a definition. The error is the source's, or a *record.Refusal.
func (c *Computer) Layout(src Source, rev *recordv1.Revision) (*definition.Layout, error) {
	return document(c, src, &c.layouts, "definition", rev, definition.Load)
}

func (c *Computer) limitsFile(src Source, rev *recordv1.Revision) (*limits.Limits, error) {
	return document(c, src, &c.limits, "limits", rev, limits.Load)
}

func document[T any](c *Computer, src Source, kept *cache[T], kind string, rev *recordv1.Revision, load func(string, []byte) (T, error)) (T, error) {
	return kept.get(rev.GetSha256(), func() (out T, err error) {
		file, err := c.making(src).bytes(kind+".sha256", rev.GetSha256())
		if err != nil {
			return out, err
		}
		if out, err = load(kind+" "+rev.GetName(), file); err != nil {
			err = refuse(ReasonDocument, kind, "", "%s", oneLine(err))
		}
		return out, err
	})
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
	return c.answers.get(question(in), func() (*answer, error) {
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
			return nil, refuse(ReasonComparison, "", "", "the comparison cannot be made: %s", oneLine(err))
		}
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(r)
		return &answer{r, b, image.HashOf(b)}, err
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
