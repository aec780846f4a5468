package server

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/store/signoff"
)

// Bounds of one page, and of one message of a stream.
const (
	maxPage    = 1000
	usualPage  = 100
	pageBytes  = 1 << 20 // about: one item is never split
	chunkBytes = 256 << 10
)

// page takes what a walk offers until it is full; more says that something was left.
type page[T proto.Message] struct {
	left, bytes int
	items       []T
	more        bool
}

func newPage[T proto.Message](want uint32) (*page[T], error) {
	switch {
	case want > maxPage:
		return nil, invalid("page-size", "page_size", "0 to 1000", "page_size is %d; allowed are 0 to %d", want, maxPage)
	case want == 0:
		want = usualPage
	}
	return &page[T]{left: int(want), bytes: pageBytes}, nil
}

func (p *page[T]) take(item T) (more bool) {
	if p.left == 0 || p.bytes <= 0 {
		p.more = true
		return false
	}
	p.left--
	p.bytes -= proto.Size(item)
	p.items = append(p.items, item)
	return true
}

// notAPage refuses a place to go on from that no page ended at.
func notAPage(at, what string) error {
	return invalid("bad-value", at, "what the page before ended with", "%s: %s is not what a page ends with", at, what)
}

// look runs fn on what the ledger says.
func (c *core) look(fn func(*record.State) error) error {
	err := record.View(c.engine, func(s *record.State) error {
		if err := c.home.understands(s); err != nil {
			return err
		}
		return fn(s)
	})
	if isAway(err) {
		c.reached(err)
	}
	return err
}

type jobsServer struct {
	servicev1.UnimplementedJobsServer
	*core
}

func (s *jobsServer) Get(_ context.Context, r *servicev1.JobsGetRequest) (*servicev1.JobsGetResponse, error) {
	out := &servicev1.JobsGetResponse{}
	return out, s.look(func(st *record.State) error {
		var ok bool
		if out.Job, ok = st.Job(r.GetNumber()); !ok {
			return missing("number", "there is no job %d", r.GetNumber())
		}
		return nil
	})
}

func (s *jobsServer) List(_ context.Context, r *servicev1.JobsListRequest) (*servicev1.JobsListResponse, error) {
	p, err := newPage[*recordv1.Job](r.GetPageSize())
	if err != nil {
		return nil, err
	}
	err = s.look(func(st *record.State) error {
		if r.GetCar() == 0 {
			st.Jobs(r.GetAfter(), p.take)
			return nil
		}
		for _, j := range st.CarJobs(r.GetCar()) {
			if j.GetNumber() > r.GetAfter() && !p.take(j) {
				break
			}
		}
		return nil
	})
	out := &servicev1.JobsListResponse{Jobs: p.items}
	if p.more {
		out.Next = p.items[len(p.items)-1].GetNumber()
	}
	return out, err
}

type catalogServer struct {
	servicev1.UnimplementedCatalogServer
	*core
}

func checkKind(kind string) error {
	if kind != record.Definitions && kind != record.Limits {
		return invalid("bad-value", "kind", "definition, limits", "kind is %.40q; allowed are definition and limits", kind)
	}
	return nil
}

func (s *catalogServer) Get(_ context.Context, r *servicev1.CatalogGetRequest) (*servicev1.CatalogGetResponse, error) {
	if err := checkKind(r.GetKind()); err != nil {
		return nil, err
	}
	out := &servicev1.CatalogGetResponse{}
	return out, s.look(func(st *record.State) error {
		var ok bool
		if n := r.GetRevision(); n == 0 {
			out.File, ok = st.Newest(r.GetKind(), r.GetName())
		} else {
			out.File, ok = st.Revision(r.GetKind(), r.GetName(), n)
		}
		if !ok {
			return missing("name", "there is no such revision of %s %.40q", r.GetKind(), r.GetName())
		}
		return nil
	})
}

func (s *catalogServer) List(_ context.Context, r *servicev1.CatalogListRequest) (*servicev1.CatalogListResponse, error) {
	p, err := newPage[*recordv1.CatalogFile](r.GetPageSize())
	if err == nil {
		err = checkKind(r.GetKind())
	}
	if err != nil {
		return nil, err
	}
	err = s.look(func(st *record.State) error {
		name, n := r.GetAfterName(), r.GetAfterRevision()
		if _, ok := st.Revision(r.GetKind(), name, n); !ok && (name != "" || n != 0) {
			return notAPage("after_name", fmt.Sprintf("revision %d of %.64q", n, name))
		}
		st.Revisions(r.GetKind(), r.GetAfterName(), r.GetAfterRevision(), p.take)
		return nil
	})
	return &servicev1.CatalogListResponse{Files: p.items, More: p.more}, err
}

type peopleServer struct {
	servicev1.UnimplementedPeopleServer
	*core
}

func (s *peopleServer) Get(ctx context.Context, r *servicev1.PeopleGetRequest) (*servicev1.PeopleGetResponse, error) {
	if r.GetName() == "" {
		return &servicev1.PeopleGetResponse{Person: callOf(ctx).person}, nil
	}
	out := &servicev1.PeopleGetResponse{}
	return out, s.look(func(st *record.State) error {
		var ok bool
		if out.Person, ok = st.Person(r.GetName()); !ok {
			return missing("name", "nobody called %.64q is enrolled", r.GetName())
		}
		return nil
	})
}

func (s *peopleServer) List(_ context.Context, r *servicev1.PeopleListRequest) (*servicev1.PeopleListResponse, error) {
	p, err := newPage[*recordv1.Person](r.GetPageSize())
	if err != nil {
		return nil, err
	}
	err = s.look(func(st *record.State) error {
		after := r.GetAfter()
		if _, ok := st.Person(after); after != "" && !ok {
			return notAPage("after", fmt.Sprintf("%.64q", after))
		}
		for _, person := range st.People() { // in the order of their names as they are kept
			if signoff.FoldName(person.GetName()) > signoff.FoldName(after) && !p.take(person) {
				break
			}
		}
		return nil
	})
	return &servicev1.PeopleListResponse{People: p.items, More: p.more}, err
}
