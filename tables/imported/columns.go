package imported

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// column is one of a spreadsheet: what its header says, and the field of a table that it holds. Of a place in a grid
// without axes there is no field.
type column struct{ name, path string }

// axisColumns follow x_ and y_; axis names an axis that several tables share.
var axisColumns = []column{
	{"axis", "axis"}, {"known_as", "known_as"}, {"quantity", "quantity"}, {"unit", "unit"}, {"unit_text", "unit_text"}, {"address", "stored.address"}, {"type", "stored.type"}, {"count", "stored.count"},
	{"byte_order", "stored.byte_order"}, {"sign", "stored.sign"}, {"mask", "stored.mask"}, {"stride", "stored.stride"}, {"factor", "conversion.factor"}, {"offset", "conversion.offset"},
	{"points", "points"}, {"index", "index"},
}

// columns are all there are, in the order in which they are written.
var columns = func() []column {
	all := []column{
		{"id", "id"}, {"kind", "kind"}, {"encoding", "encoding"}, {"title", "title"}, {"known_as", "known_as"}, {"quantity", "quantity"}, {"role", "role"}, {"unit", "unit"}, {"unit_text", "unit_text"},
		{"address", "stored.address"}, {"type", "stored.type"}, {"length", "stored.length"}, {"byte_order", "stored.byte_order"}, {"sign", "stored.sign"}, {"mask", "stored.mask"}, {"stride", "stored.stride"},
		{"row_stride", "stored.row_stride"}, {"factor", "conversion.factor"}, {"offset", "conversion.offset"}, {"order", "order"}, {"copies", "copies"}, {"protects", "protects"}, {"rows", ""}, {"columns", ""},
	}
	for _, side := range []string{"x", "y"} {
		for _, c := range axisColumns {
			all = append(all, column{side + "_" + c.name, side + "." + c.path})
		}
	}
	return all
}()

func columnNamed(name string) (column, bool) {
	i := slices.IndexFunc(columns, func(c column) bool { return c.name == name })
	if i < 0 {
		return column{}, false
	}
	return columns[i], true
}

func columnNames() string {
	var names []string
	for _, c := range columns {
		names = append(names, c.name)
	}
	return strings.Join(names, ", ")
}

// field is where a path leads; make makes the messages on the way.
func field(m protoreflect.Message, path string, create bool) (protoreflect.Message, protoreflect.FieldDescriptor) {
	steps := strings.Split(path, ".")
	for _, step := range steps[:len(steps)-1] {
		fd := m.Descriptor().Fields().ByTextName(step)
		if !create && !m.Has(fd) {
			return nil, nil
		}
		m = m.Mutable(fd).Message()
	}
	return m, m.Descriptor().Fields().ByTextName(steps[len(steps)-1])
}

// cell is what a table holds in a column; empty for nothing.
func (c column) cell(t *calibrationv1.Table) string {
	m, fd := field(t.ProtoReflect(), c.path, false)
	if m == nil || !m.Has(fd) {
		return ""
	}
	v := m.Get(fd)
	switch {
	case fd.IsList():
		var all []string
		for i := range v.List().Len() {
			all = append(all, strconv.FormatFloat(v.List().Get(i).Float(), 'g', -1, 64))
		}
		return strings.Join(all, " ")
	case fd.Name() == "address" || fd.Name() == "mask":
		return fmt.Sprintf("0x%x", v.Uint())
	case fd.Kind() == protoreflect.DoubleKind:
		return strconv.FormatFloat(v.Float(), 'g', -1, 64)
	}
	return v.String()
}

// read gives a table what a cell says. comma says that it stands for a decimal point.
func (c column) read(t *calibrationv1.Table, cell string, comma bool) (allowed string, err error) {
	m, fd := field(t.ProtoReflect(), c.path, true)
	switch {
	case fd.IsList():
		for _, one := range strings.Fields(cell) {
			v, err := decimalOf(one, comma)
			if err != nil {
				return "numbers with blanks between", err
			}
			m.Mutable(fd).List().Append(protoreflect.ValueOfFloat64(v))
		}
	case fd.Kind() == protoreflect.StringKind:
		if oneLine(cell) != cell {
			return "text on one line", fmt.Errorf("%.60q is none", cell)
		}
		m.Set(fd, protoreflect.ValueOfString(cell))
	case fd.Kind() == protoreflect.BoolKind:
		yes := strings.EqualFold(cell, "true")
		if !yes && !strings.EqualFold(cell, "false") {
			return "true or false", fmt.Errorf("%.60q is neither", cell)
		}
		m.Set(fd, protoreflect.ValueOfBool(yes))
	case fd.Kind() == protoreflect.DoubleKind:
		v, err := decimalOf(cell, comma)
		if err != nil {
			return "a finite number", err
		}
		m.Set(fd, protoreflect.ValueOfFloat64(v))
	default:
		u, err := wholeOf(cell)
		if fd.Kind() == protoreflect.Uint32Kind && u > 1<<32-1 {
			err = fmt.Errorf("%.60q is too large", cell)
		}
		if err != nil {
			return "a whole number as in 256 or 0x100", err
		}
		if fd.Kind() == protoreflect.Uint32Kind {
			m.Set(fd, protoreflect.ValueOfUint32(uint32(u)))
		} else {
			m.Set(fd, protoreflect.ValueOfUint64(u))
		}
	}
	return "", nil
}
