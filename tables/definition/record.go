package definition

import (
	"cmp"
	"fmt"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// maxAxes and maxSlices bound a block.
const (
	maxAxes   = 8
	maxSlices = 1 << 14
)

// tableAxes compiles the axes of a table, the fastest first.
func (c *compiler) tableAxes(path string, t *calibrationv1.Table, table *Table) error {
	said := AxesOf(t)
	switch n := len(t.GetAxes()); {
	case n == 0 && t.GetY() != nil && t.GetX() == nil:
		return c.at.Errorf(path+".y", "x alone, or x and y", "there is a y axis without an x axis")
	case n == 0:
	case t.GetX() != nil || t.GetY() != nil:
		return c.at.Errorf(path+".axes", "x and y, or axes", "both are given")
	case n < 3 || n > maxAxes:
		return c.at.Errorf(path+".axes", fmt.Sprintf("3 to %d axes; fewer as x and y", maxAxes), "%d axes", n)
	}
	bad := false
	table.Axes = make([]*Axis, 0, len(said))
	for i, a := range said {
		name := []string{"x", "y", "z"}[min(i, 2)]
		if i > 2 {
			name = fmt.Sprint(i + 1)
		}
		axis, err := c.tableAxis(axisPath(path, t, i), t.GetId()+"."+name, a)
		bad = c.wrong(named(err, "table", t.GetId())) || err != nil || bad
		table.Axes = append(table.Axes, axis)
	}
	if bad {
		return c.withoutAxes(path, t)
	}
	for i, a := range table.Axes {
		if a.Quantity != "" && slices.ContainsFunc(table.Axes[:i], func(b *Axis) bool { return a.Quantity == b.Quantity }) {
			return c.at.Errorf(axisPath(path, t, i), "a quantity for each axis", "two axes are of quantity %q", a.Quantity)
		}
	}
	return nil
}

// AxesOf are the axes that a table says, the fastest first.
func AxesOf(t *calibrationv1.Table) []*calibrationv1.TableAxis {
	if len(t.GetAxes()) > 0 {
		return t.GetAxes()
	}
	return slices.DeleteFunc([]*calibrationv1.TableAxis{t.GetX(), t.GetY()}, func(a *calibrationv1.TableAxis) bool { return a == nil })
}

// axisPath is where a table says an axis.
func axisPath(path string, t *calibrationv1.Table, i int) string {
	if len(t.GetAxes()) > 0 {
		return fmt.Sprintf("%s.axes[%d]", path, i)
	}
	return path + []string{".x", ".y"}[i]
}

// withoutAxes tells what there is to tell of a table whose axes are at fault.
func (c *compiler) withoutAxes(path string, t *calibrationv1.Table) error {
	if t.GetStored() == nil {
		return errLost
	}
	word, err := c.word(path+".stored", t.GetStored())
	if err == nil {
		err = c.conversion(path+".conversion", t.GetConversion(), &word)
	}
	return cmp.Or(err, errLost)
}

// place lays a table's cells out, and ties them to its axes: what of it varies, and what moves with what.
func (c *compiler) place(path string, s *calibrationv1.Stored, table *Table, sh shape) error {
	what := c.call("table", table.ID)
	p, cells, err := c.placed(path+".stored", what, s, sh)
	if err != nil {
		return err
	}
	table.placed, table.Cells, table.used = p, cells, p.most
	p.packed = s.GetLayout() == "packed"
	table.varies = p.pointer != nil
	var own []*placing // what is written out in the table
	for i, a := range table.Axes {
		if a.placed == nil {
			continue
		}
		table.varies = table.varies || a.Pointer() != nil || a.CountedAt() != nil
		if table.said(i).GetAxis() == "" {
			own = append(own, a.placed)
			p.packed = p.packed || a.placed.packed
		}
	}
	if !table.varies {
		return nil
	}
	for _, part := range append(own, p) {
		if part.packed = p.packed; part.pointer == nil {
			table.record = append(table.record, part)
		}
	}
	if err := c.counts(path, table); err != nil || !p.packed {
		return err
	}
	c.packed(path+".stored", what, table)
	return nil
}

// packed keeps the bytes that the parts of a packed record can take in any image.
func (c *compiler) packed(path, what string, table *Table) {
	least := make([]int, len(table.Axes))
	for i, a := range table.Axes {
		if least[i] = a.Count; a.CountedAt() != nil {
			least[i] = 1
		}
	}
	for _, part := range table.record {
		if up := table.up(part.low(), least); up > 0 || len(part.most) > 1 { // else its cells stay where all of them were
			c.anywhere(path, what, part.low(), part.span(part.most), up)
		}
	}
	for i, behind := range table.behind {
		if count := table.counts[i]; behind != nil {
			at := c.lay.Space.Address(count.Offset)
			c.anywhere(path, c.call("the count of axis", table.Axes[i].ID), at, uint64(count.Bytes), table.up(at, least))
		}
	}
}

// anywhere keeps all bytes that can be taken by n bytes at an address which move up by so much.
func (c *compiler) anywhere(path, what string, low, n, up uint64) {
	for _, region := range c.lay.Space {
		if region.Start <= low && low < region.End {
			up = min(up, low-region.Start)
		}
	}
	at, _ := c.lay.Space.Offset(low - up)
	c.used = append(c.used, usedCells{path, what, &Cells{Offset: at, Bytes: 1, NX: int(n + up), NY: 1, StepX: 1, StepY: 1}})
}
