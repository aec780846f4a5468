package compare

import (
	"errors"
	"maps"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/surface"
)

// side is one image under its definition.
type side struct {
	lay     *definition.Layout
	im      *image.Image // nil where there is none
	holes   *holes
	reader  *surface.Reader
	decoded map[*definition.Table]*surface.Decoded // by table as declared
	found   map[*definition.Table]lie
}

// lie is where a table that varies lies, or why that cannot be told, and the pointers and counts that are told.
type lie struct {
	*definition.Table
	told []*definition.Cells
	err  error
}

func sideOf(lay *definition.Layout, im *image.Image) *side {
	s := &side{lay: lay, im: im, holes: gapsOf(im), decoded: map[*definition.Table]*surface.Decoded{}, found: map[*definition.Table]lie{}}
	if im != nil {
		s.reader = surface.NewReader(im.Bytes)
	}
	s.holes.fill(s)
	return s
}

// expect makes room for so many tables, of which few are decoded yet.
func (s *side) expect(n int) {
	if n > 2*len(s.decoded) {
		decoded := make(map[*definition.Table]*surface.Decoded, n)
		maps.Copy(decoded, s.decoded)
		s.decoded = decoded
	}
}

// lies is a table as it lies in the image. The error is that its pointers or counts lead outside, or that bytes of them are unknown.
func (s *side) lies(t *definition.Table) (*definition.Table, error) {
	if !t.Varies() {
		return t, nil
	}
	l := s.lie(t)
	return l.Table, l.err
}

// lie finds once where a table that varies lies. Where that is unknown, the holes tell what it lacks.
func (s *side) lie(t *definition.Table) lie {
	l, known := s.found[t]
	if !known {
		l.Table, l.told, l.err = t.Found(s.im.Bytes, func(c *definition.Cells) bool { return len(s.holes.cut(c)) == 0 })
		s.found[t] = l
	}
	return l
}

// table decodes a table once; nil where this side lacks it, or bytes of it, or where it leads outside.
func (s *side) table(id string) *surface.Decoded {
	t := s.lay.ByID[id]
	if t == nil || s.im == nil {
		return nil
	}
	return s.read(t)
}

func (s *side) read(t *definition.Table) *surface.Decoded {
	d := s.decoded[t]
	if d == nil {
		r := s.reading(t)
		if r.t == nil {
			return nil
		}
		d = s.reader.Decode(r.t)
		s.decoded[t] = d
	}
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
