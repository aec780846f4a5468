package carry

import (
	"cmp"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// part is one address of a definition, and the bytes that lie there.
type part struct {
	id          string      // of its axis or table
	address     uint64      // as the definition says it
	at          image.Range // offsets of its bytes in the image where it is known
	breakpoints bool
	cells       *definition.Cells // in the image where it is known; nil of a count or a pointer
	pointer     *pointer          // nil unless an address stands there
	lost        string            // why it cannot be looked for

	delta int64 // offsets, to where it is in the other image
	how   Surety
	why   string
	alike bool // half of its bytes or more are as they were
	rank  int  // how it was told, the better the greater
}

// pointer is what an address in the image leads to.
type pointer struct {
	cells  *definition.Cells
	target image.Range // offsets in the image where it is known
	back   uint64      // from the address that stands there to the target's first byte
}

// parts is all addresses of a definition.
type parts struct {
	lay          *definition.Layout
	from         *image.Image
	lacks        []image.Range // of the image, offsets
	axes, tables [][]*part     // by their place in the definition
	shared       [][]*part     // of each table, those of the shared axes that it uses
}

func partsOf(lay *definition.Layout, from *image.Image) *parts {
	p := &parts{lay: lay, from: from, lacks: lay.Space.Offsets(from.Gaps())}
	byID := map[string][]*part{}
	for i, a := range lay.Source.GetAxes() {
		var own []*part
		if a.GetStored() != nil {
			own = p.axis(lay.Axes[i], a.GetStored())
		}
		p.axes, byID[a.GetId()] = append(p.axes, own), own
	}
	for _, t := range lay.Tables {
		own, shared := p.table(t, byID)
		p.tables, p.shared = append(p.tables, own), append(p.shared, shared)
	}
	return p
}

// axis is the parts of a shared axis.
func (p *parts) axis(a *definition.Axis, s *calibrationv1.Stored) []*part {
	in, err := a.In(p.from.Bytes)
	if err != nil {
		return unread(a.ID, s, err)
	}
	return p.stored(a.ID, s, in.Cells, a.Pointer(), a.CountedAt(), true)
}

// unread is of what leads outside in the image where it is known.
func unread(id string, s *calibrationv1.Stored, err error) []*part {
	return []*part{{id: id, address: uint64(s.GetAddress()), lost: err.Error() + ", in the image that it is carried over from"}}
}

// table is the parts of a table, in the order of addresses, and of the shared axes that it uses.
func (p *parts) table(t *definition.Table, byID map[string][]*part) (own, shared []*part) {
	in, err := t.In(p.from.Bytes)
	if err != nil {
		return unread(t.ID, t.Source.GetStored(), err), nil
	}
	own = p.stored(t.ID, t.Source.GetStored(), in.Cells, in.Pointer(), nil, false)
	for i, a := range definition.AxesOf(t.Source) {
		if a.GetAxis() != "" {
			shared = append(shared, byID[a.GetAxis()]...)
		} else if a.GetStored() != nil {
			own = append(own, p.stored(t.ID, a.GetStored(), in.Axes[i].Cells, in.Axes[i].Pointer(), in.Count(i), true)...)
		}
	}
	return own, shared
}

// addresses are those of a table, of its own axes too, part for part.
func addresses(t *calibrationv1.Table) []*uint32 {
	all := addressesIn(t.GetStored())
	for _, a := range definition.AxesOf(t) {
		all = append(all, addressesIn(a.GetStored())...)
	}
	return all
}

func addressesIn(s *calibrationv1.Stored) []*uint32 {
	switch {
	case s == nil:
		return nil
	case s.CountAt == nil:
		return []*uint32{&s.Address}
	}
	return []*uint32{&s.Address, &s.CountAt.Address}
}

// stored is the parts of one block of values: it or the word that points to it, and its count, as addressesIn has them.
func (p *parts) stored(id string, s *calibrationv1.Stored, cells, word, count *definition.Cells, breakpoints bool) []*part {
	one := &part{id: id, address: uint64(s.GetAddress()), at: cells.Extent(), cells: cells, breakpoints: breakpoints}
	if word != nil {
		back := word.Bits(p.from.Bytes, 0, 0) - p.lay.Space.Address(one.at.Start)
		one.pointer, one.at, one.cells = &pointer{word, one.at, back}, word.Extent(), nil
	}
	all := []*part{one}
	if count != nil {
		all = append(all, &part{id: id, address: uint64(s.GetCountAt().GetAddress()), at: count.Extent(), breakpoints: true})
	}
	for _, one := range all {
		needs := []image.Range{one.at}
		if one.pointer != nil {
			needs = append(needs, one.pointer.target)
		}
		if len(image.Common(image.Join(needs), p.lacks)) > 0 {
			one.lost = "the image that it is carried over from lacks it"
		}
	}
	return all
}

// sorted is all parts that can be looked for, as they lie in the image.
func (p *parts) sorted() []*part {
	var all []*part
	for _, part := range slices.Concat(slices.Concat(p.axes...), slices.Concat(p.tables...)) {
		if part.why = part.lost; part.lost == "" {
			all = append(all, part)
		}
	}
	slices.SortStableFunc(all, func(a, b *part) int {
		return cmp.Or(cmp.Compare(a.at.Start, b.at.Start), cmp.Compare(a.at.End, b.at.End))
	})
	return all
}
