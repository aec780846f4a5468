package client

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
)

// Key is a finding's key: RULE:TABLE, or RULE.
func Key(f *calibrationv1.Finding) string { return compare.Key(f) }

// Enrol adds a person, or gives one a new key.
func (c *Client) Enrol(ctx context.Context, name string, roles []string, keyFile string) (*recordv1.Person, error) {
	line, err := os.ReadFile(keyFile)
	if err != nil {
		return nil, err
	}
	key, err := signoff.ParsePublicKey(keyFile, line)
	if err != nil {
		return nil, err
	}
	_, err = c.act(ctx, &recordv1.Action{Body: &recordv1.Action_Enrol{Enrol: &recordv1.Enrol{
		Name: name, Roles: roles, PublicKey: signoff.FormatPublicKey(key)}}})
	return c.person(name, err)
}

// Retire ends a person's part; compromised also voids their sign-offs that nobody has collected.
func (c *Client) Retire(ctx context.Context, name string, compromised bool) (*recordv1.Person, error) {
	_, err := c.act(ctx, &recordv1.Action{Body: &recordv1.Action_Retire{Retire: &recordv1.Retire{Name: name, Compromised: compromised}}})
	return c.person(name, err)
}

func (c *Client) person(name string, err error) (*recordv1.Person, error) {
	if err != nil {
		return nil, err
	}
	p, ok := c.view().Person(name)
	if !ok {
		return nil, distrust("the ledger has no %s after the action was admitted", name)
	}
	return p, nil
}

// People is everybody there ever was.
func (c *Client) People() []*recordv1.Person { return c.view().People() }

// Kinds of documents.
const (
	Definitions = "definition"
	Limits      = "limits"
)

// AddDocument adds a revision of a definition or of limits, after reading it as strictly as its
// use will.
func (c *Client) AddDocument(ctx context.Context, kind, path string) (*recordv1.Document, error) {
	file, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	rev := &recordv1.Revision{Sha256: HashHex(file)}
	action := &recordv1.Action{}
	if kind == Definitions {
		lay, err := definition.Load(path, file)
		if err != nil {
			return nil, err
		}
		rev.Name = lay.Name
		action.Body = &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: rev}}
	} else {
		lim, err := limits.Load(path, file)
		if err != nil {
			return nil, err
		}
		if err := c.fits(ctx, lim); err != nil {
			return nil, err
		}
		rev.Name = lim.Name
		action.Body = &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: rev}}
	}
	if _, err := c.act(ctx, action, blob{path, file}); err != nil {
		return nil, err
	}
	d, ok := c.view().Document(kind, rev.Sha256)
	if !ok {
		return nil, distrust("the ledger has no %s %s after it was admitted", kind, rev.Name)
	}
	return d, nil
}

// fits checks limits against the definitions that they say they are for.
func (c *Client) fits(ctx context.Context, lim *limits.Limits) error {
	if err := c.Sync(ctx); err != nil {
		return err
	}
	for _, name := range lim.Source.GetAppliesTo() {
		d, ok := c.view().Newest(Definitions, name)
		if !ok {
			continue
		}
		lay, err := c.layout(ctx, &recordv1.Revision{Name: d.Name, Sha256: d.Sha256})
		if err != nil {
			return err
		}
		if err := lim.Check(lay); err != nil {
			return err
		}
	}
	return nil
}

// Documents is every revision of a kind, by name, oldest first.
func (c *Client) Documents(kind string) []*recordv1.Document { return c.view().Documents(kind) }

// Document is the newest revision of a name, and its file.
func (c *Client) Document(ctx context.Context, kind, name string) (*recordv1.Document, []byte, error) {
	d, ok := c.view().Newest(kind, name)
	if !ok {
		return nil, nil, usage("witnessmark "+kind+" list", "no %s is called %q", kind, name)
	}
	b, err := c.download(ctx, kind+" "+name, d.Sha256)
	return d, b, err
}

// DocumentRevision is one revision of a name, from 1, and its file.
func (c *Client) DocumentRevision(ctx context.Context, kind, name string, revision uint32) (*recordv1.Document, []byte, error) {
	newest := uint32(0)
	for _, d := range c.Documents(kind) {
		if d.Name != name {
			continue
		}
		if newest = max(newest, d.Revision); d.Revision == revision {
			b, err := c.download(ctx, fmt.Sprintf("%s %s revision %d", kind, name, revision), d.Sha256)
			return d, b, err
		}
	}
	if newest == 0 {
		return nil, nil, usage("witnessmark "+kind+" list", "no %s is called %q", kind, name)
	}
	return nil, nil, usage("witnessmark "+kind+" list", "%s %s has no revision %d; it has 1 to %d", kind, name, revision, newest)
}

// SplitList reads a comma-separated list; empty parts are dropped.
func SplitList(s string) []string {
	parts := strings.Split(s, ",")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	return slices.DeleteFunc(parts, func(p string) bool { return p == "" })
}

// History is everything that happened to one car. Submissions say which tables they changed; with a
// table, only those that changed it are listed. The tables are read from reports that were made again.
func (c *Client) History(ctx context.Context, plate, table string) (*recordv1.CarHistory, error) {
	h := c.view().CarHistory(plate)
	if h == nil || len(h.Events) == 0 {
		return nil, usage("witnessmark job list", "no car with the plate %q has been in", plate)
	}
	tables := map[[2]uint32][]string{}
	keep := h.Events[:0]
	for _, e := range h.Events {
		if e.Submission != 0 {
			at := [2]uint32{e.Job, e.Submission}
			if _, known := tables[at]; !known {
				r, err := c.Review(ctx, e.Job, e.Submission)
				// What another version of this program made cannot be made again here, and is no lie.
				if err != nil && KindOf(err) != Upgrade {
					return nil, err
				}
				tables[at] = changedTables(r)
			}
			e.Tables = tables[at]
		}
		if table == "" || slices.Contains(e.Tables, table) {
			keep = append(keep, e)
		}
	}
	h.Events = keep
	return h, nil
}

func changedTables(r *Review) []string {
	out := []string{}
	if r == nil {
		return out
	}
	for _, t := range r.Report.Tables {
		out = append(out, t.Id)
	}
	return out
}
