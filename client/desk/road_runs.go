package desk

import (
	"context"
	"fmt"
	"sync"

	"witnessmark/client"
	"witnessmark/client/outcome"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// runsBeside sets the job's runs beside the maps that they are of, and says what the last one showed.
func (d *Desk) runsBeside(ctx context.Context, b *roadBody) {
	runs := b.Job.GetRuns()
	if len(runs) == 0 {
		return
	}
	var err error
	if b.Runs, err = d.maps.of(ctx, d.client, b.Job); err != nil {
		b.NoRuns = d.plain(err)
	}
	last := runs[len(runs)-1]
	held := d.heldOf(ctx, runs[len(runs)-1:])[last.GetAdded().GetEntry()]
	b.Last, b.RunOf = &held, outcome.MapOf(b.Job, last)
}

// mapRuns remembers the runs of the job that was looked at last, side by side: they are read again only where there are others.
type mapRuns struct {
	mu   sync.Mutex
	key  string
	rows [][]string
}

// of are the rows, their heading first.
func (m *mapRuns) of(ctx context.Context, c *client.Client, j *recordv1.Job) ([][]string, error) {
	key := fmt.Sprint(j.GetNumber(), j.GetDefinition().GetSha256(), outcome.StartOf(j))
	for _, r := range j.GetRuns() {
		key += fmt.Sprint(" ", r.GetFileSha256(), r.GetChannelsSha256(), r.GetWhen(), outcome.MapOf(j, r))
	}
	if rows, ok := m.kept(key); ok {
		return rows, nil
	}
	lay, err := c.JobLayout(ctx, j)
	if err != nil {
		return nil, err
	}
	runs, err := c.Runs(ctx, j.GetNumber(), "")
	if err != nil {
		return nil, err
	}
	beside, start := outcome.MapRuns(j, runs, lay)
	rows := outcome.Columns(beside, start, outcome.Metric)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.key, m.rows = key, rows
	return rows, nil
}

func (m *mapRuns) kept(key string) (rows [][]string, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.rows, m.key == key
}
