package server

import (
	"context"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// atOnce is how many comparisons for looking run side by side.
const atOnce = 4

type comparisonsServer struct {
	servicev1.UnimplementedComparisonsServer
	*core
	running chan struct{} // bounds comparisons under way
}

// Compare compares two images of the record by a definition and limits of the record.
func (s *comparisonsServer) Compare(r *servicev1.CompareRequest, stream servicev1.Comparisons_CompareServer) error {
	leave, err := s.lanes.enter(stream.Context(), string(callOf(stream.Context()).keyID))
	if err != nil {
		return err
	}
	defer leave()
	in, err := s.input(r)
	if err != nil {
		return err
	}
	report, err := s.inTurn(stream.Context(), *in)
	if err != nil {
		return err
	}
	return inParts(report, func(part *calibrationv1.Report) error {
		if err := context.Cause(stream.Context()); err != nil {
			return err
		}
		return stream.Send(&servicev1.CompareResponse{Part: part})
	})
}

// inTurn compares, when there is a place for it.
func (s *comparisonsServer) inTurn(ctx context.Context, in compare.Input) (*calibrationv1.Report, error) {
	select {
	case s.running <- struct{}{}:
		defer func() { <-s.running }() // also after a panic
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	report, err := compare.Compare(in)
	if err != nil {
		return nil, invalid("cannot-compare", "", "", "the comparison cannot be made: %s", oneLine(err))
	}
	return report, nil
}

// input finds everything that a request names.
func (s *comparisonsServer) input(r *servicev1.CompareRequest) (*compare.Input, error) {
	in := &compare.Input{Meant: r.GetMeant(), MeantGiven: r.GetMeantGiven()}
	var err error
	if in.Layout, err = document(s, record.Definitions, r.GetDefinitionSha256(), s.claims.Definition); err != nil {
		return nil, err
	}
	if sha := r.GetLimitsSha256(); sha != "" {
		if in.Limits, err = document(s, record.Limits, sha, s.claims.Limits); err != nil {
			return nil, err
		}
		if err := in.Limits.Check(in.Layout); err != nil {
			return nil, invalid("cannot-compare", "limits_sha256", "", "the limits do not fit the definition: %s", oneLine(err))
		}
	}
	if in.Base, err = s.image("base_sha256", r.GetBaseSha256(), in.Layout); err != nil {
		return nil, err
	}
	if sha := r.GetAsFoundSha256(); sha != "" {
		if in.AsFound, err = s.image("as_found_sha256", sha, in.Layout); err != nil {
			return nil, err
		}
	}
	in.Candidate, err = s.image("candidate_sha256", r.GetCandidateSha256(), in.Layout)
	return in, err
}

// document finds a revision of the catalogue by its hash, compiled: those that are used are kept so.
func document[T any](s *comparisonsServer, kind, sha string, compiled func(name, sha string, file func() ([]byte, error)) (T, error)) (out T, err error) {
	at := kind + "_sha256"
	var f *recordv1.CatalogFile
	err = s.look(func(st *record.State) error {
		var ok bool
		if f, ok = st.ByHash(kind, sha); !ok {
			return missing(at, "%s: there is no %s with SHA-256 %.64q", at, kind, sha)
		}
		return nil
	})
	if err != nil {
		return out, err
	}
	return compiled(kind+" "+f.GetName(), sha, func() ([]byte, error) { return s.blob(at, sha) })
}

// image finds an image of the record, whatever job it is of.
func (s *comparisonsServer) image(at, sha string, lay *definition.Layout) (*image.Image, error) {
	var m *recordv1.Image
	err := s.look(func(st *record.State) error {
		var ok bool
		if m, ok = st.Image(sha); !ok {
			return missing(at, "%s: there is no image with SHA-256 %.64q", at, sha)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	data, err := s.blob(at, sha)
	if err != nil {
		return nil, err
	}
	im, err := image.FromMessage(m, lay.Space, data)
	if err != nil {
		return nil, invalid("cannot-compare", at, "", "%s: %s", at, oneLine(err))
	}
	return im, nil
}

// inParts sends a report as messages that merge, in order, to it: everything but the tables first,
// then the tables, none of which is split.
func inParts(report *calibrationv1.Report, send func(*calibrationv1.Report) error) error {
	part := proto.CloneOf(report)
	part.Tables = nil
	size := 0
	for _, t := range report.GetTables() {
		if size += proto.Size(t); size > chunkBytes {
			if err := send(part); err != nil {
				return err
			}
			part, size = &calibrationv1.Report{}, proto.Size(t)
		}
		part.Tables = append(part.Tables, t)
	}
	return send(part)
}
