package imported

import (
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
)

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
	t = proto.CloneOf(t)
	order := func(s *calibrationv1.Stored) {
		if s != nil && s.GetByteOrder() == "" && definition.SizeOf(s.GetType()) > 1 {
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
