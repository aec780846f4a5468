package compare

import (
	"errors"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/surface"
)

// side is one image under its definition.
type side struct {
	lay     *definition.Layout
	im      *image.Image // nil where there is none
	holes   *holes
	decoded map[string]*surface.Decoded
	found   map[*definition.Table]lie
}

// lie is where a table that varies lies, or why that cannot be told.
type lie struct {
	*definition.Table
	err error
}

var errUnknown = errors.New("bytes of it are unknown")

func sideOf(lay *definition.Layout, im *image.Image) *side {
	s := &side{lay: lay, im: im, holes: gapsOf(im), decoded: map[string]*surface.Decoded{}, found: map[*definition.Table]lie{}}
	s.holes.fill(s)
	return s
}

// lies is a table as it lies in the image. The error is that its pointers or counts lead outside, or that bytes of them are unknown.
func (s *side) lies(t *definition.Table) (*definition.Table, error) {
	if !t.Varies() {
		return t, nil
	}
	l, known := s.found[t]
	if !known {
		if lacks := s.holes.cut(t.Directions()); len(lacks) > 0 {
			l.err = errUnknown // the holes tell what
		} else {
			l.Table, l.err = t.In(s.im.Bytes)
		}
		s.found[t] = l
	}
	return l.Table, l.err
}

// table decodes a table once; nil where this side lacks it, or bytes of it, or where it leads outside.
func (s *side) table(id string) *surface.Decoded {
	if d, ok := s.decoded[id]; ok {
		return d
	}
	t := s.lay.ByID[id]
	if t == nil || s.im == nil || len(s.holes.table(t)) > 0 {
		return nil
	}
	t, err := s.lies(t)
	if err != nil {
		return nil
	}
	d := surface.Decode(t, s.im.Bytes)
	s.decoded[id] = d
	return d
}

// lacks says of an image why a table of its definition cannot be read.
func (s *side) lacks(t *definition.Table) string {
	if lacks := s.holes.table(t); len(lacks) > 0 {
		return "lacks " + spans(s.lay, lacks) + " of it"
	}
	_, err := s.lies(t)
	return "says of it: " + problemOf(err)
}

// problemOf is an error about a table without the table's name.
func problemOf(err error) string {
	var astray *definition.Astray
	if errors.As(err, &astray) {
		return astray.Problem
	}
	return err.Error()
}
