package doubt

import (
	"cmp"
	"slices"

	"witnessmark/tables/definition"
	"witnessmark/tables/severity"
)

// block is stored cells, whose they are, and where that is written.
type block struct {
	what, path string
	cells      *definition.Cells
	table      bool // the cells of a table: others may lie there too
}

// blocks are all stored cells by where they begin: as they lie in an image, or without one as the definition says, each
// with all that can be used of it. What only an image could tell, or leads outside in it, is not among them.
func (d *ofDefinition) blocks(image []byte) (all []block) {
	axes, used, drawn := map[*definition.Axis]bool{}, map[*definition.Axis]bool{}, map[uint64]bool{}
	axis := func(declared, a *definition.Axis) {
		if a.Cells != nil && !axes[declared] && (a.Of != nil || !d.pointed[declared]) {
			all = append(all, block{"axis " + a.ID, d.axes[declared], a.Cells, false})
		}
		axes[declared] = true
	}
	for _, t := range d.lay.Tables {
		in, told, err := t, t.Directions(), error(nil)
		if image != nil {
			in, told, err = t.Found(image, func(*definition.Cells) bool { return true })
		}
		for _, c := range told {
			if !drawn[c.Offset] {
				drawn[c.Offset] = true
				all = append(all, block{"what says where table " + t.ID + " lies", d.tables[t], c, false})
			}
		}
		for _, a := range t.Axes {
			used[a] = true
		}
		if err != nil {
			continue
		}
		for k, a := range t.Axes {
			axis(a, in.Axes[k])
		}
		if image != nil || t.Source.GetStored().GetPointer() == "" {
			all = append(all, block{"table " + t.ID, d.tables[t], in.Cells, true})
		}
	}
	for _, a := range d.lay.Axes {
		if !used[a] {
			axis(a, a)
		}
	}
	slices.SortStableFunc(all, func(a, b block) int { return cmp.Compare(a.cells.Extent().Start, b.cells.Extent().Start) })
	return all
}

// overlap is a block and those before it that share bits with it.
type overlap struct {
	block
	tables, others []string
}

// overlaps finds what shares bits.
func overlaps(blocks []block) (all []overlap) {
	var open []block
	for _, b := range blocks {
		at := b.cells.Extent()
		open = slices.DeleteFunc(open, func(o block) bool { return o.cells.Extent().End <= at.Start })
		shared := overlap{block: b}
		for _, o := range open {
			switch {
			case !o.cells.Shares(b.cells):
			case o.table && b.table:
				shared.tables = append(shared.tables, o.what)
			default:
				shared.others = append(shared.others, o.what)
			}
		}
		if len(shared.tables)+len(shared.others) > 0 {
			all = append(all, shared)
		}
		open = append(open, b)
	}
	return all
}

// tell names what shares bits: tables may, which is worth knowing; an axis, or what says where something lies, with anything
// is doubtful.
func (d *ofDefinition) tell(all []overlap) {
	for _, o := range all {
		if len(o.tables) > 0 {
			d.say(severity.Notice, o.path, "", "%s shares bits with %s", o.what, some(o.tables))
		}
		if len(o.others) > 0 {
			d.say(severity.Caution, o.path, "", "%s shares bits with %s", o.what, some(o.others))
		}
	}
}

// collisions are overlaps in an image that the definition alone does not show.
func (d *ofDefinition) collisions(image []byte) {
	if len(d.lay.Varying) == 0 {
		return
	}
	known := map[[2]string]bool{}
	for _, o := range overlaps(d.blocks(nil)) {
		for _, other := range slices.Concat(o.tables, o.others) {
			known[[2]string{o.what, other}], known[[2]string{other, o.what}] = true, true
		}
	}
	all := overlaps(d.blocks(image))
	for i := range all {
		o := &all[i]
		told := func(other string) bool { return known[[2]string{o.what, other}] }
		o.tables, o.others = slices.DeleteFunc(o.tables, told), slices.DeleteFunc(o.others, told)
	}
	d.tell(all)
}
