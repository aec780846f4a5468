package a2l

import (
	"math"
	"strconv"

	"witnessmark/tables/yamldoc"
)

// objects are the blocks of a module that are read, each into an object with a name.
var objects = map[string]func(r *reader, at Place) (name string){
	"CHARACTERISTIC": (*reader).characteristic, "AXIS_PTS": (*reader).axisPts, "COMPU_METHOD": (*reader).method,
	"COMPU_TAB": (*reader).compuTab, "COMPU_VTAB": (*reader).verbal, "COMPU_VTAB_RANGE": (*reader).verbalRange,
	"RECORD_LAYOUT": (*reader).layout, "FUNCTION": (*reader).function, "GROUP": (*reader).group,
	"INSTANCE": (*reader).instance, "TYPEDEF_CHARACTERISTIC": (*reader).characteristicType, "TYPEDEF_AXIS": (*reader).axisType, "TYPEDEF_STRUCTURE": (*reader).structureType,
	"TYPEDEF_MEASUREMENT": (*reader).otherType, "TYPEDEF_BLOB": (*reader).otherType, "BLOB": (*reader).untold,
}

// module reads a MODULE up to its end.
func (r *reader) module(m *Module) {
	r.m, r.names, r.types, r.instances = m, map[string]Place{}, map[string]any{}, nil
	m.Name, m.Title = r.word("the module's name"), r.text("its description")
	if r.fault != nil {
		r.err = r.fault
		return
	}
	r.body(func(t token) {
		if t.kind != begin {
			return
		}
		depth := len(r.blocks) - 1
		switch t.text {
		case "MOD_COMMON":
			r.common()
		case "MOD_PAR":
			r.parameters()
		case "VARIANT_CODING":
			r.variants()
		default:
			if read := objects[t.text]; read != nil {
				r.object(t, read)
			}
		}
		if r.fault != nil && r.err == nil {
			r.err = r.fault // of what holds for all objects
		}
		r.close(depth)
	})
	r.expand()
}

// object reads one; what is wrong with it is kept with the module.
func (r *reader) object(t token, read func(r *reader, at Place) string) {
	name := read(r, t.Place)
	if f := r.fault; f != nil {
		r.m.Faults = append(r.m.Faults, Fault{Place{f.File, f.Line}, t.text, name, yamldoc.What(f)})
	}
	r.fault = nil
}

// once says whether a name of a kind comes for the first time, and faults the object where not.
func (r *reader) once(at Place, space, name string) bool {
	if r.fault != nil || r.err != nil {
		return false
	}
	if first, twice := r.names[space+" "+name]; twice {
		r.bad(at, "each name once", "it is there already, at %s:%d", first.File, first.Line)
		return false
	}
	r.names[space+" "+name] = at
	return true
}

// untold is of a kind that is not read.
func (r *reader) untold(at Place) string {
	name := r.word("the name")
	r.bad(at, "CHARACTERISTIC, AXIS_PTS and INSTANCE", "objects of this kind are not read")
	return name
}

// limits are two physical numbers.
func (r *reader) limits() (lower, upper float64) {
	return r.float("the lower limit"), r.float("the upper limit")
}

func (r *reader) unit() Unit { return Unit{true, r.text("the unit")} }

func (r *reader) characteristic(at Place) string {
	c := r.characteristicAt(at, true)
	if r.once(at, "object", c.Name) {
		r.m.Characteristics = append(r.m.Characteristics, c)
	}
	return c.Name
}

// characteristicAt reads one that has an address, or the type of such.
func (r *reader) characteristicAt(at Place, placed bool) *Characteristic {
	c := &Characteristic{Place: at, Name: r.word("the name"), Title: r.text("the description")}
	c.Type = r.oneOf("the type", "VALUE", "CURVE", "MAP", "CUBOID", "CUBE_4", "CUBE_5", "VAL_BLK", "ASCII")
	if placed {
		c.Address = r.whole("the address", math.MaxUint32)
	}
	c.Layout = r.word("the record layout")
	r.number("the largest difference")
	c.Method = r.word("the conversion")
	c.Lower, c.Upper = r.limits()
	r.body(func(t token) {
		switch t.text {
		case "AXIS_DESCR":
			c.Axes = append(c.Axes, r.axisDescr(t.Place))
		case "BIT_MASK":
			mask := r.whole(t.text, math.MaxUint64)
			c.Mask = &mask
		case "BYTE_ORDER":
			c.ByteOrder = r.word(t.text)
		case "ECU_ADDRESS_EXTENSION":
			c.Extension = r.signed(t.text)
		case "ENCODING":
			c.Encoding = r.word(t.text)
		case "PHYS_UNIT":
			c.Unit = r.unit()
		case "NUMBER":
			if n := r.whole(t.text, math.MaxUint32); c.Dims == nil {
				c.Dims = []uint64{n}
			}
		case "MATRIX_DIM":
			c.Dims = r.dims()
		case "FUNCTION_LIST":
			c.Functions = append(c.Functions, r.list()...)
		case "VIRTUAL_CHARACTERISTIC":
			c.Virtual = &Formula{r.text("the formula"), r.list()}
		case "DEPENDENT_CHARACTERISTIC":
			c.Dependent = &Formula{r.text("the formula"), r.list()}
		}
	})
	return c
}

// dims are the numbers that follow, of dimensions.
func (r *reader) dims() (all []uint64) {
	for r.fault == nil && r.peek().kind == word && r.peek().text[0] >= '0' && r.peek().text[0] <= '9' {
		all = append(all, r.whole("a dimension", math.MaxUint32))
	}
	return all
}

func (r *reader) axisDescr(at Place) *AxisDescr {
	a := &AxisDescr{Place: at, Kind: r.oneOf("the kind of axis", "STD_AXIS", "COM_AXIS", "FIX_AXIS", "RES_AXIS", "CURVE_AXIS")}
	a.Input, a.Method, a.Most = r.word("the input quantity"), r.word("the conversion"), r.whole("the most breakpoints", math.MaxUint32)
	r.limits()
	r.body(func(t token) {
		switch t.text {
		case "AXIS_PTS_REF", "CURVE_AXIS_REF":
			a.Ref = r.word(t.text)
		case "BYTE_ORDER":
			a.ByteOrder = r.word(t.text)
		case "DEPOSIT":
			a.Deposit = r.word(t.text)
		case "PHYS_UNIT":
			a.Unit = r.unit()
		case "FIX_AXIS_PAR":
			a.Fixed = Fixed{Given: true, Offset: r.written("the offset")}
			shift := max(min(r.signed("the shift"), 60), -60) // far beyond any type
			a.Fixed.Gap = strconv.FormatFloat(math.Ldexp(1, int(shift)), 'f', -1, 64)
			a.Fixed.Count = r.whole("the number of breakpoints", math.MaxUint32)
		case "FIX_AXIS_PAR_DIST":
			a.Fixed = Fixed{Given: true, Offset: r.written("the offset"), Gap: r.written("the distance"), Count: r.whole("the number of breakpoints", math.MaxUint32)}
		case "FIX_AXIS_PAR_LIST":
			a.Fixed = Fixed{Given: true}
			for r.fault == nil && r.peek().kind == word {
				a.Fixed.List = append(a.Fixed.List, r.written("a breakpoint"))
			}
		}
	})
	return a
}

func (r *reader) axisPts(at Place) string {
	a := r.axisPtsAt(at, true)
	if r.once(at, "object", a.Name) {
		r.m.AxisPts = append(r.m.AxisPts, a)
	}
	return a.Name
}

func (r *reader) axisPtsAt(at Place, placed bool) *AxisPts {
	a := &AxisPts{Place: at, Name: r.word("the name")}
	r.text("the description")
	if placed {
		a.Address = r.whole("the address", math.MaxUint32)
	}
	a.Input, a.Layout = r.word("the input quantity"), r.word("the record layout")
	r.number("the largest difference")
	a.Method, a.Most = r.word("the conversion"), r.whole("the most breakpoints", math.MaxUint32)
	r.limits()
	r.body(func(t token) {
		switch t.text {
		case "BYTE_ORDER":
			a.ByteOrder = r.word(t.text)
		case "DEPOSIT":
			a.Deposit = r.word(t.text)
		case "PHYS_UNIT":
			a.Unit = r.unit()
		case "ECU_ADDRESS_EXTENSION":
			a.Extension = r.signed(t.text)
		}
	})
	return a
}

func (r *reader) function(at Place) string { return r.belonging(at, "FUNCTION") }
func (r *reader) group(at Place) string    { return r.belonging(at, "GROUP") }

func (r *reader) belonging(at Place, block string) string {
	g := &Group{Place: at, Block: block, Name: r.word("the name"), Title: r.text("the description")}
	r.body(func(t token) {
		switch t.text {
		case "DEF_CHARACTERISTIC", "REF_CHARACTERISTIC":
			g.Objects = append(g.Objects, r.list()...)
		case "SUB_FUNCTION", "SUB_GROUP":
			g.Inside = append(g.Inside, r.list()...)
		}
	})
	if r.once(at, block, g.Name) {
		r.m.Groups = append(r.m.Groups, g)
	}
	return g.Name
}
