package signal

import (
	"slices"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/formula"
	"witnessmark/tables/units"
)

// minus is what one function has over another. Its enclosure is worked out part by part.
type minus struct{ a, b, parts *Function }

// Minus is a less b, which are of one space. What the two have in common is left out of the enclosure, so that it neither
// widens that nor counts among the inputs.
func Minus(a, b *Function) *Function {
	parts := less(a, b)
	f := a.space.function(&minus{a, b, parts}, a, b, parts)
	f.depends = parts.depends
	return f
}

func (o *minus) at(c *Box, p *Point) float64 {
	a, b := o.a.at(c, p), o.b.at(c, p)
	if a != a && b != b {
		return 0
	}
	return a - b
}

func (o *minus) over(c, b *Box, out *bounded.Bounds) { *out = *o.parts.over(c, b) }

// DependsOn says whether the value can differ along an input, by its number.
func (f *Function) DependsOn(input int) bool { return f.depends>>input&1 == 1 }

// less is a function for its enclosure alone.
func less(a, b *Function) *Function {
	s := a.space
	if same(a, b) {
		return s.Number(0)
	}
	switch x := a.op.(type) {
	case *level:
		if y, ok := b.op.(*level); ok && x.by == y.by {
			return less(x.of, y.of).In(units.Converter{Factor: x.by.Factor})
		}
	case *choose:
		if y, ok := b.op.(*choose); ok && sameCondition(x.when, y.when) {
			return choice(x.when, less(x.yes, y.yes), less(x.no, y.no))
		}
	case *lookup:
		if y, ok := b.op.(*lookup); ok && x.x.same(&y.x) && x.y.same(&y.y) {
			return s.lookup(x.grid.Less(y.grid), x.x, x.y, new(bool))
		}
	case *deep:
		if y, ok := b.op.(*deep); ok && sameAll(x.along, y.along) {
			return s.deep(x.solid.Less(y.solid), x.along, new(bool), nil)
		}
	case *pair:
		if y, ok := b.op.(*pair); ok && x.kind == y.kind {
			return x.less(y, b)
		}
	}
	return Apply(formula.Sub, a, b)
}

// less is the difference of two pairs, b being the function of y.
func (o *pair) less(y *pair, b *Function) *Function {
	da, db := less(o.a, y.a), less(o.b, y.b)
	switch o.kind {
	case formula.Add, formula.Sub:
		return sum(o.kind, da, db)
	case formula.Mul:
		return sum(formula.Add, product(o.a, db), product(y.b, da))
	case formula.Div:
		return Apply(formula.Div, sum(formula.Sub, da, product(b, db)), o.b)
	}
	f := o.a.space.function(&outer{o, y, da, db}, da, db, o.a, o.b)
	f.goesBy |= y.a.goesBy | y.b.goesBy
	return f
}

// sum and product leave out what is nothing.
func sum(kind formula.Kind, a, b *Function) *Function {
	switch {
	case nothing(b):
		return a
	case nothing(a) && kind == formula.Add:
		return b
	}
	return Apply(kind, a, b)
}

func product(a, b *Function) *Function {
	if nothing(b) {
		return b
	}
	return Apply(formula.Mul, a, b)
}

func nothing(f *Function) bool { return f.op == operation(number(0)) }

// outer is the difference of two least or two greatest values: it lies between what their parts differ by.
type outer struct {
	now, was *pair
	da, db   *Function
}

func (o *outer) at(c *Box, p *Point) float64 { return o.now.at(c, p) - o.was.at(c, p) }

func (o *outer) over(c, b *Box, out *bounded.Bounds) {
	l, r := o.da.over(c, b), o.db.over(c, b)
	switch first, second := o.now.picks(c, b), o.was.picks(c, b); {
	case first == second && first < 0:
		*out = *l
	case first == second && first > 0:
		*out = *r
	default:
		o.either(c, b, first, second, out)
	}
}

// either is over where it is not known which is taken. Almost everywhere each image takes one of its two, so that the slope is one of
// four differences, of which those that cannot be are left out.
func (o *outer) either(c, b *Box, first, second int, out *bounded.Bounds) {
	l, r := o.da.over(c, b), o.db.over(c, b)
	hull(l, r, out)
	out.Undefined = l.Undefined || r.Undefined
	out.Smooth = !out.Undefined
	any := false
	add := func(d *bounded.Bounds) {
		for i := range d.Slope {
			if any {
				out.Slope[i] = out.Slope[i].Hull(d.Slope[i])
			} else {
				out.Slope[i] = d.Slope[i]
			}
		}
		any, out.Inputs, out.Smooth = true, out.Inputs|d.Inputs, out.Smooth && d.Smooth && !d.Undefined
	}
	if first <= 0 && second <= 0 {
		add(l)
	}
	if first >= 0 && second >= 0 {
		add(r)
	}
	if first <= 0 && second >= 0 {
		d := o.now.a.over(c, b).Sub(o.was.b.over(c, b))
		add(&d)
	}
	if first >= 0 && second <= 0 {
		d := o.now.b.over(c, b).Sub(o.was.a.over(c, b))
		add(&d)
	}
}

// picks is -1 where the first one is taken all over a box, 1 where the second is, else 0.
func (o *pair) picks(c, b *Box) int {
	l, r := o.a.over(c, b), o.b.over(c, b)
	least := o.kind == formula.Min
	switch {
	case l.Undefined || r.Undefined:
		return 0
	case least && l.Hi <= r.Lo, !least && l.Lo >= r.Hi:
		return -1
	case least && r.Hi <= l.Lo, !least && r.Lo >= l.Hi:
		return 1
	}
	return 0
}

// same says that two functions of a space are one, whatever the image that they were looked up in.
func same(a, b *Function) bool {
	if a == b || a.op == b.op {
		return true
	}
	switch x := a.op.(type) {
	case *level:
		y, ok := b.op.(*level)
		return ok && x.by == y.by && same(x.of, y.of)
	case *choose:
		y, ok := b.op.(*choose)
		return ok && sameCondition(x.when, y.when) && same(x.yes, y.yes) && same(x.no, y.no)
	case *lookup:
		y, ok := b.op.(*lookup)
		return ok && x.x.same(&y.x) && x.y.same(&y.y) && alike(x.grid.Values, y.grid.Values)
	case *deep:
		y, ok := b.op.(*deep)
		return ok && sameAll(x.along, y.along) && alike(x.solid.Values, y.solid.Values)
	case *rational:
		y, ok := b.op.(*rational)
		return ok && sameQuotient(x.conv, y.conv) && same(x.raw, y.raw)
	case *pointwise:
		y, ok := b.op.(*pointwise)
		return ok && SamePoints(x.conv, y.conv) && same(x.raw, y.raw)
	case *pair:
		y, ok := b.op.(*pair)
		return ok && x.kind == y.kind && same(x.a, y.a) && same(x.b, y.b)
	}
	return false
}

func sameQuotient(a, b *definition.Conversion) bool { return a.Num == b.Num && a.Den == b.Den }

func (k *coordinate) same(l *coordinate) bool {
	if k.of == nil || l.of == nil {
		return k.of == l.of
	}
	return k.index == l.index && alike(k.axis, l.axis) && same(k.of, l.of)
}

func sameAll(a, b []coordinate) bool {
	return slices.EqualFunc(a, b, func(k, l coordinate) bool { return k.same(&l) })
}

// alike takes two that are no numbers for one.
func alike(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(v, w float64) bool { return v == w || v != v && w != w })
}

func sameCondition(a, b condition) bool {
	switch x := a.(type) {
	case *compare:
		y, ok := b.(*compare)
		return ok && x.kind == y.kind && same(x.a, y.a) && same(x.b, y.b)
	case *cellwise:
		y, ok := b.(*cellwise)
		return ok && x.kind == y.kind && x.in == y.in && x.than == y.than && x.right == y.right
	case *and:
		y, ok := b.(*and)
		return ok && sameCondition(x.a, y.a) && sameCondition(x.b, y.b)
	case *not:
		y, ok := b.(*not)
		return ok && sameCondition(x.of, y.of)
	}
	return false
}
