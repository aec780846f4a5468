package doubt

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"witnessmark/tables/definition"
	"witnessmark/tables/severity"
	"witnessmark/tables/units"
)

// OfDefinition is all that is wrong or doubtful in a definition file by itself. The layout lacks what is at
// fault, and is nil where nothing can be told of it.
func OfDefinition(name string, file []byte) (*definition.Layout, []Doubt) {
	lay, faults := definition.Examine(name, file)
	f := newFinder(name, file, faults)
	if lay != nil {
		d := &ofDefinition{finder: f, lay: lay}
		d.index()
		d.units()
		d.reach()
		d.overlaps()
	}
	return lay, InOrder(f.all)
}

// ofDefinition knows where a definition's parts are written.
type ofDefinition struct {
	*finder
	lay    *definition.Layout
	tables map[*definition.Table]string
	axes   map[*definition.Axis]string
}

func (d *ofDefinition) index() {
	d.tables, d.axes = map[*definition.Table]string{}, map[*definition.Axis]string{}
	byID := map[string]*definition.Axis{}
	for _, a := range d.lay.Axes {
		byID[a.ID] = a
	}
	for i, a := range d.lay.Source.GetAxes() {
		d.axes[byID[a.GetId()]] = fmt.Sprintf("axes[%d]", i)
	}
	places := map[any]int{}
	for i, t := range d.lay.Source.GetTables() {
		places[t] = i
	}
	for _, t := range d.lay.Tables {
		path := fmt.Sprintf("tables[%d]", places[t.Source])
		d.tables[t] = path
		for side, a := range map[string]*definition.Axis{".x": t.X, ".y": t.Y} {
			if a != nil && d.axes[a] == "" {
				d.axes[a] = path + side
			}
		}
	}
}

// units asks whether each unit is one that anything converts to.
func (d *ofDefinition) units() {
	ask := func(path, unit string) {
		if err := units.Known(unit); unit != "" && err != nil {
			problem, allowed, _ := strings.Cut(err.Error(), "; allowed: ")
			d.say(severity.Caution, path+".unit", allowed, "%s; no limit in another unit can judge it", problem)
		}
	}
	for _, a := range d.lay.Axes {
		ask(d.axes[a], a.Unit)
	}
	for _, t := range d.lay.Tables {
		ask(d.tables[t], t.Unit)
	}
	for i, s := range d.lay.Source.GetSignals() {
		ask(fmt.Sprintf("signals[%d]", i), s.GetUnit())
	}
	for i, in := range d.lay.Source.GetInputs() {
		ask(fmt.Sprintf("inputs[%d]", i), in.GetUnit())
	}
}

// reach asks whether cells can hold any usual value at all.
func (d *ofDefinition) reach() {
	ask := func(path, quantity, unit string, c *definition.Cells) {
		u, ok := usualOf(quantity, unit)
		if c == nil || !ok || c.Float || !c.Conv.Affine() {
			return
		}
		low, high := uint64(0), ^uint64(0)>>(64-c.Width)
		if c.Signed {
			low, high = uint64(1)<<(c.Width-1), uint64(1)<<(c.Width-1)-1
		}
		a, b := c.Conv.Apply(c.Number(low)), c.Conv.Apply(c.Number(high))
		if a, b = min(a, b), max(a, b); b < u.low || a > u.high {
			d.say(severity.Caution, path+".conversion", u.String(), "what is stored can only mean %.6g to %.6g %s, which is no usual %s", a, b, unit, quantity)
		}
	}
	for _, a := range d.lay.Axes {
		ask(d.axes[a], a.Quantity, a.Unit, a.Cells)
	}
	for _, t := range d.lay.Tables {
		if t.Role != "correction" {
			ask(d.tables[t], t.Quantity, t.Unit, t.Cells)
		}
	}
}

// block is stored cells, whose they are, and where that is written.
type block struct {
	what, path string
	cells      *definition.Cells
}

func (d *ofDefinition) blocks() (all []block) {
	for _, a := range d.lay.Axes {
		if a.Cells != nil {
			all = append(all, block{"axis " + a.ID, d.axes[a], a.Cells})
		}
	}
	for _, t := range d.lay.Tables {
		all = append(all, block{"table " + t.ID, d.tables[t], t.Cells})
	}
	slices.SortStableFunc(all, func(a, b block) int { return cmp.Compare(a.cells.Offset, b.cells.Offset) })
	return all
}

// overlaps names what shares bits: tables may, which is worth knowing; an axis with anything is doubtful.
func (d *ofDefinition) overlaps() {
	var open []block
	for _, b := range d.blocks() {
		at := b.cells.Extent()
		open = slices.DeleteFunc(open, func(o block) bool { return o.cells.Extent().End <= at.Start })
		var tables, others []string
		for _, o := range open {
			if !o.cells.Shares(b.cells) {
				continue
			}
			if strings.HasPrefix(o.what+b.what, "table ") && strings.HasPrefix(b.what, "table ") {
				tables = append(tables, o.what)
			} else {
				others = append(others, o.what)
			}
		}
		if len(tables) > 0 {
			d.say(severity.Notice, b.path, "", "%s shares bits with %s", b.what, some(tables))
		}
		if len(others) > 0 {
			d.say(severity.Caution, b.path, "", "%s shares bits with %s", b.what, some(others))
		}
		open = append(open, b)
	}
}
