package limits

import (
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
)

// tableType is what table(id) and base(id) give.
var tableType = types.NewOpaqueType("witnessmark.Table")

// handle is a table inside an expression.
type handle struct {
	e *evaluator
	f *face
}

func (h *handle) ConvertToNative(reflect.Type) (any, error) {
	return nil, fmt.Errorf("a table is no value by itself")
}
func (h *handle) ConvertToType(ref.Type) ref.Val {
	return types.NewErr("a table is no value by itself")
}
func (h *handle) Equal(ref.Val) ref.Val {
	return types.NewErr("tables are not compared as such; compare their min(), max(), at() or value()")
}
func (h *handle) Type() ref.Type { return tableType }
func (h *handle) Value() any     { return h.f }

// functions declares what expressions may call: table(id), base(id), and on them min(), max(), at(x), at(x, y) and so on,
// value() and the ends of the axes. Numbers are physical, in the table's own units; of a label table, raw.
func (e *evaluator) functions() []cel.EnvOption {
	open := func(name string, base bool) cel.EnvOption {
		return cel.Function(name, cel.Overload(name+"_string", []*cel.Type{cel.StringType}, tableType,
			cel.UnaryBinding(func(id ref.Val) ref.Val { return e.open(base || e.swap, string(id.(types.String))) })))
	}
	member := func(name string) cel.EnvOption {
		return cel.Function(name, cel.MemberOverload("table_"+name, []*cel.Type{tableType}, cel.DoubleType,
			cel.UnaryBinding(func(h ref.Val) ref.Val { return h.(*handle).call(name) })))
	}
	opts := []cel.EnvOption{open("table", false), open("base", true), member("min"), member("max"), member("value"), atFunction()}
	for _, name := range slices.Sorted(maps.Keys(axisEnds)) {
		opts = append(opts, member(name))
	}
	return opts
}

// axisEnds are the functions that give an end of an axis.
var axisEnds = map[string]struct {
	along string
	most  bool
}{"x_min": {"x", false}, "x_max": {"x", true}, "y_min": {"y", false}, "y_max": {"y", true}}

// atFunction takes whole numbers as well, so that at(3000) needs no point.
func atFunction() cel.EnvOption {
	var overloads []cel.FunctionOpt
	numbers := []*cel.Type{cel.DoubleType, cel.IntType}
	binding := cel.FunctionBinding(func(args ...ref.Val) ref.Val {
		var at []float64
		for _, a := range args[1:] {
			if a.Type() != types.DoubleType && a.Type() != types.IntType {
				return types.NewErr("at() takes numbers, not %s", a.Type().TypeName())
			}
			at = append(at, float64(a.ConvertToType(types.DoubleType).(types.Double)))
		}
		return args[0].(*handle).call("at", at...)
	})
	for n, args := 3, []*cel.Type{tableType, cel.DynType, cel.DynType}; n <= bounded.MaxInputs; n++ {
		args = append(args, cel.DynType)
		overloads = append(overloads, cel.MemberOverload(fmt.Sprintf("table_at_%d", n), slices.Clone(args), cel.DoubleType, binding))
	}
	for _, x := range numbers {
		overloads = append(overloads, cel.MemberOverload("table_at_"+x.String(), []*cel.Type{tableType, x}, cel.DoubleType, binding))
		for _, y := range numbers {
			overloads = append(overloads, cel.MemberOverload("table_at_"+x.String()+"_"+y.String(), []*cel.Type{tableType, x, y}, cel.DoubleType, binding))
		}
	}
	return cel.Function("at", overloads...)
}

// open reads a table, and notes that the expression looked at it.
func (e *evaluator) open(base bool, id string) ref.Val {
	f, err := e.read(base, id)
	switch {
	case err != nil:
		return types.WrapErr(err)
	case f == nil && base:
		return types.NewErr("the base has no table %q", id)
	case f == nil:
		return types.NewErr("the candidate has no table %q", id)
	}
	e.seen = append(e.seen, id)
	return &handle{e, f}
}

// call answers every function of a table.
func (h *handle) call(name string, at ...float64) ref.Val {
	if err := fits(h.f.t, name, len(at)); err != nil {
		return types.WrapErr(err)
	}
	var v float64
	switch name {
	case "value":
		v = h.f.number(0)
	case "at":
		var err error
		if v, err = h.f.at(at); err != nil {
			return types.WrapErr(err)
		}
	case "min", "max":
		v = h.f.extreme(name == "max")
	default:
		v = h.f.end(name)
	}
	if _, ofAxis := axisEnds[name]; !ofAxis && (h.f.empty() || v != v && name == "at" && h.f.off != nil) {
		return types.WrapErr(unjudged("table %s holds a code there that is no value", h.f.t.ID))
	}
	if !surface.Finite(v) && h.e.odd == "" {
		h.e.odd = h.f.t.ID
	}
	return types.Double(v)
}

// fits says whether a function makes sense for a table of this kind.
func fits(t *definition.Table, name string, args int) error {
	if end, ok := axisEnds[name]; ok && axisAlong(t, end.along) == nil {
		return fmt.Errorf("%s has no %s axis, whose end %s() is", t.ID, end.along, name)
	}
	axes := len(beyondY(t))
	for _, a := range axesOf(t) {
		if a != nil {
			axes++
		}
	}
	switch {
	case isText(t):
		return fmt.Errorf("%s is a text, which only frozen judges", t.ID)
	case name == "value" && axes > 0:
		return fmt.Errorf("value() is for a scalar, and %s is a %s; use min(), max() or at()", t.ID, t.Kind)
	case name == "at" && t.Cells.Conv.Labels != nil:
		return fmt.Errorf("%s holds labels, which have no value in between", t.ID)
	case name == "at" && args != axes:
		return fmt.Errorf("at() takes a number for each axis, and %s has %d of them, not %d", t.ID, axes, args)
	case name == "at" && (indexed(t.X) || indexed(t.Y)):
		return fmt.Errorf("%s has an index axis, which is never interpolated; use min() or max()", t.ID)
	}
	return nil
}

// at is the surface at a place along each axis; of an index axis beyond y one of its points.
func (f *face) at(place []float64) (float64, error) {
	if len(f.beyond) == 0 {
		if f.err != nil {
			return 0, f.err
		}
		return f.grid.At(place[0], append(place, 0)[1]), nil
	}
	all, _, err := f.solid()
	if err != nil {
		return 0, err
	}
	for i, a := range beyondY(f.t) {
		at := place[i+flat]
		if _, known := surface.PlaceExactly(all.Axes[i+flat], at); a.Index && !known {
			return 0, fmt.Errorf("%v is no point of the index axis %s of %s, which is never interpolated", at, nameOf(a), f.t.ID)
		}
	}
	return all.At(place...), nil
}

// number is a cell's value; of a label table, raw.
func (f *face) number(i int) float64 {
	if f.values == nil {
		return f.t.Cells.Number(f.bits[i])
	}
	return f.values[i]
}

// extreme is the smallest or largest cell that is a value, and what is no number if one of those is none. It is worked out once.
func (f *face) extreme(largest bool) float64 {
	if !f.ranged {
		f.ranged, f.least, f.most = true, math.Inf(1), math.Inf(-1)
		for i := range f.bits {
			if f.isOff(i) {
				continue
			}
			v := f.number(i)
			f.least, f.most = min(f.least, v), max(f.most, v)
		}
	}
	if largest {
		return f.most
	}
	return f.least
}

// end is the least or the greatest breakpoint of an axis, and what is no number if one is none.
func (f *face) end(name string) float64 {
	points := f.x
	if axisEnds[name].along == "y" {
		points = f.y
	}
	v := points[0]
	for _, p := range points {
		if axisEnds[name].most {
			v = max(v, p)
		} else {
			v = min(v, p)
		}
	}
	return v
}
