package imported

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/yamldoc"
)

// sheet is a spreadsheet under way.
type sheet struct {
	file   string
	o      Options
	comma  bool // numbers have one
	header []column
	d      *calibrationv1.Definition
	rows   []int          // lines of the tables
	shared map[string]int // lines where axes are first written
	axes   map[string]*calibrationv1.Axis
	used   []image.Range
}

// Sheet imports a spreadsheet of one row a table, under a header that says which columns there are. name is what errors
// call the file, called the definition's name. Every error is a *yamldoc.Error and names row and column.
func Sheet(name, called string, file []byte, o Options) (*calibrationv1.Definition, error) {
	s := &sheet{file: name, o: o, d: &calibrationv1.Definition{Name: Name(called)}, shared: map[string]int{}, axes: map[string]*calibrationv1.Axis{}}
	if err := o.patterns(); err != nil {
		return nil, err
	}
	in := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(file, []byte("\ufeff"))))
	in.Comma = divider(file)
	in.FieldsPerRecord = -1
	s.comma = in.Comma == ';'
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			line, _ := in.FieldPos(0)
			err = s.row(line, cells)
		} else if p := (*csv.ParseError)(nil); errors.As(err, &p) {
			err = s.wrong(p.Line, "", "", "is no CSV: %v", p.Err)
		}
		if err != nil {
			return nil, err
		}
	}
	if len(s.d.Tables) == 0 {
		return nil, s.wrong(0, "", "a header, and a row for each table", "there is no table")
	}
	return s.d, s.finish()
}

func (s *sheet) wrong(line int, column, allowed, format string, args ...any) error {
	return &yamldoc.Error{File: s.file, Line: line, Path: column, Problem: fmt.Sprintf(format, args...), Allowed: allowed}
}

// divider is what stands between columns in the header.
func divider(file []byte) rune {
	header, _, _ := bytes.Cut(file, []byte("\n"))
	for _, c := range []rune{';', '\t'} {
		if bytes.ContainsRune(header, c) && !bytes.ContainsRune(header, ',') {
			return c
		}
	}
	return ','
}

func (s *sheet) row(line int, cells []string) error {
	for i, cell := range cells {
		cells[i] = strings.TrimSpace(strings.TrimPrefix(cell, "'")) // which keeps spreadsheets from running it
	}
	if s.header == nil {
		return s.columns(line, cells)
	}
	if !slices.ContainsFunc(cells, func(c string) bool { return c != "" }) {
		return nil
	}
	t := &calibrationv1.Table{}
	var sides [2]uint64 // columns and rows of a grid without axes
	for i, cell := range cells {
		if i >= len(s.header) {
			if cell != "" {
				return s.wrong(line, "", fmt.Sprintf("%d columns, as the header has", len(s.header)), "%.60q stands in column %d", cell, i+1)
			}
			continue
		}
		c := s.header[i]
		if cell == "" {
			continue
		}
		allowed, err := "1 to 65536", error(nil)
		switch n := &sides[0]; {
		case c.path != "":
			allowed, err = c.read(t, cell, s.comma)
		case c.name == "rows":
			n = &sides[1]
			fallthrough
		default:
			if *n, err = wholeOf(cell); err == nil && (*n == 0 || *n > maxPoints) {
				err = fmt.Errorf("%d", *n)
			}
		}
		if err != nil {
			return s.wrong(line, c.name, allowed, "%v", err)
		}
	}
	return s.table(line, t, sides)
}

// columns reads the header.
func (s *sheet) columns(line int, cells []string) error {
	for _, name := range cells {
		c, known := columnNamed(strings.ToLower(name))
		if !known {
			return s.wrong(line, "", columnNames(), "no column is called %.60q", name)
		}
		if slices.Contains(s.header, c) {
			return s.wrong(line, c.name, "each column once", "it is there twice")
		}
		s.header = append(s.header, c)
	}
	return nil
}

// table completes a row's table: what is missing takes its default.
func (s *sheet) table(line int, t *calibrationv1.Table, sides [2]uint64) error {
	if !slices.ContainsFunc(s.header, func(c column) bool { return c.name == "id" }) {
		t.Id = fmt.Sprintf("table_%d", len(s.d.Tables)+1)
	}
	if t.GetUnit() != "" {
		t.Unit, t.UnitText = unitOf(t.GetUnit())
	} else if t.GetUnitText() == "" && t.GetKind() == "" {
		t.Unit = "1"
	}
	for i, to := range []**calibrationv1.TableAxis{&t.X, &t.Y} {
		switch {
		case *to != nil && sides[i] > 0:
			return s.wrong(line, []string{"columns", "rows"}[i], "an axis, or how many cells there are", "both are given")
		case *to != nil:
			a, err := s.axis(line, []string{"x", "y"}[i], *to)
			if err != nil {
				return err
			}
			*to = a
		case sides[i] > 1:
			*to = &calibrationv1.TableAxis{Points: places(sides[i]), Index: true}
		}
	}
	if t.X == nil && t.Y != nil && len(t.Y.GetPoints()) > 0 && t.Y.GetIndex() { // a column
		t.X, t.Y = t.Y, nil
	}
	s.d.Tables, s.rows = append(s.d.Tables, t), append(s.rows, line)
	return nil
}

// axis is one written out, or one that the rows of several tables share.
func (s *sheet) axis(line int, side string, a *calibrationv1.TableAxis) (*calibrationv1.TableAxis, error) {
	if a.GetUnit() != "" {
		a.Unit, a.UnitText = unitOf(a.GetUnit())
	} else if a.GetQuantity() != "" && a.GetUnitText() == "" {
		a.Unit = "1"
	}
	id := a.GetAxis()
	if id == "" {
		return a, nil
	}
	full := &calibrationv1.Axis{Id: id, KnownAs: a.GetKnownAs(), Quantity: a.GetQuantity(), Unit: a.GetUnit(), UnitText: a.GetUnitText(), Stored: a.GetStored(), Conversion: a.GetConversion(), Points: a.GetPoints(), Index: a.GetIndex()}
	first := s.axes[id]
	alone := proto.Equal(full, &calibrationv1.Axis{Id: id})
	switch {
	case first == nil:
		s.axes[id], s.shared[id] = full, line
		s.d.Axes = append(s.d.Axes, full)
	case !alone && !proto.Equal(first, full):
		return nil, s.wrong(line, side+"_axis", "the same columns, or none but its id", "axis %.60q is written otherwise in line %d", id, s.shared[id])
	}
	return &calibrationv1.TableAxis{Axis: id}, nil
}

// finish gives the definition its byte order and the addresses that its tables lie at, and has it compiled.
func (s *sheet) finish() error {
	s.keepWanted()
	if len(s.d.Tables) == 0 {
		return s.wrong(0, "", "the patterns of ids that are there", "there is no table of such a name")
	}
	all := s.stored()
	s.d.ByteOrder = s.o.ByteOrder
	for i := 0; i < len(all) && s.d.ByteOrder == ""; i++ {
		s.d.ByteOrder = all[i].stored.GetByteOrder()
	}
	for _, x := range all {
		size := definition.SizeOf(x.stored.GetType())
		switch {
		case size == 0: // no type, or none that is known: the compiler says so
		case size == 1:
			x.stored.ByteOrder = ""
		case x.stored.GetByteOrder() == "" && s.o.ByteOrder == "":
			return s.wrong(x.line, x.column, "big or little there, or --byte-order", "the byte order is missing")
		case x.stored.GetByteOrder() == s.d.ByteOrder:
			x.stored.ByteOrder = ""
		}
		start := uint64(x.stored.GetAddress())
		s.used = append(s.used, image.Range{Start: start, End: start + max(x.cells*max(size, 1), uint64(x.stored.GetLength()))})
	}
	if s.d.ByteOrder == "" {
		s.d.ByteOrder = "big" // single bytes have none
	}
	s.d.Image = imageLayout(regionsAround(s.used, s.o.Held))
	_, err := definition.Compile(s.file, nil, s.d)
	var e *yamldoc.Error
	if !errors.As(err, &e) {
		return err
	}
	switch list, i := yamldoc.Entry(e); {
	case i < 0:
	case list == "tables":
		e.Line = s.rows[i]
	case list == "axes":
		e.Line = s.shared[s.d.Axes[i].GetId()]
	}
	e.Path = columnOf(e.Path)
	return e
}

// keepWanted leaves out the tables that were not asked for, and the axes that they alone use: a row may name an axis that one
// of them describes.
func (s *sheet) keepWanted() {
	if len(s.o.Only) == 0 {
		return
	}
	tables, rows := s.d.Tables, s.rows
	s.d.Tables, s.rows = nil, nil
	used := map[string]bool{}
	for i, t := range tables {
		if s.o.wanted(t.GetId()) || s.o.wanted(t.GetKnownAs()) {
			s.d.Tables, s.rows = append(s.d.Tables, t), append(s.rows, rows[i])
			used[t.GetX().GetAxis()], used[t.GetY().GetAxis()] = true, true
		}
	}
	s.d.Axes = slices.DeleteFunc(s.d.Axes, func(a *calibrationv1.Axis) bool { return !used[a.GetId()] })
}
