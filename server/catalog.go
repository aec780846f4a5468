package server

import (
	"context"
	"fmt"

	"google.golang.org/grpc/codes"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

type catalogServer struct {
	servicev1.UnimplementedCatalogServer
	*service
}

// add admits a definition or limits and answers with the revision.
func (s *catalogServer) add(ctx context.Context, kind string, envelope []byte) (*servicev1.Admitted, *recordv1.Document, error) {
	a, where, err := s.change(ctx, envelope)
	if err != nil {
		return nil, nil, err
	}
	sha := a.action.GetDefinition().GetRevision().GetSha256()
	if kind == kindLimits {
		sha = a.action.GetLimits().GetRevision().GetSha256()
	}
	var doc *recordv1.Document
	s.core.read(func(h *history) { doc, _ = h.state.Document(kind, sha) })
	return where, doc, nil
}

// get finds a revision and its file; revision 0 is the newest.
func (s *catalogServer) get(kind, name string, revision uint32) (*recordv1.Document, []byte, error) {
	var doc *recordv1.Document
	s.core.read(func(h *history) {
		if revision == 0 {
			doc, _ = h.state.Newest(kind, name)
			return
		}
		for _, d := range h.state.Documents(kind) {
			if d.GetName() == name && d.GetRevision() == revision {
				doc = d
			}
		}
	})
	if doc == nil {
		if revision == 0 {
			return nil, nil, missing("name", "there is no %s %s", kind, printable(name))
		}
		return nil, nil, missing("revision", "there is no revision %d of %s %s", revision, kind, printable(name))
	}
	file, err := s.core.stored(doc.GetSha256())
	if len(file) > maxInline {
		return nil, nil, &fault{code: codes.ResourceExhausted, reason: "too-large", at: "file", allowed: "Blobs.Download",
			text: fmt.Sprintf("the file has %d bytes, too many for one answer; download it by its SHA-256, %s", len(file), doc.GetSha256())}
	}
	return doc, file, err
}

func (s *catalogServer) list(kind, token string, want uint32) ([]*recordv1.Document, string, error) {
	var (
		rows []row[*recordv1.Document]
		size uint64
	)
	s.core.read(func(h *history) {
		size = h.state.Size
		for _, d := range h.state.Documents(kind) {
			// A name has no NUL, so that one that begins another sorts before it.
			key := fmt.Sprintf("%s\x00%010d", d.GetName(), d.GetRevision())
			rows = append(rows, row[*recordv1.Document]{key, uint64(d.GetAdded().GetEntry()), d})
		}
	})
	return page(s.pager, kind, "", token, want, size, rows)
}

func (s *catalogServer) AddDefinition(ctx context.Context, r *servicev1.AddDefinitionRequest) (*servicev1.AddDefinitionResponse, error) {
	a, d, err := s.add(ctx, kindDefinition, r.GetEnvelope())
	return &servicev1.AddDefinitionResponse{Admitted: a, Document: d}, err
}

func (s *catalogServer) GetDefinition(_ context.Context, r *servicev1.GetDefinitionRequest) (*servicev1.GetDefinitionResponse, error) {
	d, file, err := s.get(kindDefinition, r.GetName(), r.GetRevision())
	return &servicev1.GetDefinitionResponse{Document: d, File: file}, err
}

func (s *catalogServer) ListDefinitions(_ context.Context, r *servicev1.ListDefinitionsRequest) (*servicev1.ListDefinitionsResponse, error) {
	d, next, err := s.list(kindDefinition, r.GetPageToken(), r.GetPageSize())
	return &servicev1.ListDefinitionsResponse{Documents: d, NextPageToken: next}, err
}

func (s *catalogServer) AddLimits(ctx context.Context, r *servicev1.AddLimitsRequest) (*servicev1.AddLimitsResponse, error) {
	a, d, err := s.add(ctx, kindLimits, r.GetEnvelope())
	return &servicev1.AddLimitsResponse{Admitted: a, Document: d}, err
}

func (s *catalogServer) GetLimits(_ context.Context, r *servicev1.GetLimitsRequest) (*servicev1.GetLimitsResponse, error) {
	d, file, err := s.get(kindLimits, r.GetName(), r.GetRevision())
	return &servicev1.GetLimitsResponse{Document: d, File: file}, err
}

func (s *catalogServer) ListLimits(_ context.Context, r *servicev1.ListLimitsRequest) (*servicev1.ListLimitsResponse, error) {
	d, next, err := s.list(kindLimits, r.GetPageToken(), r.GetPageSize())
	return &servicev1.ListLimitsResponse{Documents: d, NextPageToken: next}, err
}
