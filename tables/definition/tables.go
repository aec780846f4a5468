package definition

import (
	"cmp"
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// axisSource is what a shared axis and one written out in place have in common.
type axisSource interface {
	GetId() string
	GetQuantity() string
	GetUnit() string
	GetStored() *calibrationv1.Stored
	GetConversion() *calibrationv1.Conversion
	GetPoints() []float64
	GetIndex() bool
	GetFrom() string
}

func (c *compiler) sharedAxes() {
	c.shared, c.axisAt = map[string]*Axis{}, map[string]string{}
	for i, a := range c.d.GetAxes() {
		axis, err := c.axis(fmt.Sprintf("axes[%d]", i), a.GetId(), a)
		if c.wrong(err) {
			c.lost["axis "+a.GetId()] = true
			continue
		}
		c.shared[axis.ID] = axis
	}
}

// axis compiles one axis and adds it to the layout.
func (c *compiler) axis(path, id string, a axisSource) (*Axis, error) {
	if err := c.at.ID(path, id, c.axisAt); err != nil {
		return nil, err
	}
	axis, err := c.breakpoints(path, id, a)
	return axis, named(err, "axis", id)
}

func (c *compiler) breakpoints(path, id string, a axisSource) (*Axis, error) {
	axis := &Axis{ID: id, Quantity: a.GetQuantity(), Unit: a.GetUnit(), Index: a.GetIndex(), From: a.GetFrom()}
	if axis.Quantity == "" {
		return nil, c.at.Errorf(path+".quantity", "what the axis measures, as in engine_speed", "the quantity is missing")
	}
	if axis.Unit == "" {
		return nil, c.at.Errorf(path+".unit", `a UCUM code, "1" for a number without a unit`, "the unit is missing")
	}
	c.from(path, a.GetFrom(), axis)
	c.lay.Axes = append(c.lay.Axes, axis)
	switch fixed := len(a.GetPoints()) > 0; {
	case fixed && a.GetStored() != nil:
		return nil, c.at.Errorf(path+".points", "stored or points", "both are given")
	case fixed:
		return axis, c.fixed(path, a, axis)
	case a.GetStored() == nil:
		return nil, c.at.Errorf(path, "stored or points", "the axis has no breakpoints")
	}
	return axis, c.storedAxis(path, a, axis)
}

func (c *compiler) fixed(path string, a axisSource, axis *Axis) error {
	if a.GetConversion() != nil {
		return c.at.Errorf(path+".conversion", "a conversion of stored breakpoints only", "points are physical already")
	}
	if err := c.finite(path+".points", a.GetPoints()...); err != nil {
		return err
	}
	if c.cells += uint64(len(a.GetPoints())); c.cells > MaxCells {
		return c.at.Errorf(path+".points", fmt.Sprintf("at most %d cells in a definition, breakpoints included", MaxCells), "there are too many breakpoints")
	}
	first := map[float64]int{}
	for i, v := range a.GetPoints() {
		if j, twice := first[v]; twice {
			return c.at.Errorf(fmt.Sprintf("%s.points[%d]", path, i), "each point once", "%v is already points[%d]", v, j)
		}
		first[v] = i
	}
	axis.Points = slices.Clone(a.GetPoints())
	axis.Count = len(axis.Points)
	return nil
}

func (c *compiler) storedAxis(path string, a axisSource, axis *Axis) error {
	s := a.GetStored()
	if s.GetCount() == 0 || s.GetCount() > MaxCells {
		return c.at.Errorf(path+".stored.count", fmt.Sprintf("1 to %d breakpoints", MaxCells), "%d breakpoints", s.GetCount())
	}
	cells, err := c.stored(path+".stored", fmt.Sprintf("axis %q", axis.ID), s, shape{nx: int(s.GetCount()), ny: 1})
	if err != nil {
		return err
	}
	axis.Cells, axis.Count = cells, cells.NX
	if len(a.GetConversion().GetLabels()) > 0 {
		return c.at.Errorf(path+".conversion.labels", "factor and offset, or rational", "breakpoints are numbers and cannot be labels")
	}
	return c.conversion(path+".conversion", a.GetConversion(), cells)
}

func (c *compiler) tables() {
	seen := map[string]string{}
	for i, t := range c.d.GetTables() {
		path := fmt.Sprintf("tables[%d]", i)
		if c.wrong(c.at.ID(path, t.GetId(), seen)) {
			continue
		}
		table, err := c.table(path, t)
		if words := c.wrong(named(c.words(path, t), "table", t.GetId())); c.wrong(named(err, "table", t.GetId())) || words {
			c.lost["table "+t.GetId()] = true
			continue
		}
		c.lay.Tables = append(c.lay.Tables, table)
		c.lay.ByID[table.ID] = table
	}
}

func (c *compiler) table(path string, t *calibrationv1.Table) (*Table, error) {
	table := &Table{
		Source: t, ID: t.GetId(), Title: t.GetTitle(), Quantity: t.GetQuantity(), Role: t.GetRole(), Unit: t.GetUnit(),
		Kind: "scalar", Copies: t.GetCopies(), Feeds: t.GetFeeds(), Protects: t.GetProtects(),
	}
	table.KnownAs, table.UnitText = t.GetKnownAs(), t.GetUnitText()
	var errX, errY error
	table.X, errX = c.tableAxis(path+".x", t.GetId()+".x", t.GetX())
	table.Y, errY = c.tableAxis(path+".y", t.GetId()+".y", t.GetY())
	if badX := c.wrong(named(errX, "table", t.GetId())); c.wrong(named(errY, "table", t.GetId())) || badX {
		if t.GetStored() != nil { // what can be told of it without its axes
			word, err := c.word(path+".stored", t.GetStored())
			if err == nil {
				err = c.conversion(path+".conversion", t.GetConversion(), word)
			}
			return nil, cmp.Or(err, errLost)
		}
		return nil, errLost
	}
	sh := shape{nx: 1, ny: 1, yFastest: t.GetOrder() == "y_fastest"}
	switch {
	case table.Y != nil && table.X == nil:
		return nil, c.at.Errorf(path+".y", "x alone, or x and y", "there is a y axis without an x axis")
	case table.Y != nil:
		if table.X.Quantity == table.Y.Quantity {
			return nil, c.at.Errorf(path+".y", "two quantities", "both axes are of quantity %q", table.Y.Quantity)
		}
		table.Kind, sh.rows, sh.nx, sh.ny = "map", true, table.X.Count, table.Y.Count
	case table.X != nil:
		table.Kind, sh.nx = "curve", table.X.Count
		sh.yFastest = false
	}
	for _, axis := range []*Axis{table.X, table.Y} {
		if axis != nil {
			table.Axes = append(table.Axes, axis)
		}
	}
	return table, c.place(path, t, table, sh)
}

// words checks what a table says about itself.
func (c *compiler) words(path string, t *calibrationv1.Table) error {
	if t.GetRole() != "" {
		if err := c.oneOf(path+".role", t.GetRole(), "target", "limit", "correction", "transfer", "threshold", "switch"); err != nil {
			return err
		}
	}
	if t.GetOrder() != "" {
		if err := c.oneOf(path+".order", t.GetOrder(), "x_fastest", "y_fastest"); err != nil {
			return err
		}
	}
	if t.GetProtects() != "" {
		if err := c.oneOf(path+".protects", t.GetProtects(), "lower", "higher"); err != nil {
			return err
		}
	}
	for i, q := range t.GetFeeds() {
		if q == "" {
			return c.at.Errorf(fmt.Sprintf("%s.feeds[%d]", path, i), "a quantity, as in cylinder_filling", "the quantity is empty")
		}
	}
	labels := len(t.GetConversion().GetLabels()) > 0
	if !labels && t.GetUnit() == "" {
		return c.at.Errorf(path+".unit", `a UCUM code, "1" for a number without a unit`, "the unit is missing")
	}
	if labels && t.GetObserved() != nil {
		return c.at.Errorf(path+".observed", "tables of numbers", "it holds labels, which no channel shows")
	}
	return c.observed(path, t.GetObserved(), t.GetQuantity(), t.GetUnit())
}

// place lays a table's cells out.
func (c *compiler) place(path string, t *calibrationv1.Table, table *Table, sh shape) error {
	if t.GetStored() == nil {
		return c.at.Errorf(path+".stored", "stored: {address: …, type: …}", "where the table lies is missing")
	}
	n := int64(sh.nx) * int64(sh.ny) // no overflow: an axis has at most MaxCells points
	if n > MaxCells {
		return c.at.Errorf(path, fmt.Sprintf("at most %d cells", MaxCells), "the axes give %d cells", n)
	}
	if count := t.GetStored().GetCount(); count != 0 && int64(count) != n {
		return c.at.Errorf(path+".stored.count", "no count, since a table's follows from its axes", "%d where the axes give %d", count, n)
	}
	cells, err := c.stored(path+".stored", fmt.Sprintf("table %q", table.ID), t.GetStored(), sh)
	if err != nil {
		return err
	}
	table.Cells = cells
	return c.conversion(path+".conversion", t.GetConversion(), cells)
}

// tableAxis finds the shared axis that a table names, or compiles the one written in place.
func (c *compiler) tableAxis(path, id string, a *calibrationv1.TableAxis) (*Axis, error) {
	if a == nil {
		return nil, nil
	}
	if a.GetAxis() == "" {
		if a.GetId() != "" {
			id = a.GetId()
		}
		return c.axis(path, id, a)
	}
	if a.GetId() != "" || a.GetQuantity() != "" || a.GetUnit() != "" || a.GetStored() != nil || a.GetConversion() != nil || len(a.GetPoints()) > 0 || a.GetIndex() {
		return nil, c.at.Errorf(path, "axis alone, or an axis written out without it", "a shared axis is named and more is given")
	}
	axis, known := c.shared[a.GetAxis()]
	if !known && c.lost["axis "+a.GetAxis()] {
		return nil, errLost
	}
	if !known {
		return nil, c.at.Errorf(path+".axis", c.axisNames(), "no axis %.60q in axes", a.GetAxis())
	}
	c.from(path, a.GetFrom(), axis)
	return axis, nil
}

func (c *compiler) axisNames() string {
	names := make([]string, 0, len(c.d.GetAxes()))
	for _, a := range c.d.GetAxes() {
		names = append(names, a.GetId())
	}
	return listed(append(names, "an axis written out in place"))
}

// mirrors ties tables to those they repeat, once all are known.
func (c *compiler) mirrors() {
	for i, t := range c.d.GetTables() {
		table := c.lay.ByID[t.GetId()]
		if t.GetMirror() != nil && table != nil && table.Source == t && !c.lost["table "+t.GetMirror().GetOf()] {
			c.wrong(named(c.mirror(fmt.Sprintf("tables[%d].mirror", i), table, t.GetMirror()), "table", t.GetId()))
		}
	}
}

func (c *compiler) mirror(path string, table *Table, m *calibrationv1.Mirror) error {
	other, known := c.lay.ByID[m.GetOf()]
	if !known || other == table {
		return c.at.Errorf(path+".of", "the id of another table", "%.60q is not one", m.GetOf())
	}
	if err := c.oneOf(path+".as", m.GetAs(), "same", "complement"); err != nil {
		return err
	}
	a, b := table.Cells, other.Cells
	if a.NX != b.NX || a.NY != b.NY || a.Width != b.Width {
		return c.at.Errorf(path+".of", fmt.Sprintf("a table of %dx%d cells of %d bits", a.NX, a.NY, a.Width),
			"table %q has %dx%d cells of %d bits", other.ID, b.NX, b.NY, b.Width)
	}
	table.MirrorOf, table.MirrorComplement = other.ID, m.GetAs() == "complement"
	return nil
}
