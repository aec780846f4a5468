package carry

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/yamldoc"
	"witnessmark/tables/yamlout"
)

// Options says how a definition is written.
type Options struct {
	Name   string // of the new definition
	Least  Surety // tables that are less sure are left out
	Expect bool   // identity fields expect what the new image says
}

// Written is a definition for the other image.
type Written struct {
	File   []byte
	Layout *definition.Layout // of it
	Look   []string           // what in it somebody has to look at, a line each
}

// Definition writes the definition for the other image; the error says what keeps it from being written.
func (r *Result) Definition(o Options) (*Written, error) {
	o.Least = max(o.Least, Moved)
	d := proto.CloneOf(r.lay.Source)
	d.Name = o.Name
	d.Carried = &calibrationv1.Carried{Definition: r.lay.Name, DefinitionSha256: r.lay.SHA256,
		FromImageSha256: string(r.from.SHA256()), ToImageSha256: string(r.to.SHA256())}
	w := &writer{Result: r, d: d, Options: o}
	w.axes()
	w.tables()
	w.identity()
	w.checksums()
	w.segments()
	for _, v := range d.Volatile {
		w.say("volatile 0x%x to 0x%x was kept as it was: nothing tells whether it is still there", v.GetStart(), v.GetEnd())
	}
	if o.Name != r.lay.Name {
		w.say("limits that apply to %s apply to %s once they name it", r.lay.Name, o.Name)
	}
	if len(d.Tables) == 0 {
		return nil, fmt.Errorf("no table is told so surely (%s): there is nothing to write", o.Least)
	}
	for { // each round leaves something out
		file := yamlout.Write(d)
		lay, faults := definition.Examine(o.Name+".yaml", file)
		if len(faults) == 0 {
			return &Written{file, lay, w.look}, nil
		}
		if err := w.leaveOut(faults); err != nil {
			return nil, err
		}
	}
}

type writer struct {
	*Result
	Options
	d    *calibrationv1.Definition
	look []string
}

func (w *writer) say(format string, args ...any) {
	w.look = append(w.look, fmt.Sprintf(format, args...))
}

// axes moves the shared axes, and leaves out those that are not told surely enough.
func (w *writer) axes() {
	found := map[string]Found{}
	for _, f := range w.Axes {
		found[f.ID] = f
	}
	w.d.Axes = slices.DeleteFunc(w.d.Axes, func(a *calibrationv1.Axis) bool {
		f, stored := found[a.GetId()]
		if stored && f.How >= w.Least {
			w.put(f, addressesIn(a.GetStored()))
		}
		return stored && f.How < w.Least
	})
}

// tables moves the tables, and leaves out those that are not told surely enough, wherever they are named.
func (w *writer) tables() {
	kept := map[string]bool{}
	i := 0
	w.d.Tables = slices.DeleteFunc(w.d.Tables, func(t *calibrationv1.Table) bool {
		f := w.Tables[i]
		if i++; f.How < w.Least {
			return true
		}
		kept[f.ID] = true
		t.Carried = f.How.String()
		w.put(f, addresses(t))
		return false
	})
	for _, t := range w.d.Tables {
		if of := t.GetMirror().GetOf(); of != "" && !kept[of] {
			w.say("table %s mirrors %s no longer, which was left out", t.GetId(), of)
			t.Mirror = nil
		}
	}
	for _, f := range w.d.Folders {
		f.Tables = slices.DeleteFunc(f.Tables, func(id string) bool { return !kept[id] })
	}
}

func (w *writer) put(f Found, addresses []*uint32) {
	for i, p := range f.parts {
		*addresses[i] = uint32(w.moved(p))
	}
}

// identity keeps the fields that still read as what they are.
func (w *writer) identity() {
	i := 0
	w.d.Identity = slices.DeleteFunc(w.d.Identity, func(m *calibrationv1.IdentityField) bool {
		f := w.lay.Identity[i]
		i++
		was, is := f.Text(w.from.Bytes), f.Text(w.to.Bytes)
		secret := f.Private || f.Vehicle
		said := fmt.Sprintf("reads %q", is)
		if secret {
			said = "reads something else"
		}
		switch {
		case len(image.Common([]image.Range{f.Range}, w.lacks)) > 0, is == "", !f.Hex && strings.Contains(is, `\x`) && !strings.Contains(was, `\x`):
			w.say("identity %s was left out: what lies there in the new image is no such field; it is to be set by hand", f.ID)
			return true
		case was == is:
		case w.Expect && !secret:
			m.Expect = &is
			w.say("identity %s %s in the new image, and expects that", f.ID, said)
		case m.Expect != nil:
			m.Expect = nil
			w.say("identity %s %s in the new image, and expects nothing now; --expect sets it", f.ID, said)
		default:
			w.say("identity %s %s in the new image", f.ID, said)
		}
		return false
	})
}

// checksums keeps those that are right in the new image: where they go over is not guessed.
func (w *writer) checksums() {
	i := 0
	w.d.Checksums = slices.DeleteFunc(w.d.Checksums, func(*calibrationv1.Checksum) bool {
		c := w.lay.Checksums[i]
		i++
		right := len(image.Common(w.lacks, c.Needs(w.to.Bytes))) == 0
		for _, s := range c.In(w.to.Bytes) {
			stored, computed := s.Verify(w.to.Bytes)
			right = right && stored == computed
		}
		if right {
			w.say("checksum %s was kept: it is right in the new image as well", c.ID)
		} else {
			w.say("checksum %s was left out: over the same ranges it is not right in the new image; it is to be set by hand", c.ID)
		}
		return !right
	})
}

// segments keeps what parts of the image hold if every table still lies in what it lay in.
func (w *writer) segments() {
	segments := w.d.GetImage().GetSegments()
	if len(segments) == 0 {
		return
	}
	for _, f := range w.Tables {
		if f.How < w.Least {
			continue
		}
		p := f.parts[0]
		if was, is := w.content(p.at.Start), w.content(uint64(int64(p.at.Start)+p.delta)); was != is {
			w.say("the image's segments were left out: table %s lay in %s, and would lie in %s; they are to be set by hand", f.ID, was, is)
			w.d.Image.Segments = nil
			return
		}
	}
	w.say("the image's segments were kept as they were: every table still lies in what it lay in")
}

// content is what a segment around an offset holds.
func (w *writer) content(offset uint64) string {
	for _, s := range w.lay.Segments {
		if s.Start <= offset && offset < s.End {
			return s.Content
		}
	}
	return "data"
}

// leaveOut takes out what cannot stay since something else was left out or moved.
func (w *writer) leaveOut(faults []error) error {
	gone := map[string]map[int]error{}
	for _, fault := range faults {
		list, i := yamldoc.Entry(fault)
		if i < 0 {
			return fault
		}
		if gone[list] == nil {
			gone[list] = map[int]error{}
		}
		gone[list][i] = fault
	}
	for _, path := range slices.Sorted(maps.Keys(gone)) {
		list := listOf(w.d.ProtoReflect(), path)
		if list == nil {
			return faults[0]
		}
		n := 0
		for i := range list.Len() {
			if fault := gone[path][i]; fault != nil {
				w.say("%s was left out: %s", nameOf(path, list.Get(i).Message()), problem(fault))
				continue
			}
			list.Set(n, list.Get(i))
			n++
		}
		if n == list.Len() {
			return faults[0]
		}
		list.Truncate(n)
	}
	return nil
}

// listOf is a list of a message, or of one in it, as in image.segments.
func listOf(m protoreflect.Message, path string) protoreflect.List {
	name, rest, deeper := strings.Cut(path, ".")
	field := m.Descriptor().Fields().ByTextName(name)
	switch {
	case field == nil || field.Message() == nil || deeper == field.IsList():
		return nil
	case deeper:
		return listOf(m.Mutable(field).Message(), rest)
	}
	return m.Mutable(field).List()
}

// nameOf is an element by its id, where it has one.
func nameOf(path string, m protoreflect.Message) string {
	if id := m.Descriptor().Fields().ByTextName("id"); id != nil {
		return strings.TrimSuffix(path, "s") + " " + m.Get(id).String()
	}
	return "one of " + path
}

// problem is what is wrong, without the line of a file that nobody has.
func problem(fault error) string {
	var e *yamldoc.Error
	if errors.As(fault, &e) {
		return e.Problem
	}
	return fault.Error()
}
