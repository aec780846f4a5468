package a2l

import (
	"fmt"
	"math"
	"strings"
)

// maxExpanded bounds the parts that instances have, and maxStructures how deep structures stand in each other.
const (
	maxExpanded   = 1 << 20
	maxStructures = 16
)

// structure is a type of several parts.
type structure struct {
	size  uint64
	parts []part
}

// part of a structure, or an instance: count of a type, one after another; 0 for one alone.
type part struct {
	Place
	name, title, of string
	at, count       uint64
}

// instance is of a type, and lies at an address.
type instance struct {
	part
	extension int64
	changed   bool // it says otherwise what its type says
}

func (r *reader) characteristicType(at Place) string {
	c := r.characteristicAt(at, false)
	return r.typed(at, c.Name, c)
}

func (r *reader) axisType(at Place) string {
	a := r.axisPtsAt(at, false)
	return r.typed(at, a.Name, a)
}

// otherType is of what is no table; instances of it are none either.
func (r *reader) otherType(at Place) string { return r.typed(at, r.word("the name"), nil) }

func (r *reader) typed(at Place, name string, t any) string {
	if r.once(at, "type", name) {
		r.types[name] = t
	}
	return name
}

func (r *reader) structureType(at Place) string {
	name := r.word("the name")
	r.text("the description")
	s := &structure{size: r.whole("the size", math.MaxUint32)}
	r.body(func(t token) {
		if t.text == "STRUCTURE_COMPONENT" {
			p := part{Place: t.Place, name: r.word("the component's name"), of: r.word("its type"), at: r.whole("its offset", math.MaxUint32)}
			r.body(func(t token) { r.array(&p, t) })
			s.parts = append(s.parts, p)
		}
	})
	return r.typed(at, name, s)
}

// array says how many there are of a part.
func (r *reader) array(p *part, t token) {
	if t.text != "MATRIX_DIM" {
		return
	}
	p.count = 1
	for _, n := range r.dims() {
		if p.count *= n; n > maxExpanded || p.count > maxExpanded {
			r.bad(t.Place, fmt.Sprintf("at most %d", maxExpanded), "%s: too many of it", p.name)
			return
		}
	}
}

func (r *reader) instance(at Place) string {
	i := &instance{part: part{Place: at, name: r.word("the name"), title: r.text("the description"), of: r.word("the type"), at: r.whole("the address", math.MaxUint32)}}
	r.body(func(t token) {
		switch t.text {
		case "ECU_ADDRESS_EXTENSION":
			i.extension = r.signed(t.text)
		case "OVERWRITE":
			i.changed = true
		default:
			r.array(&i.part, t)
		}
	})
	if r.fault == nil && i.changed {
		r.bad(at, "instances that are as their type says", "OVERWRITE is not read")
	}
	if r.once(at, "object", i.name) {
		r.instances = append(r.instances, i)
	}
	return i.name
}

// expand makes objects of instances, once all types are known.
func (r *reader) expand() {
	for _, i := range r.instances {
		if why := r.place(i, i.part, i.name, "", 0); why != "" {
			r.m.Faults = append(r.m.Faults, Fault{i.Place, "INSTANCE", i.name, why})
		}
	}
}

// place makes the objects of one part, whose structure is called around. The answer says why some of it is none.
func (r *reader) place(i *instance, p part, name, around string, depth int) (why string) {
	t, known := r.types[p.of]
	whole, isStructure := t.(*structure)
	switch r.expanded++; {
	case r.expanded > maxExpanded:
		return fmt.Sprintf("more than %d parts of structures", maxExpanded)
	case !known:
		return fmt.Sprintf("there is no type %.100s", p.of)
	case t == nil:
		return ""
	case depth > maxStructures:
		return fmt.Sprintf("structures stand too deep in each other; allowed: %d", maxStructures)
	case p.count > 1 && !isStructure:
		return fmt.Sprintf("%s: several of %.100s are not read; allowed: MATRIX_DIM in the type, or of structures", name, p.of)
	case !isStructure:
		return r.made(i, t, p, name, around)
	}
	for k := range max(p.count, 1) {
		inside := name
		if p.count > 0 {
			inside = fmt.Sprintf("%s[%d]", name, k)
		}
		for _, c := range whole.parts {
			at := c.at + p.at + k*whole.size
			c.at = at
			if w := r.place(i, c, inside+"."+c.name, inside, depth+1); why == "" {
				why = w
			}
			if r.expanded > maxExpanded {
				return why
			}
		}
	}
	return why
}

// made is the object that an instance of a characteristic or of breakpoints is.
func (r *reader) made(i *instance, t any, p part, name, around string) string {
	if p.at > math.MaxUint32 {
		return name + " lies beyond the address 0xffffffff"
	}
	if name != i.name {
		if _, twice := r.names["object "+name]; twice {
			return name + " is there already"
		}
		r.names["object "+name] = i.Place
	}
	switch t := t.(type) {
	case *Characteristic:
		c := *t
		c.Place, c.Name, c.Address, c.Extension = i.Place, name, p.at, i.extension
		if c.Title = t.Title; p.title != "" {
			c.Title = p.title
		}
		c.Axes = nil
		for _, a := range t.Axes {
			own := *a
			if beside, ok := strings.CutPrefix(a.Ref, "THIS."); ok {
				own.Ref = around + "." + beside
			}
			c.Axes = append(c.Axes, &own)
		}
		r.m.Characteristics = append(r.m.Characteristics, &c)
	case *AxisPts:
		a := *t
		a.Place, a.Name, a.Address, a.Extension = i.Place, name, p.at, i.extension
		r.m.AxisPts = append(r.m.AxisPts, &a)
	}
	return ""
}
