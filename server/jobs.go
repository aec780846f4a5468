package server

import (
	"context"
	"fmt"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
)

// service is what every gRPC service stands on.
type service struct {
	core  *core
	pager *pager
	stop  <-chan struct{} // closed when the server begins to stop
}

// change admits the envelope of a method that changes something: its kind is the rule's.
func (s *service) change(ctx context.Context, envelope []byte) (admitted, *servicev1.Admitted, error) {
	c := callOf(ctx)
	a, err := s.core.admit(ctx, envelope, c.rule.action, c.keyID)
	if err != nil {
		return admitted{}, nil, err
	}
	return a, &servicev1.Admitted{Index: a.index, Entry: a.entry}, nil
}

type jobsServer struct {
	servicev1.UnimplementedJobsServer
	*service
}

// changeJob admits an action about a job and answers with the job as it stands.
func (s *jobsServer) changeJob(ctx context.Context, envelope []byte) (*servicev1.Admitted, *recordv1.Job, error) {
	a, where, err := s.change(ctx, envelope)
	if err != nil {
		return nil, nil, err
	}
	var job *recordv1.Job
	s.core.read(func(h *history) {
		n := jobNumber(a.action)
		if n != 0 {
			job, _ = h.state.Job(n)
			return
		}
		for _, j := range h.state.Jobs() { // an opened job: found by the entry that opened it
			if uint64(j.GetOpened().GetEntry()) == a.index {
				job = j
			}
		}
	})
	if job == nil {
		return nil, nil, fmt.Errorf("entry %d was admitted and its job is not there", a.index)
	}
	return where, job, nil
}

// jobNumber is the job that an action is about; 0 for one that opens a job.
func jobNumber(a *recordv1.Action) uint32 {
	switch b := a.GetBody().(type) {
	case *recordv1.Action_Read:
		return b.Read.GetJob()
	case *recordv1.Action_Submission:
		return b.Submission.GetJob()
	case *recordv1.Action_SignOff:
		return b.SignOff.GetJob()
	case *recordv1.Action_Return:
		return b.Return.GetJob()
	case *recordv1.Action_Withdraw:
		return b.Withdraw.GetJob()
	case *recordv1.Action_Collect:
		return b.Collect.GetJob()
	case *recordv1.Action_ReadBack:
		return b.ReadBack.GetJob()
	case *recordv1.Action_Run:
		return b.Run.GetJob()
	}
	return 0
}

func (s *jobsServer) Open(ctx context.Context, r *servicev1.OpenRequest) (*servicev1.OpenResponse, error) {
	a, job, err := s.changeJob(ctx, r.GetEnvelope())
	return &servicev1.OpenResponse{Admitted: a, Job: job}, err
}

func (s *jobsServer) AddRead(ctx context.Context, r *servicev1.AddReadRequest) (*servicev1.AddReadResponse, error) {
	a, job, err := s.changeJob(ctx, r.GetEnvelope())
	return &servicev1.AddReadResponse{Admitted: a, Job: job}, err
}

func (s *jobsServer) Submit(ctx context.Context, r *servicev1.SubmitRequest) (*servicev1.SubmitResponse, error) {
	a, job, err := s.changeJob(ctx, r.GetEnvelope())
	return &servicev1.SubmitResponse{Admitted: a, Job: job}, err
}

func (s *jobsServer) Sign(ctx context.Context, r *servicev1.SignRequest) (*servicev1.SignResponse, error) {
	a, job, err := s.changeJob(ctx, r.GetEnvelope())
	return &servicev1.SignResponse{Admitted: a, Job: job}, err
}

func (s *jobsServer) Return(ctx context.Context, r *servicev1.ReturnRequest) (*servicev1.ReturnResponse, error) {
	a, job, err := s.changeJob(ctx, r.GetEnvelope())
	return &servicev1.ReturnResponse{Admitted: a, Job: job}, err
}

func (s *jobsServer) Withdraw(ctx context.Context, r *servicev1.WithdrawRequest) (*servicev1.WithdrawResponse, error) {
	a, job, err := s.changeJob(ctx, r.GetEnvelope())
	return &servicev1.WithdrawResponse{Admitted: a, Job: job}, err
}

func (s *jobsServer) Collect(ctx context.Context, r *servicev1.CollectRequest) (*servicev1.CollectResponse, error) {
	a, job, err := s.changeJob(ctx, r.GetEnvelope())
	return &servicev1.CollectResponse{Admitted: a, Job: job}, err
}

func (s *jobsServer) AddReadback(ctx context.Context, r *servicev1.AddReadbackRequest) (*servicev1.AddReadbackResponse, error) {
	a, job, err := s.changeJob(ctx, r.GetEnvelope())
	return &servicev1.AddReadbackResponse{Admitted: a, Job: job}, err
}

func (s *jobsServer) AddRun(ctx context.Context, r *servicev1.AddRunRequest) (*servicev1.AddRunResponse, error) {
	a, job, err := s.changeJob(ctx, r.GetEnvelope())
	return &servicev1.AddRunResponse{Admitted: a, Job: job}, err
}

func (s *jobsServer) Get(_ context.Context, r *servicev1.JobsGetRequest) (*servicev1.JobsGetResponse, error) {
	var (
		job *recordv1.Job
		ok  bool
	)
	s.core.read(func(h *history) { job, ok = h.state.Job(r.GetNumber()) })
	if !ok {
		return nil, missing("number", "there is no job %d", r.GetNumber())
	}
	return &servicev1.JobsGetResponse{Job: job}, nil
}

func (s *jobsServer) List(_ context.Context, r *servicev1.JobsListRequest) (*servicev1.JobsListResponse, error) {
	var (
		rows []row[*recordv1.Job]
		size uint64
	)
	car := record.NormalPlate(r.GetCar())
	s.core.read(func(h *history) {
		size = h.state.Size
		for _, j := range h.state.Jobs() {
			if car == "" || record.NormalPlate(j.GetCar()) == car {
				rows = append(rows, row[*recordv1.Job]{fmt.Sprintf("%010d", j.GetNumber()), uint64(j.GetOpened().GetEntry()), j})
			}
		}
	})
	jobs, next, err := page(s.pager, "jobs", car, r.GetPageToken(), r.GetPageSize(), size, rows)
	return &servicev1.JobsListResponse{Jobs: jobs, NextPageToken: next}, err
}

func (s *jobsServer) History(_ context.Context, r *servicev1.HistoryRequest) (*servicev1.HistoryResponse, error) {
	var cars *recordv1.CarHistory
	s.core.read(func(h *history) { cars = h.state.CarHistory(r.GetCar()) })
	if len(cars.GetEvents()) == 0 {
		return nil, missing("car", "there is no car %s", printable(r.GetCar()))
	}
	if err := s.namesTables(cars); err != nil {
		return nil, err
	}
	if table := r.GetTable(); table != "" {
		cars.Events = slices.DeleteFunc(cars.Events, func(e *recordv1.CarEvent) bool { return !slices.Contains(e.GetTables(), table) })
	}
	return &servicev1.HistoryResponse{History: cars}, nil
}

// namesTables fills in which tables each submission changed, from its report.
func (s *jobsServer) namesTables(h *recordv1.CarHistory) error {
	for _, e := range h.GetEvents() {
		if e.GetEvent().GetKind() != "submission" {
			continue
		}
		var (
			sub *recordv1.Submission
			ok  bool
		)
		s.core.read(func(h *history) { sub, ok = h.state.Submission(e.GetJob(), e.GetSubmission()) })
		if !ok {
			continue
		}
		report, err := s.core.report("report", sub.GetJudgement().GetReportSha256())
		if err != nil {
			return err
		}
		e.Tables = nil
		for _, t := range report.GetTables() {
			e.Tables = append(e.Tables, t.GetId())
		}
	}
	return nil
}
