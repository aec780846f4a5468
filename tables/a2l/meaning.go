package a2l

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

func (r *reader) method(at Place) string {
	m := &Method{Place: at, Name: r.word("the name")}
	r.text("the description")
	m.Type = r.oneOf("the kind of conversion", "IDENTICAL", "FORM", "LINEAR", "RAT_FUNC", "TAB_INTP", "TAB_NOINTP", "TAB_VERB")
	r.text("the format")
	m.Unit = r.text("the unit")
	r.body(func(t token) {
		switch t.text {
		case "COEFFS":
			m.Coeffs = r.coeffs(6)
		case "COEFFS_LINEAR":
			m.Coeffs = r.coeffs(2)
		case "COMPU_TAB_REF":
			m.Table = r.word(t.text)
		case "STATUS_STRING_REF":
			m.Status = r.word(t.text)
		case "FORMULA":
			m.Formula = r.text("the formula")
		}
	})
	if r.once(at, "method", m.Name) {
		r.m.Methods[m.Name] = m
	}
	return m.Name
}

func (r *reader) coeffs(n int) []string {
	all := make([]string, n)
	for i := range all {
		all[i] = r.written("a coefficient")
	}
	return all
}

func (r *reader) compuTab(at Place) string {
	return r.table(at, "COMPU_TAB", func() Row {
		in := r.float("a raw value")
		return Row{in, in, r.written("its value")}
	})
}

func (r *reader) verbal(at Place) string {
	return r.table(at, "COMPU_VTAB", func() Row {
		in := r.float("a raw value")
		return Row{in, in, r.text("its text")}
	})
}

func (r *reader) verbalRange(at Place) string {
	return r.table(at, "COMPU_VTAB_RANGE", func() Row {
		return Row{r.float("a lower end"), r.float("an upper end"), r.text("its text")}
	})
}

func (r *reader) table(at Place, block string, row func() Row) string {
	t := &Table{Place: at, Name: r.word("the name"), Block: block}
	r.text("the description")
	if block != "COMPU_VTAB_RANGE" {
		r.word("the kind of conversion")
	}
	for n := r.whole("the number of rows", math.MaxUint32); n > 0 && r.fault == nil && r.err == nil; n-- {
		t.Rows = append(t.Rows, row())
	}
	r.body(func(k token) {
		switch k.text {
		case "DEFAULT_VALUE":
			t.Default, t.HasDefault = r.text(k.text), block != "COMPU_TAB" // there it is a text where numbers are
		case "DEFAULT_VALUE_NUMERIC":
			t.Default, t.HasDefault = r.written(k.text), true
		}
	})
	if r.once(at, "table", t.Name) {
		r.m.Tables[t.Name] = t
	}
	return t.Name
}

// sides are the letters of axes at the end of a keyword.
const sides = "XYZ45"

var dataTypes = []string{"UBYTE", "SBYTE", "UWORD", "SWORD", "ULONG", "SLONG", "A_UINT64", "A_INT64", "FLOAT16_IEEE", "FLOAT32_IEEE", "FLOAT64_IEEE"}

func (r *reader) layout(at Place) string {
	l := &Layout{Place: at, Name: r.word("the name"), Align: Align{}}
	r.body(func(t token) {
		if border, isAlign := strings.CutPrefix(t.text, "ALIGNMENT_"); isAlign {
			l.Align[border] = r.border(t)
			return
		}
		what, axis := t.text, -1
		if n := len(what) - 2; n > 0 && what[n] == '_' {
			if axis = strings.IndexByte(sides, what[n+1]); axis >= 0 {
				what = what[:n]
			}
		}
		switch what {
		case "STATIC_RECORD_LAYOUT":
			l.Static = true
		case "STATIC_ADDRESS_OFFSETS":
			l.StaticAt = true
		case "FIX_NO_AXIS_PTS":
			if n := r.whole(t.text, math.MaxUint32); axis >= 0 {
				l.FixedCount[axis] = n
			}
		default:
			if e, known := r.element(t, what, axis); known {
				l.Elements = append(l.Elements, e)
			}
		}
	})
	slices.SortStableFunc(l.Elements, func(a, b Element) int { return cmp.Compare(a.Position, b.Position) })
	if r.once(at, "layout", l.Name) {
		r.m.Layouts[l.Name] = l
	}
	return l.Name
}

// element reads one part of a record; of what is no part known is false.
func (r *reader) element(t token, what string, axis int) (e Element, known bool) {
	e = Element{Place: t.Place, What: what, Axis: axis}
	switch what {
	case "FNC_VALUES", "AXIS_PTS", "AXIS_RESCALE", "NO_AXIS_PTS", "NO_RESCALE", "OFFSET", "DIST_OP", "SHIFT_OP", "SRC_ADDR", "RIP_ADDR", "RIP_ADDR_W", "IDENTIFICATION":
		e.Position, e.Type = r.whole("the position", math.MaxUint32), r.oneOf("the type", dataTypes...)
	case "RESERVED":
		e.Position, e.Type = r.whole("the position", math.MaxUint32), r.oneOf("the size", append([]string{"BYTE", "WORD", "LONG"}, dataTypes...)...)
	default:
		return e, false
	}
	switch what {
	case "AXIS_RESCALE":
		e.Most = r.whole("the most pairs", math.MaxUint32)
		fallthrough
	case "AXIS_PTS":
		e.Order, e.Address = r.oneOf("the order", "INDEX_INCR", "INDEX_DECR"), r.addressing()
	case "FNC_VALUES":
		e.Order = r.oneOf("the order", "ROW_DIR", "COLUMN_DIR", "ALTERNATE_CURVES", "ALTERNATE_WITH_X", "ALTERNATE_WITH_Y")
		e.Address = r.addressing()
	}
	return e, true
}

func (r *reader) addressing() string {
	return r.oneOf("the addressing", "DIRECT", "PBYTE", "PWORD", "PLONG", "PLONGLONG")
}

// border is an alignment: a power of two.
func (r *reader) border(t token) uint64 {
	n := r.whole(t.text, 1<<16)
	if r.fault == nil && (n == 0 || n&(n-1) != 0) {
		r.bad(t.Place, "1, 2, 4, 8 and so on", "%s: %d is no border", t.text, n)
	}
	return n
}
