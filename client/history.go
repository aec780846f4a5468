package client

import (
	"context"
	"errors"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/claims"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
)

// Cars are those with a plate or a frame number, that of the newest job first; else the one with that number.
func (c *Client) Cars(text string) (cars []uint32, err error) {
	err = c.View(func(s *record.State) error { cars = carsIn(s, text); return nil })
	if err == nil && len(cars) == 0 {
		err = noCar(text)
	}
	return cars, err
}

// History is everything that happened to one car. Submissions say which tables they changed, compared
// as things are now; with a table, only those that changed it are listed.
func (c *Client) History(ctx context.Context, car uint32, table string) (*recordv1.CarHistory, error) {
	h, err := look(c, func(s *record.State) (*recordv1.CarHistory, error) { return s.CarHistory(car), nil })
	if err != nil {
		return nil, err
	}
	if len(h.GetEvents()) == 0 {
		return nil, usage("witnessmark job list", "there is no car %d", car)
	}
	tables := map[record.Name][]string{}
	keep := h.Events[:0]
	for _, e := range h.Events {
		if e.GetSubmission() != 0 {
			at := record.Name{Job: e.GetJob(), Part: record.ASubmission, N: e.GetSubmission()}
			if _, known := tables[at]; !known {
				if tables[at], err = c.changedTables(ctx, at); err != nil {
					return nil, err
				}
			}
			e.Tables = tables[at]
		}
		if table == "" || slices.Contains(e.GetTables(), table) {
			keep = append(keep, e)
		}
	}
	if table != "" && len(keep) == 0 {
		if err := c.knowsTable(ctx, h, table); err != nil {
			return nil, err
		}
	}
	h.Events = keep
	return h, nil
}

// knowsTable refuses a table that no definition of the car's jobs has.
func (c *Client) knowsTable(ctx context.Context, h *recordv1.CarHistory, table string) error {
	tried := map[string]*definition.Layout{}
	for _, e := range h.GetEvents() {
		j, err := c.Job(e.GetJob())
		if err != nil {
			return err
		}
		name := j.GetDefinition().GetName()
		if tried[name] != nil {
			continue
		}
		switch tried[name], err = c.JobLayout(ctx, j); {
		case KindOf(err) == Away:
			return nil // nobody can say
		case err != nil:
			return err
		case tried[name].ByID[table] != nil:
			return nil
		}
	}
	for name, lay := range tried {
		return usage("", "%s has no table %q; allowed: %s", name, table, lay.TableIDs())
	}
	return nil
}

// changedTables is empty for what cannot be compared here: bytes that were erased, a newer version's
// report, a server that is away.
func (c *Client) changedTables(ctx context.Context, at record.Name) ([]string, error) {
	r, err := c.Review(ctx, at.Job, at.N)
	out := []string{}
	switch kind := KindOf(err); {
	case err == nil:
	case kind == Upgrade, kind == Away, kind == Refused, errors.Is(err, claims.ErrErased):
		return out, nil
	default:
		return nil, err
	}
	for _, t := range r.Report.GetTables() {
		out = append(out, t.GetId())
	}
	return out, nil
}
