package doubt

import (
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
		d.names()
		d.tell(overlaps(d.blocks(nil)))
	}
	return lay, InOrder(f.all)
}

// ofDefinition knows where a definition's parts are written.
type ofDefinition struct {
	*finder
	lay    *definition.Layout
	tables map[*definition.Table]string
	axes   map[*definition.Axis]string

	pointed map[*definition.Axis]bool // a pointer leads to their breakpoints
}

func (d *ofDefinition) index() {
	d.tables, d.axes, d.pointed = map[*definition.Table]string{}, map[*definition.Axis]string{}, map[*definition.Axis]bool{}
	byID := map[string]*definition.Axis{}
	for _, a := range d.lay.Axes {
		byID[a.ID] = a
	}
	for i, a := range d.lay.Source.GetAxes() {
		d.axes[byID[a.GetId()]] = fmt.Sprintf("axes[%d]", i)
		d.pointed[byID[a.GetId()]] = a.GetStored().GetPointer() != ""
	}
	places := map[any]int{}
	for i, t := range d.lay.Source.GetTables() {
		places[t] = i
	}
	for _, t := range d.lay.Tables {
		path := fmt.Sprintf("tables[%d]", places[t.Source])
		d.tables[t] = path
		for k, a := range t.Axes {
			if d.axes[a] != "" { // shared
				continue
			}
			said, at := t.Source.GetX(), path+".x"
			switch {
			case len(t.Source.GetAxes()) > 0:
				said, at = t.Source.GetAxes()[k], fmt.Sprintf("%s.axes[%d]", path, k)
			case k == 1:
				said, at = t.Source.GetY(), path+".y"
			}
			d.axes[a], d.pointed[a] = at, said.GetStored().GetPointer() != ""
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

// names asks whether each name along an axis is there once.
func (d *ofDefinition) names() {
	for _, a := range d.lay.Axes {
		for i, label := range a.Labels {
			if first := slices.Index(a.Labels, label); first < i {
				d.say(severity.Caution, fmt.Sprintf("%s.labels[%d]", d.axes[a], i), "each name once", "axis %s: %q is the name of place %d already", a.ID, label, first)
			}
		}
	}
}
