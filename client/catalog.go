package client

import (
	"math"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
)

// Catalogued is one name of the catalogue, and the jobs that are judged by it.
type Catalogued struct {
	Newest *recordv1.CatalogFile // its revision says how many there are
	Open   []uint32              // open jobs, the newest first
	All    int                   // jobs of a definition, closed ones too; 0 of limits
}

// Catalogue is every name of a kind. What it costs depends on the names and the open jobs, not on revisions or what is closed.
func (c *Client) Catalogue(kind string) (out []Catalogued, err error) {
	return look(c, func(s *record.State) (out []Catalogued, err error) {
		name := ""
		first := func(f *recordv1.CatalogFile) bool { name = f.GetName(); return false }
		for s.Revisions(kind, "", 0, first); name != ""; {
			newest, _ := s.Newest(kind, name)
			out = append(out, Catalogued{Newest: newest})
			after := name
			name = ""
			s.Revisions(kind, after, math.MaxUint32, first)
		}
		users(s, kind, out)
		return out, nil
	})
}

// CataloguedAs is one name of a kind; nil where there is none.
func (c *Client) CataloguedAs(kind, name string) (*Catalogued, error) {
	return look(c, func(s *record.State) (*Catalogued, error) {
		newest, ok := s.Newest(kind, name)
		if !ok {
			return nil, usage("", "no %s is called %q", kind, name)
		}
		one := []Catalogued{{Newest: newest}}
		users(s, kind, one)
		return &one[0], nil
	})
}

// users fills in which jobs are judged by names. Of limits open jobs are asked one by one, as adding them does: no list is kept.
func users(s *record.State, kind string, names []Catalogued) {
	if kind == Definitions {
		for i := range names {
			name := names[i].Newest.GetName()
			names[i].Open = s.Find(record.Query{Definition: name, State: "open"})
			names[i].All = len(s.Find(record.Query{Definition: name}))
		}
		return
	}
	at := map[string]*Catalogued{}
	for i := range names {
		at[names[i].Newest.GetName()] = &names[i]
	}
	s.OpenJobs(func(j *recordv1.Job) bool {
		if n := at[j.GetLimits().GetName()]; n != nil {
			n.Open = append([]uint32{j.GetNumber()}, n.Open...)
		}
		return true
	})
}

// Revisions are those of a name before one, the newest first, at most so many; before 0 all of them.
func (c *Client) Revisions(kind, name string, before uint32, most int) ([]*recordv1.CatalogFile, error) {
	return look(c, func(s *record.State) (out []*recordv1.CatalogFile, err error) {
		newest, ok := s.Newest(kind, name)
		if !ok {
			return nil, usage("", "no %s is called %q", kind, name)
		}
		n := newest.GetRevision()
		if before != 0 {
			n = min(n, before-1)
		}
		for ; n > 0 && len(out) < most; n-- {
			f, ok := s.Revision(kind, name, n)
			if !ok {
				break
			}
			out = append(out, f)
		}
		return out, nil
	})
}
