package definition

import (
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

func (c *compiler) tables() {
	n := len(c.d.GetTables())
	seen := make(map[string]string, n)
	c.lay.Tables, c.used = make([]*Table, 0, n), slices.Grow(c.used, n)
	for i, t := range c.d.GetTables() {
		path := c.entry("tables", i)
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
		if table.varies {
			c.lay.Varying = append(c.lay.Varying, table)
		}
	}
}

func (c *compiler) table(path string, t *calibrationv1.Table) (*Table, error) {
	table := &Table{
		Source: t, ID: t.GetId(), Title: t.GetTitle(), Quantity: t.GetQuantity(), Role: t.GetRole(), Unit: t.GetUnit(),
		KnownAs: t.GetKnownAs(), UnitText: t.GetUnitText(), Copies: t.GetCopies(), Feeds: t.GetFeeds(), Protects: t.GetProtects(),
	}
	if t.GetKind() != "" {
		table.Kind = "text"
		if err := c.oneOf(path+".kind", t.GetKind(), "text"); err != nil {
			return nil, err
		}
		return table, c.text(path, t, table)
	}
	if err := c.without(path, "the encoding of a text", t, "encoding"); err != nil {
		return nil, err
	}
	if err := c.tableAxes(path, t, table); err != nil {
		return nil, err
	}
	table.X, table.Y, table.Kind = nth(table.Axes, 0), nth(table.Axes, 1), kinds[min(len(table.Axes), len(kinds)-1)]
	return table, c.numbers(path, t, table)
}

// kinds are what a table is by its axes.
var kinds = []string{"scalar", "curve", "map", "block"}

// numbers compiles what a table that is no text holds.
func (c *compiler) numbers(path string, t *calibrationv1.Table, table *Table) error {
	s, n := t.GetStored(), 1
	if s == nil {
		return c.at.Errorf(path+".stored", "stored: {address: …, type: …}", "where the table lies is missing")
	}
	sh := shape{counts: make([]int, 0, len(table.Axes)), yFastest: t.GetOrder() == "y_fastest" && len(table.Axes) > 1}
	for i, a := range table.Axes {
		if sh.counts, n = append(sh.counts, a.Count), n*a.Count; n > MaxCells { // no overflow: an axis has at most MaxCells points
			return c.at.Errorf(path, fmt.Sprintf("at most %d cells", MaxCells), "the axes give %d cells", n)
		}
		if slices := n / (sh.counts[0] * sh.counts[min(1, i)]); i > 1 && slices > maxSlices {
			return c.at.Errorf(path, fmt.Sprintf("at most %d slices of a block", maxSlices), "the axes beyond y give %d", slices)
		}
	}
	if count := s.GetCount(); count != 0 && int(count) != n {
		return c.at.Errorf(path+".stored.count", "no count, since a table's follows from its axes", "%d where the axes give %d", count, n)
	}
	if err := c.without(path+".stored", "a count of an axis, a length of a text", s, "count_at", "length"); err != nil {
		return err
	}
	if err := c.place(path, s, table, sh); err != nil {
		return err
	}
	if err := c.conversion(path+".conversion", t.GetConversion(), table.Cells); err != nil {
		return err
	}
	err := c.codes(path+".stored.not_a_value", s.GetNotAValue(), table.Cells)
	table.placed.word.Conv, table.placed.word.NotAValue = table.Cells.Conv, table.Cells.NotAValue
	return err
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
	if t.GetCarried() != "" {
		if err := c.oneOf(path+".carried", t.GetCarried(), "same bytes", "same axes", "moved as its neighbours"); err != nil {
			return err
		}
	}
	labels := len(t.GetConversion().GetLabels()) > 0
	switch {
	case t.GetUnit() != "" && t.GetUnitText() != "":
		return c.at.Errorf(path+".unit_text", "unit or unit_text", "both are given")
	case !labels && t.GetUnit() == "" && t.GetUnitText() == "" && t.GetKind() != "text":
		return c.at.Errorf(path+".unit", `a UCUM code, "1" for a number without a unit`, "the unit is missing")
	case labels && t.GetObserved() != nil:
		return c.at.Errorf(path+".observed", "tables of numbers", "it holds labels, which no channel shows")
	case t.GetUnitText() != "" && t.GetObserved() != nil:
		return c.at.Errorf(path+".observed", "tables with a unit", "a unit in free text does not convert")
	case t.GetCarried() != "" && c.d.GetCarried() == nil:
		return c.at.Errorf(path+".carried", "carried of a definition that says where it was carried over from", "the definition says nothing of it")
	}
	return c.observed(path, t.GetObserved(), t.GetQuantity(), t.GetUnit())
}

// mirrors ties tables to those they repeat, once all are known.
func (c *compiler) mirrors() {
	for i, t := range c.d.GetTables() {
		table := c.lay.ByID[t.GetId()]
		if t.GetMirror() != nil && table != nil && table.Source == t && !c.lost["table "+t.GetMirror().GetOf()] {
			c.wrong(named(c.mirror(c.entry("tables", i)+".mirror", table, t.GetMirror()), "table", t.GetId()))
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
