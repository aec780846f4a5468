package server

import (
	"context"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

type peopleServer struct {
	servicev1.UnimplementedPeopleServer
	*service
}

func (s *peopleServer) WhoAmI(ctx context.Context, _ *servicev1.WhoAmIRequest) (*servicev1.WhoAmIResponse, error) {
	return &servicev1.WhoAmIResponse{Person: callOf(ctx).person}, nil
}

func (s *peopleServer) named(name string) (p *recordv1.Person) {
	s.core.read(func(h *history) { p, _ = h.state.Person(name) })
	return p
}

func (s *peopleServer) Enrol(ctx context.Context, r *servicev1.EnrolRequest) (*servicev1.EnrolResponse, error) {
	a, where, err := s.change(ctx, r.GetEnvelope())
	if err != nil {
		return nil, err
	}
	return &servicev1.EnrolResponse{Admitted: where, Person: s.named(a.action.GetEnrol().GetName())}, nil
}

func (s *peopleServer) Retire(ctx context.Context, r *servicev1.RetireRequest) (*servicev1.RetireResponse, error) {
	a, where, err := s.change(ctx, r.GetEnvelope())
	if err != nil {
		return nil, err
	}
	return &servicev1.RetireResponse{Admitted: where, Person: s.named(a.action.GetRetire().GetName())}, nil
}

func (s *peopleServer) List(_ context.Context, r *servicev1.PeopleListRequest) (*servicev1.PeopleListResponse, error) {
	var (
		rows []row[*recordv1.Person]
		size uint64
	)
	s.core.read(func(h *history) {
		size = h.state.Size
		for _, p := range h.state.People() {
			rows = append(rows, row[*recordv1.Person]{p.GetName(), h.joined[p.GetName()], p})
		}
	})
	people, next, err := page(s.pager, "people", "", r.GetPageToken(), r.GetPageSize(), size, rows)
	return &servicev1.PeopleListResponse{People: people, NextPageToken: next}, err
}
