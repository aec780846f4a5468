package imported

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
)

// storedAt is one place of a row where values are stored.
type storedAt struct {
	stored *calibrationv1.Stored
	line   int
	column string
	cells  uint64
}

// stored are all of them, axes first.
func (s *sheet) stored() (all []storedAt) {
	count := func(a *calibrationv1.TableAxis) uint64 {
		if shared := s.axes[a.GetAxis()]; shared != nil {
			return uint64(max(int(shared.GetStored().GetCount()), len(shared.GetPoints())))
		}
		return uint64(max(int(a.GetStored().GetCount()), len(a.GetPoints())))
	}
	for _, a := range s.d.Axes {
		if a.Stored != nil {
			all = append(all, storedAt{a.Stored, s.shared[a.GetId()], "x_byte_order", uint64(a.Stored.GetCount())})
		}
	}
	for i, t := range s.d.Tables {
		if t.Stored == nil {
			t.Stored = &calibrationv1.Stored{} // the compiler says what is missing
		}
		cells := uint64(1)
		for k, a := range []*calibrationv1.TableAxis{t.X, t.Y} {
			if a == nil {
				continue
			}
			cells *= min(max(count(a), 1), maxPoints)
			if a.Stored != nil {
				all = append(all, storedAt{a.Stored, s.rows[i], []string{"x", "y"}[k] + "_byte_order", count(a)})
			}
		}
		if stride := uint64(t.Stored.GetStride()); stride > 0 {
			cells *= min(stride, 64)
		}
		all = append(all, storedAt{t.Stored, s.rows[i], "byte_order", min(cells, maxCells)})
	}
	return all
}

func imageLayout(regions []image.Range) *calibrationv1.ImageLayout {
	layout := &calibrationv1.ImageLayout{}
	for _, r := range regions {
		layout.Regions = append(layout.Regions, &calibrationv1.Region{Start: uint32(r.Start), Size: uint32(min(r.End, 1<<32-1) - r.Start)})
	}
	if len(layout.Regions) == 1 {
		layout.Start, layout.Size, layout.Regions = layout.Regions[0].Start, layout.Regions[0].Size, nil
	}
	return layout
}

// columnOf is the column of what the compiler calls tables[3].x.stored.count.
func columnOf(path string) string {
	_, inside, _ := strings.Cut(path, ".")
	if strings.HasPrefix(path, "axes") {
		inside = "x." + inside
	}
	for _, c := range columns {
		if c.path != "" && c.path == inside {
			return c.name
		}
	}
	return inside
}

func wholeOf(cell string) (uint64, error) {
	u, err := strconv.ParseUint(strings.TrimPrefix(cell, "+"), 0, 64)
	if err != nil || len(cell) > 1 && cell[0] == '0' && cell[1] >= '0' && cell[1] <= '9' || strings.Contains(cell, "_") {
		return 0, fmt.Errorf("%.60q is not a whole number", cell)
	}
	return u, nil
}

func decimalOf(cell string, comma bool) (float64, error) {
	if comma {
		cell = strings.Replace(cell, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) || strings.ContainsAny(cell, "xX_") {
		return 0, fmt.Errorf("%.60q is not a number", cell)
	}
	return v, nil
}

// SheetRows are the rows of a spreadsheet that Sheet reads back: a header, and a row a table. What a row cannot say is
// left out, and said.
func SheetRows(name string, d *calibrationv1.Definition) (rows [][]string, said []Said) {
	axes := map[string]*calibrationv1.Axis{}
	for _, a := range d.GetAxes() {
		axes[a.GetId()] = a
	}
	var tables []*calibrationv1.Table
	for _, t := range d.GetTables() {
		full := spread(d, t, axes)
		if lost := unsaid(full); lost != "" {
			said = append(said, Said{File: name, Object: t.GetId(), Why: "a row cannot say its " + lost})
			continue
		}
		tables = append(tables, full)
	}
	used := slices.Clone(columns)
	used = slices.DeleteFunc(used, func(c column) bool {
		return !slices.ContainsFunc(tables, func(t *calibrationv1.Table) bool { return cellOf(c, t) != "" })
	})
	var header []string
	for _, c := range used {
		header = append(header, c.name)
	}
	rows = append(rows, header)
	for _, t := range tables {
		var row []string
		for _, c := range used {
			row = append(row, cellOf(c, t))
		}
		rows = append(rows, row)
	}
	return rows, append(said, beyondTables(name, d)...)
}

// beyondTables says what of a definition no row has room for.
func beyondTables(name string, d *calibrationv1.Definition) (said []Said) {
	for _, part := range []struct {
		name  string
		given bool
	}{{"identity", len(d.GetIdentity()) > 0}, {"checksums", len(d.GetChecksums()) > 0}, {"volatile", len(d.GetVolatile()) > 0}, {"signals", len(d.GetSignals()) > 0},
		{"inputs", len(d.GetInputs()) > 0}, {"folders", len(d.GetFolders()) > 0}, {"segments", len(d.GetImage().GetSegments()) > 0}} {
		if part.given {
			said = append(said, Said{File: name, Object: part.name, Why: "rows are of tables alone"})
		}
	}
	named := map[string]bool{}
	for _, t := range d.GetTables() {
		for _, a := range []*calibrationv1.TableAxis{t.GetX(), t.GetY()} {
			named[a.GetAxis()] = true
		}
	}
	for _, a := range d.GetAxes() {
		if !named[a.GetId()] {
			said = append(said, Said{File: name, Object: a.GetId(), Why: "no table of two axes or fewer names the axis"})
		}
	}
	return said
}

// spread is a table with its shared axes and byte orders written out.
func spread(d *calibrationv1.Definition, t *calibrationv1.Table, axes map[string]*calibrationv1.Axis) *calibrationv1.Table {
	t = proto.Clone(t).(*calibrationv1.Table)
	order := func(s *calibrationv1.Stored) {
		if s != nil && s.GetByteOrder() == "" && sizes[s.GetType()] > 1 {
			s.ByteOrder = d.GetByteOrder()
		}
	}
	order(t.GetStored())
	for _, a := range []*calibrationv1.TableAxis{t.X, t.Y} {
		if shared := axes[a.GetAxis()]; shared != nil {
			a.Quantity, a.KnownAs, a.Unit, a.UnitText = shared.GetQuantity(), shared.GetKnownAs(), shared.GetUnit(), shared.GetUnitText()
			a.Stored, a.Conversion, a.Points, a.Index = proto.CloneOf(shared.GetStored()), shared.GetConversion(), shared.GetPoints(), shared.GetIndex()
			a.Labels, a.By, a.From = shared.GetLabels(), shared.GetBy(), shared.GetFrom()
		}
		order(a.GetStored())
	}
	return t
}

// cellOf is what a table holds in a column; a grid without axes has rows and columns.
func cellOf(c column, t *calibrationv1.Table) string {
	if c.path != "" {
		if side, _, ofAxis := strings.Cut(c.path, "."); ofAxis && (side == "x" && plainPlaces(t.GetX()) || side == "y" && plainPlaces(t.GetY())) {
			return ""
		}
		return c.cell(t)
	}
	a := t.GetX()
	if c.name == "rows" {
		a = t.GetY()
	}
	if !plainPlaces(a) {
		return ""
	}
	return strconv.Itoa(len(a.GetPoints()))
}

// plainPlaces are the breakpoints of a side that has no more than a length.
func plainPlaces(a *calibrationv1.TableAxis) bool {
	n := uint64(len(a.GetPoints()))
	return n > 1 && proto.Equal(a, &calibrationv1.TableAxis{Points: places(n), Index: true})
}

// unsaid names what of a table no column holds; empty for nothing.
func unsaid(t *calibrationv1.Table) string {
	back := &calibrationv1.Table{}
	for _, c := range columns {
		if c.path == "" {
			continue
		}
		if cell := c.cell(t); cell != "" {
			if _, err := c.read(back, cell, false); err != nil {
				return c.name
			}
		}
	}
	return differs(t.ProtoReflect(), back.ProtoReflect(), "")
}

// differs is the first field, in the order of numbers, that two messages do not have in common; empty for none.
func differs(a, b protoreflect.Message, path string) string {
	fields := a.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		at := strings.TrimPrefix(path+"."+string(fd.Name()), ".")
		switch {
		case a.Has(fd) && b.Has(fd) && fd.Message() != nil && !fd.IsList() && !fd.IsMap():
			if inside := differs(a.Get(fd).Message(), b.Get(fd).Message(), at); inside != "" {
				return inside
			}
		case a.Has(fd) != b.Has(fd) || a.Has(fd) && !a.Get(fd).Equal(b.Get(fd)):
			return at
		}
	}
	return ""
}
