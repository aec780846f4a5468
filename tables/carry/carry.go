// Package carry finds the tables of one image in another version of the software, and writes the definition for it.
package carry

import (
	"fmt"
	"slices"

	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// Surety is how sure a place is, the surest last.
type Surety int

// Sureties. Same bytes: all that is stored of it is as it was, in one place alone. Same axes: its breakpoints are, and
// half of its own bytes or the breakpoints beside them say where it is. Moved: what lies before and behind it
// moved by as much, or one of the two did and its bytes lie there.
const (
	NotFound Surety = iota
	Moved
	SameAxes
	SameBytes
)

var sureties = []string{"not found", "moved as its neighbours", "same axes", "same bytes"}

func (s Surety) String() string { return sureties[s] }

// Named reads a surety as a person asks for it: moved, same-axes, same-bytes.
func Named(text string) (Surety, error) {
	for s, name := range map[Surety]string{Moved: "moved", SameAxes: "same-axes", SameBytes: "same-bytes"} {
		if text == name {
			return s, nil
		}
	}
	return NotFound, fmt.Errorf("%.40q is no surety; allowed: moved, same-axes, same-bytes", text)
}

// Found is where a table or a shared axis begins in both images.
type Found struct {
	ID       string
	From, To uint64 // addresses; To means nothing where it was not found
	How      Surety
	Why      string // what keeps it from being surer; empty at the surest
	parts    []*part
}

// Result is what was found, in the order of the definition.
type Result struct {
	Axes   []Found // shared and stored
	Tables []Found
	lay    *definition.Layout
	to     *image.Image
	from   *image.Image
	lacks  []image.Range // of the other image, offsets
}

// Find looks for all of a definition in another image of its addresses. It is a pure function.
func Find(lay *definition.Layout, from, to *image.Image) (*Result, error) {
	for _, im := range []*image.Image{from, to} {
		if !slices.Equal(im.Space, lay.Space) {
			return nil, fmt.Errorf("an image has the addresses %s; allowed: %s, those of definition %s", im.Space, lay.Space, lay.Name)
		}
	}
	r := &Result{lay: lay, from: from, to: to, lacks: lay.Space.Offsets(to.Gaps())}
	p := partsOf(lay, from)
	s := &search{addresses: lay.Space, space: lay.Space.Offsets(lay.Space), from: from.Bytes, to: to.Bytes, lacks: r.lacks, parts: p.sorted()}
	s.run()
	for i, a := range lay.Source.GetAxes() {
		if a.GetStored() != nil {
			r.Axes = append(r.Axes, r.found(a.GetId(), p.axes[i], nil))
		}
	}
	for i, t := range lay.Tables {
		r.Tables = append(r.Tables, r.found(t.ID, p.tables[i], p.shared[i]))
	}
	return r, nil
}

// found is what the parts of a table or an axis, and the shared axes of a table, say together.
func (r *Result) found(id string, own, shared []*part) Found {
	f := Found{ID: id, How: SameBytes, parts: own}
	if len(own) > 0 {
		first := own[0]
		f.From, f.To = first.address, r.moved(first)
	}
	least := func(how Surety, why string) {
		if how < f.How {
			f.How, f.Why = how, why
		}
	}
	for _, p := range shared {
		if p.how < SameBytes {
			least(p.how, fmt.Sprintf("its axis %s: %s", p.id, p.why))
		}
	}
	axes := f.How
	for _, p := range own {
		if p.breakpoints {
			axes = min(axes, p.how)
		}
	}
	for _, p := range own {
		how, why := p.how, p.why
		if how == Moved && !p.breakpoints && len(own)+len(shared) > 1 && axes == SameBytes && (p.alike || beside(p, own)) {
			how, why = SameAxes, "its own bytes were changed"
		}
		least(how, why)
	}
	return f
}

// beside says whether breakpoints of the same table moved by as much as its cells.
func beside(p *part, own []*part) bool {
	for _, o := range own {
		if o.breakpoints && o.how == SameBytes && o.delta == p.delta {
			return true
		}
	}
	return false
}

// moved is the address that a part has in the other image.
func (r *Result) moved(p *part) uint64 {
	if p.how == NotFound {
		return 0
	}
	was := r.lay.Space.Address(p.at.Start)
	return p.address + r.lay.Space.Address(uint64(int64(p.at.Start)+p.delta)) - was
}
