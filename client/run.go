package client

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/run"
)

// AddRun adds a run to a job: a file that cannot be read enters nothing. channelsPath is empty
// where the file's own headers say what each channel is; when is before or after. The run is of what
// the ledger presumes in the car, where it presumes anything.
func (c *Client) AddRun(ctx context.Context, number uint32, path, channelsPath, when string) (*recordv1.Run, error) {
	return c.AddRunOf(ctx, number, path, channelsPath, when, "")
}

// AddRunOf adds a run of what its name says was in the car: a read of the job, or a submission that was collected.
func (c *Client) AddRunOf(ctx context.Context, number uint32, path, channelsPath, when, of string) (*recordv1.Run, error) {
	if when != "before" && when != "after" {
		return nil, usage("", "--when %q: allowed are before and after", when)
	}
	r, err := ReadRun(path, channelsPath)
	if err != nil {
		return nil, err
	}
	if of == "" {
		if of, err = c.presumedIn(ctx, number); err != nil {
			return nil, err
		}
	}
	d := &deed{}
	d.action = &recordv1.Action{Body: &recordv1.Action_Run{Run: &recordv1.AddRun{Job: number, When: when, FileSha256: d.bring(path, r.file),
		ChannelsSha256: d.bring("channels", r.channels), FileName: d.seal("file_name", filepath.Base(path)), Of: of}}}
	job, err := c.actOn(ctx, number, d)
	if err != nil {
		return nil, err
	}
	return job.GetRuns()[len(job.GetRuns())-1], nil
}

// presumedIn is the name of what should be in a job's car; empty where nothing is known, or it is another job's.
func (c *Client) presumedIn(ctx context.Context, job uint32) (of string, err error) {
	if err := c.Sync(ctx); err != nil {
		return "", err
	}
	err = c.View(func(s *record.State) error {
		if in, ok := s.PresumedIn(job); ok {
			of = in.String()
		}
		return nil
	})
	return of, err
}

// RecordedRun is a run that was read, and its entry where it is in the ledger.
type RecordedRun struct {
	*run.Run
	Entry          *recordv1.Run // nil of a file that is only looked at
	SHA256         string        // of the file
	file, channels []byte
}

// ReadRun reads a run out of a file.
func ReadRun(path, channelsPath string) (*RecordedRun, error) {
	file, err := ReadBounded(path, MaxFile)
	if err != nil {
		return nil, err
	}
	channels := []byte(run.NoChannels)
	if channelsPath != "" {
		if channels, err = ReadBounded(channelsPath, MaxDocument); err != nil {
			return nil, err
		}
	}
	r, err := run.Load(path, file, channelsPath, channels)
	if err != nil {
		return nil, err
	}
	return &RecordedRun{Run: r, SHA256: HashHex(file), file: file, channels: channels}, nil
}

// Runs fetches a job's runs, oldest first, each held against the hashes that the ledger names.
// when is before, after, or empty for both.
func (c *Client) Runs(ctx context.Context, number uint32, when string) ([]*RecordedRun, error) {
	job, err := c.Job(number)
	if err != nil {
		return nil, err
	}
	var out []*RecordedRun
	for _, e := range job.Runs {
		if when != "" && e.When != when {
			continue
		}
		r := &RecordedRun{Entry: e, SHA256: e.FileSha256}
		name := RunName(e)
		if r.file, err = c.download(ctx, name, e.FileSha256); err != nil {
			return nil, err
		}
		if r.channels, err = c.download(ctx, "channels of "+name, e.ChannelsSha256); err != nil {
			return nil, err
		}
		if r.Run, err = run.Load(name, r.file, "channels of "+name, r.channels); err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// Recordings are the runs alone.
func Recordings(runs []*RecordedRun) []*run.Run {
	var out []*run.Run
	for _, r := range runs {
		out = append(out, r.Run)
	}
	return out
}

// RunName is what people call a run of a job.
func RunName(r *recordv1.Run) string { return fmt.Sprintf("run %d (%s)", r.GetNumber(), r.GetWhen()) }

// ForcedInduction says whether a definition has a table that controls charge pressure: then the
// engine's own control may make up for the weather before any correction does.
func ForcedInduction(lay *definition.Layout) bool {
	for _, t := range lay.Tables {
		if t.Role == "target" && (t.Quantity == "manifold_pressure" || strings.HasPrefix(t.Quantity, "boost")) {
			return true
		}
	}
	return false
}
