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

// Catalogue is names of a kind in their order, after one, at most so many. What it costs depends on those and on the open jobs, not on
// revisions or what is closed.
func (c *Client) Catalogue(kind, after string, most int) ([]Catalogued, error) {
	return look(c, func(s *record.State) (out []Catalogued, err error) {
		names(s, kind, after, func(name string) bool {
			newest, _ := s.Newest(kind, name)
			out = append(out, Catalogued{Newest: newest})
			return len(out) < most
		})
		users(s, kind, out)
		return out, nil
	})
}

// CatalogNames is every name of a kind, in order.
func (c *Client) CatalogNames(kind string) ([]string, error) {
	return look(c, func(s *record.State) (out []string, err error) {
		names(s, kind, "", func(name string) bool { out = append(out, name); return true })
		return out, nil
	})
}

// names looks at the first revision of each name alone.
func names(s *record.State, kind, after string, fn func(name string) (more bool)) {
	for next := ""; ; next = "" {
		s.Revisions(kind, after, math.MaxUint32, func(f *recordv1.CatalogFile) bool { next = f.GetName(); return false })
		if next == "" || !fn(next) {
			return
		}
		after = next
	}
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
