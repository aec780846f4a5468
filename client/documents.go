package client

import (
	"context"
	"errors"
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/compare"
)

// Kinds of files in the catalogue.
const (
	Definitions = record.Definitions
	Limits      = record.Limits
)

// Key is a finding's key: RULE:TABLE, or RULE.
func Key(f *calibrationv1.Finding) string { return compare.Key(f) }

// AddDocument adds a revision of a definition or of limits, after reading it as strictly as its
// use will. Worse are the releases and waiting submissions that it judges worse than they were.
func (c *Client) AddDocument(ctx context.Context, kind, path string) (f *recordv1.CatalogFile, worse []*recordv1.JudgedWorse, err error) {
	file, err := ReadBounded(path, MaxDocument)
	if err != nil {
		return nil, nil, err
	}
	f, err = c.AddFile(ctx, kind, path, file, func(l Looked) error { worse = l.Worse; return nil })
	return f, worse, err
}

// AddFile is AddDocument of bytes that errors call path. What it comes to is agreed to before anything is signed.
func (c *Client) AddFile(ctx context.Context, kind, path string, file []byte, agree func(Looked) error) (f *recordv1.CatalogFile, err error) {
	rev, err := c.readDocument(kind, path, file)
	if err != nil {
		return nil, err
	}
	a := &recordv1.Action{Body: &recordv1.Action_Limits{Limits: &recordv1.AddLimits{Revision: rev}}}
	if kind == Definitions {
		a.Body = &recordv1.Action_Definition{Definition: &recordv1.AddDefinition{Revision: rev}}
	}
	d := &deed{action: a, agree: func(a *recordv1.Action) error {
		l := Looked{Name: rev.GetName(), Revision: 1, Worse: append(a.GetDefinition().GetJudgedWorse(), a.GetLimits().GetJudgedWorse()...)}
		if newest, err := c.Revisions(kind, l.Name, 0, 1); err == nil {
			l.Revision += newest[0].GetRevision()
		}
		return agree(l)
	}}
	d.bring(path, file)
	if _, err := c.act(ctx, d); err != nil {
		return nil, err
	}
	err = c.View(func(s *record.State) error { f, _ = s.ByHash(kind, rev.GetSha256()); return nil })
	return f, err
}

// errLooked ends what was to be looked at alone.
var errLooked = errors.New("nothing was signed")

// Looked is what adding a file would come to.
type Looked struct {
	Name     string // that it gives itself
	Revision uint32 // that it would become; where it is the newest already, that one
	Is       bool   // it is the newest revision, byte for byte, so that adding it would make none
	Worse    []*recordv1.JudgedWorse
}

// LookAtDocument tells what adding a file would come to, without signing anything; path is what errors call it. The error is why it
// cannot be added, but for whose deed that is.
func (c *Client) LookAtDocument(ctx context.Context, kind, path string, file []byte) (l Looked, err error) {
	is, err := c.UnchangedFile(ctx, kind, path, file)
	if err != nil {
		return l, err
	}
	if is != nil {
		return Looked{Name: is.GetName(), Revision: is.GetRevision(), Is: true}, nil
	}
	_, err = c.AddFile(ctx, kind, path, file, func(is Looked) error { l = is; return errLooked })
	if errors.Is(err, errLooked) {
		err = nil
	}
	return l, err
}

// readDocument reads a file as strictly as its use will.
func (c *Client) readDocument(kind, path string, file []byte) (*recordv1.Revision, error) {
	rev := &recordv1.Revision{Sha256: HashHex(file)}
	had := func() ([]byte, error) { return file, nil }
	if kind == Definitions {
		lay, err := c.claims.Definition(path, rev.Sha256, had)
		if err != nil {
			return nil, err
		}
		rev.Name = lay.Name
		return rev, nil
	}
	lim, err := c.claims.Limits(path, rev.Sha256, had)
	if err != nil {
		return nil, err
	}
	rev.Name = lim.Name
	return rev, nil
}

// Unchanged is the newest revision of a document where it is this very file, so that adding it again would
// make none; else nil.
func (c *Client) Unchanged(ctx context.Context, kind, path string) (*recordv1.CatalogFile, error) {
	file, err := ReadBounded(path, MaxDocument)
	if err != nil {
		return nil, err
	}
	return c.UnchangedFile(ctx, kind, path, file)
}

// UnchangedFile is Unchanged of bytes that errors call path.
func (c *Client) UnchangedFile(ctx context.Context, kind, path string, file []byte) (*recordv1.CatalogFile, error) {
	rev, err := c.readDocument(kind, path, file)
	if err != nil {
		return nil, err
	}
	if err := c.Sync(ctx); err != nil {
		return nil, err
	}
	return look(c, func(s *record.State) (*recordv1.CatalogFile, error) {
		if f, ok := s.Newest(kind, rev.Name); ok && f.GetSha256() == rev.Sha256 {
			return f, nil
		}
		return nil, nil
	})
}

// Documents is every revision of a kind, by name, oldest first.
func (c *Client) Documents(kind string) (files []*recordv1.CatalogFile, err error) {
	err = c.View(func(s *record.State) error {
		s.Revisions(kind, "", 0, func(f *recordv1.CatalogFile) bool { files = append(files, f); return true })
		return nil
	})
	return files, err
}

// Document is one revision of a name, from 1, and its file; revision 0 is the newest.
func (c *Client) Document(ctx context.Context, kind, name string, revision uint32) (f *recordv1.CatalogFile, file []byte, err error) {
	err = c.View(func(s *record.State) error {
		newest, ok := s.Newest(kind, name)
		if !ok {
			return usage("witnessmark "+kind+" list", "no %s is called %q", kind, name)
		}
		if f = newest; revision != 0 {
			if f, ok = s.Revision(kind, name, revision); !ok {
				return usage("witnessmark "+kind+" list", "%s %s has no revision %d; it has 1 to %d", kind, name, revision, newest.GetRevision())
			}
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	file, err = c.download(ctx, fmt.Sprintf("%s %s", kind, name), f.GetSha256())
	return f, file, err
}

// JobFiles are the definition and the limits of a job.
type JobFiles struct{ Definition, Limits JobFile }

// JobFile is a name, its newest revision, which judges the job now, and the one that was the newest when the
// job was opened or amended.
type JobFile struct {
	Name      string
	Now, Then uint32
}

// JobFiles are what a job is judged by.
func (c *Client) JobFiles(j *recordv1.Job) (JobFiles, error) {
	return look(c, func(s *record.State) (JobFiles, error) {
		return JobFiles{jobFile(s, Definitions, j.GetDefinition()), jobFile(s, Limits, j.GetLimits())}, nil
	})
}

func jobFile(s *record.State, kind string, r *recordv1.Revision) JobFile {
	newest, _ := s.Newest(kind, r.GetName())
	f := JobFile{Name: r.GetName(), Now: newest.GetRevision()}
	if then, ok := s.ByHash(kind, r.GetSha256()); ok {
		f.Then = then.GetRevision()
	}
	return f
}
