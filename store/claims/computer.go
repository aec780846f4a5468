package claims

import (
	"fmt"
	"slices"
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
	"witnessmark/tables/reckon"
)

const (
	keptDocuments = 64
	keptReports   = 32
	atOnce        = 4 // comparisons under way
)

// Computer makes claims. It keeps what is a function of named bytes alone, within bounds: compiled
// definitions, limits, and the last reports. It is safe for concurrent use.
type Computer struct {
	layouts     cache[string, *definition.Layout]
	limits      cache[string, *limits.Limits]
	answers     cache[image.Hash, *answer]
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

// cache keeps the last few values of a function.
type cache[K comparable, V any] struct {
	mu    sync.Mutex
	most  int
	kept  map[K]V
	order []K // oldest first
}

func (c *cache[K, V]) get(key K, compute func() (V, error)) (V, error) {
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
		c.kept = map[K]V{}
	}
	if _, ok := c.kept[key]; !ok {
		c.kept[key] = v
		c.order = append(c.order, key)
	}
	if len(c.order) > c.most {
		delete(c.kept, c.order[0])
		c.order = c.order[1:]
	}
	return v, nil
}

// Layout compiles a revision of a definition. The error is the source's, or a *record.Refusal.
func (c *Computer) Layout(src Source, rev *recordv1.Revision) (*definition.Layout, error) {
	return document(src, &c.layouts, "definition", rev, definition.Load)
}

func document[T any](src Source, kept *cache[string, T], kind string, rev *recordv1.Revision, load func(string, []byte) (T, error)) (T, error) {
	return kept.get(rev.GetSha256(), func() (none T, err error) {
		what := fmt.Sprintf("%s %.80s", kind, rev.GetName())
		sha, err := image.ParseHash(rev.GetSha256())
		if err != nil {
			return none, refuse(ReasonDocument, kind, "", "%s: %s", what, oneLine(err))
		}
		file, err := src.Blob(what, sha)
		if err != nil {
			return none, err
		}
		out, err := load(what, file)
		if err != nil {
			return none, refuse(ReasonDocument, kind, "", "%s", oneLine(err))
		}
		return out, nil
	})
}

// Rules are a definition and limits that fit it.
type Rules struct {
	Layout *definition.Layout
	Limits *limits.Limits
}

// Rules compiles the newest revisions of what a job is judged by.
func (c *Computer) Rules(src Source, job uint32) (*Rules, error) {
	var def, lim *recordv1.Revision
	err := src.View(func(s *record.State) (err error) {
		_, def, lim, err = newestOf(s, job)
		return err
	})
	if err != nil {
		return nil, err
	}
	return c.compile(src, def, lim)
}

func (c *Computer) compile(src Source, def, lim *recordv1.Revision) (*Rules, error) {
	lay, err := c.Layout(src, def)
	if err != nil {
		return nil, err
	}
	l, err := document(src, &c.limits, "limits", lim, limits.Load)
	if err != nil {
		return nil, err
	}
	r := &Rules{Layout: lay, Limits: l}
	return r, r.meet()
}

// meet says whether limits and a definition fit each other.
func (r *Rules) meet() error {
	names := r.Limits.Source.GetAppliesTo()
	if len(names) > 0 && !slices.Contains(names, r.Layout.Name) {
		return refuse(ReasonFit, "limits", fmt.Sprint(names), "limits %s apply to %v, not to definition %s", r.Limits.Name, names, r.Layout.Name)
	}
	if err := r.Limits.Check(r.Layout); err != nil {
		return refuse(ReasonFit, "limits", "", "limits %s do not fit definition %s: %s", r.Limits.Name, r.Layout.Name, oneLine(err))
	}
	return nil
}

// newestOf is a job and the newest revisions of what it is judged by.
func newestOf(s *record.State, n uint32) (j *recordv1.Job, def, lim *recordv1.Revision, err error) {
	j, ok := s.Job(n)
	if !ok {
		return nil, nil, nil, refuse(record.ReasonNotFound, "job", "", "there is no job %d", n)
	}
	return j, newest(s, record.Definitions, j.GetDefinition()), newest(s, record.Limits, j.GetLimits()), nil
}

func newest(s *record.State, kind string, rev *recordv1.Revision) *recordv1.Revision {
	f, _ := s.Newest(kind, rev.GetName())
	return &recordv1.Revision{Name: rev.GetName(), Sha256: f.GetSha256()}
}

// answer is a report, and its bytes as they are named where it was made here.
type answer struct {
	report *calibrationv1.Report
	bytes  []byte
	sha    image.Hash
}

// answer makes a report, or finds it made.
func (c *Computer) answer(in compare.Input) (*answer, error) {
	return c.answers.get(questionOf(in), func() (*answer, error) {
		r, err := c.compare(in)
		if err != nil {
			return nil, refuse(ReasonComparison, "", "", "the comparison cannot be made: %s", oneLine(err))
		}
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(r)
		return &answer{r, b, image.HashOf(b)}, err
	})
}

func (c *Computer) compare(in compare.Input) (*calibrationv1.Report, error) {
	c.slots <- struct{}{}
	defer func() { <-c.slots }()
	c.comparisons.Add(1)
	if in.Base == nil {
		return compare.Check(in.Candidate, in.Layout, in.Limits, in.Job)
	}
	return compare.Compare(in)
}

// questionOf names everything that a report depends on.
func questionOf(in compare.Input) image.Hash {
	var q []byte
	for _, im := range []*image.Image{in.Base, in.Candidate} {
		if im == nil {
			q = append(q, "none\n"...)
			continue
		}
		q = fmt.Appendf(q, "%s %v\n", im.SHA256(), im.Held)
	}
	q = fmt.Appendf(q, "%s %s\n%t %q\n", in.Layout.SHA256, in.Limits.SHA256, in.MeantGiven, in.Meant)
	// A map prints in the order of its keys.
	return image.HashOf(fmt.Appendf(q, "%q %v\n", in.Job.GetFuel(), in.Job.GetNumbers()))
}

// facts are what a job tells the rules.
func facts(j *recordv1.Job) *calibrationv1.JobFacts {
	f, _ := reckon.Facts(j.GetFuel(), j.GetNumbers()) // numbers that cannot be reckoned open no job
	return f
}
