package server

import (
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

type comparisonsServer struct {
	servicev1.UnimplementedComparisonsServer
	*service
}

// Compare compares two images of the record by a definition and limits of the record.
func (s *comparisonsServer) Compare(r *servicev1.CompareRequest, stream servicev1.Comparisons_CompareServer) error {
	q, err := s.question(r)
	if err != nil {
		return err
	}
	report, err := s.core.answer(q)
	if err != nil {
		return err
	}
	return inParts(report, func(part *calibrationv1.Report) error {
		if err := stream.Context().Err(); err != nil {
			return err
		}
		return stream.Send(&servicev1.CompareResponse{Part: part})
	})
}

func (s *comparisonsServer) question(r *servicev1.CompareRequest) (*question, error) {
	f := &finder{c: s.core, v: s.core.committedView()}
	doc, ok := f.v.Document(kindDefinition, r.GetDefinitionSha256())
	if !ok {
		return nil, missing("definition_sha256", "there is no definition with SHA-256 %.64q", r.GetDefinitionSha256())
	}
	lay, err := s.core.layout("definition "+doc.GetName(), doc.GetSha256())
	if err != nil {
		return nil, err
	}
	q := &question{layout: lay, meantGiven: r.GetMeantGiven(), meant: r.GetMeant()}
	if sha := r.GetLimitsSha256(); sha != "" {
		doc, ok := f.v.Document(kindLimits, sha)
		if !ok {
			return nil, missing("limits_sha256", "there are no limits with SHA-256 %.64q", sha)
		}
		if q.limits, err = s.core.limitsOf("limits "+doc.GetName(), sha); err != nil {
			return nil, err
		}
		if err := meet(q.limits, lay); err != nil {
			return nil, err
		}
	}
	if q.base, err = f.known("base_sha256", r.GetBaseSha256(), lay); err != nil {
		return nil, err
	}
	q.candidate, err = f.known("candidate_sha256", r.GetCandidateSha256(), lay)
	return q, err
}

// partSize is about how large a part of a report gets; one table is never split.
const partSize = 256 << 10

// inParts sends a report as messages that merge, in order, to it: everything but the tables
// first, then the tables.
func inParts(report *calibrationv1.Report, send func(*calibrationv1.Report) error) error {
	head := proto.CloneOf(report)
	tables := head.Tables
	head.Tables = nil
	if err := send(head); err != nil {
		return err
	}
	for len(tables) > 0 {
		part, size := &calibrationv1.Report{}, 0
		for len(tables) > 0 && (size == 0 || size+proto.Size(tables[0]) <= partSize) {
			size += proto.Size(tables[0])
			part.Tables = append(part.Tables, tables[0])
			tables = tables[1:]
		}
		if err := send(part); err != nil {
			return err
		}
	}
	return nil
}

// GetReport sends a submission's report as kept; submission 0 is the check of the original.
func (s *comparisonsServer) GetReport(r *servicev1.GetReportRequest, stream servicev1.Comparisons_GetReportServer) error {
	v := s.core.committedView()
	job, ok := v.Job(r.GetJob())
	if !ok {
		return missing("job", "there is no job %d", r.GetJob())
	}
	var sha string
	if n := r.GetSubmission(); n == 0 {
		if len(job.GetReads()) == 0 {
			return missing("submission", "job %d has no read yet", r.GetJob())
		}
		sha = job.GetReads()[0].GetCheck().GetReportSha256()
	} else {
		sub, ok := v.Submission(r.GetJob(), n)
		if !ok {
			return missing("submission", "there is no submission %d.%d", r.GetJob(), n)
		}
		sha = sub.GetJudgement().GetReportSha256()
	}
	data, err := s.core.stored(sha)
	if err != nil {
		return err
	}
	return inChunks(data, func(chunk []byte) error {
		if err := stream.Context().Err(); err != nil {
			return err
		}
		return stream.Send(&servicev1.GetReportResponse{Chunk: chunk})
	})
}
