package definition

import (
	"cmp"
	"fmt"

	"google.golang.org/protobuf/reflect/protoreflect"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// axisSource is what a shared axis and one written out in place have in common.
type axisSource interface {
	GetId() string
	GetQuantity() string
	GetUnit() string
	GetUnitText() string
	GetKnownAs() string
	GetStored() *calibrationv1.Stored
	GetConversion() *calibrationv1.Conversion
	GetPoints() []float64
	GetLabels() []string
	GetIndex() bool
	GetFrom() string
	GetBy() *calibrationv1.AxisBy
}

func (c *compiler) sharedAxes() {
	c.shared, c.axisAt = map[string]*Axis{}, make(map[string]string, len(c.d.GetAxes())+len(c.d.GetTables()))
	for i, a := range c.d.GetAxes() {
		axis, err := c.axis(c.entry("axes", i), a.GetId(), a)
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
	axis := &Axis{ID: id, Quantity: a.GetQuantity(), Unit: a.GetUnit(), UnitText: a.GetUnitText(), KnownAs: a.GetKnownAs(), Index: a.GetIndex(), From: a.GetFrom()}
	switch {
	case axis.Unit != "" && axis.UnitText != "":
		return nil, c.at.Errorf(path+".unit_text", "unit or unit_text", "both are given")
	case axis.Quantity != "" && axis.Unit == "" && axis.UnitText == "" && len(a.GetLabels()) == 0:
		return nil, c.at.Errorf(path+".unit", `a UCUM code, "1" for a number without a unit`, "the unit is missing")
	case axis.Quantity == "" && axis.From != "":
		return nil, c.at.Errorf(path+".from", "from on an axis of a quantity", "the axis has none")
	}
	if by := a.GetBy(); by != nil {
		c.lookups = append(c.lookups, lookup{path + ".by.curve", by.GetCurve(), axis})
	}
	c.from(path, a.GetFrom(), axis)
	c.lay.Axes = append(c.lay.Axes, axis)
	given := make([]string, 0, 3)
	for _, source := range [...]struct {
		name  string
		given bool
	}{{"stored", a.GetStored() != nil}, {"points", len(a.GetPoints()) > 0}, {"labels", len(a.GetLabels()) > 0}} {
		if source.given {
			given = append(given, source.name)
		}
	}
	switch {
	case len(given) == 0:
		return nil, c.at.Errorf(path, "stored, points or labels", "the axis has no breakpoints")
	case len(given) > 1:
		return nil, c.at.Errorf(path+"."+given[1], "stored, points or labels", "%s is given too", given[0])
	case given[0] == "stored":
		return axis, c.storedAxis(path, a, axis)
	case a.GetConversion() != nil:
		return nil, c.at.Errorf(path+".conversion", "a conversion of stored breakpoints only", "%s are physical already", given[0])
	case given[0] == "points":
		return axis, c.fixed(path, a, axis)
	}
	return axis, c.labelled(path, a, axis)
}

// labelled makes an axis of names: places, numbered from 0.
func (c *compiler) labelled(path string, a axisSource, axis *Axis) error {
	if a.GetBy() != nil {
		return c.at.Errorf(path+".by", "by on an axis of numbers", "labels are no values of a curve")
	}
	axis.Labels, axis.Index, axis.Count = a.GetLabels(), true, len(a.GetLabels())
	if axis.Quantity != "" && axis.UnitText == "" {
		axis.Unit = cmp.Or(axis.Unit, "1")
	}
	if c.cells += uint64(axis.Count); c.cells > MaxCells {
		return c.tooMany(path + ".labels")
	}
	for i, label := range axis.Labels {
		if label == "" {
			return c.at.Errorf(fmt.Sprintf("%s.labels[%d]", path, i), "some text", "the label is empty")
		}
		axis.Points = append(axis.Points, float64(i))
	}
	return nil
}

func (c *compiler) fixed(path string, a axisSource, axis *Axis) error {
	if err := c.finite(path+".points", a.GetPoints()...); err != nil {
		return err
	}
	if c.cells += uint64(len(a.GetPoints())); c.cells > MaxCells {
		return c.tooMany(path + ".points")
	}
	axis.Points = a.GetPoints()
	if err := c.once(path+".points", axis.Points); err != nil {
		return err
	}
	axis.Count = len(axis.Points)
	return nil
}

// once asks that no point is given twice.
func (c *compiler) once(path string, points []float64) error {
	var first map[float64]int // made where the points do not simply rise
	for i, v := range points {
		switch {
		case first == nil && (i == 0 || v > points[i-1]):
			continue
		case first == nil:
			first = make(map[float64]int, len(points))
			for k, before := range points[:i] {
				first[before] = k
			}
		}
		if j, twice := first[v]; twice {
			return c.at.Errorf(fmt.Sprintf("%s[%d]", path, i), "each point once", "%v is already points[%d]", v, j)
		}
		first[v] = i
	}
	return nil
}

func (c *compiler) storedAxis(path string, a axisSource, axis *Axis) error {
	s, what := a.GetStored(), c.call("axis", axis.ID)
	if err := c.without(path+".stored", "codes and lengths of tables only", s, "not_a_value", "length"); err != nil {
		return err
	}
	if s.GetCount() == 0 || s.GetCount() > MaxCells {
		return c.at.Errorf(path+".stored.count", fmt.Sprintf("1 to %d breakpoints", MaxCells), "%d breakpoints", s.GetCount())
	}
	if len(a.GetConversion().GetLabels()) > 0 {
		return c.at.Errorf(path+".conversion.labels", "factor and offset, rational, or points", "breakpoints are numbers and cannot be labels")
	}
	p, cells, err := c.placed(path+".stored", what, s, shape{counts: []int{int(s.GetCount())}})
	if err != nil {
		return err
	}
	p.packed = s.GetLayout() == "packed" // alone; an axis in place packs with its table
	axis.Cells, axis.Count, axis.placed = cells, int(s.GetCount()), p
	if s.GetCountAt() != nil {
		if p.count, err = c.countAt(path+".stored.count_at", "the count of "+what, s.GetCountAt()); err != nil {
			return err
		}
	}
	err = c.conversion(path+".conversion", a.GetConversion(), cells)
	p.word.Conv = cells.Conv
	return err
}

func (c *compiler) countAt(path, what string, at *calibrationv1.CountAt) (*Cells, error) {
	if err := c.oneOf(path+".type", at.GetType(), "u8", "u16", "u32"); err != nil {
		return nil, err
	}
	return c.stored(path, what, &calibrationv1.Stored{Address: at.GetAddress(), Type: at.GetType(), ByteOrder: at.GetByteOrder()}, shape{})
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
	alone := true
	a.ProtoReflect().Range(func(fd protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
		alone = fd.Name() == "axis" || fd.Name() == "from"
		return alone
	})
	if !alone {
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
