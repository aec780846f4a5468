package signal

import (
	"math"

	"witnessmark/tables/bounded"
	"witnessmark/tables/formula"
)

// truth is what a condition is over a box: one, the other, or both; and whether somewhere it is neither.
type truth struct{ yes, no, undefined bool }

type condition interface {
	at(c *Box, p *Point) truth
	over(c, b *Box) truth
	operands() []*Function
}

type choose struct {
	when    condition
	asks    []*Function // what the condition compares
	yes, no *Function
}

// Choose is one function where a comparison of two (Less, LessEqual, Greater, GreaterEqual, Equal or NotEqual) holds,
// and another where it does not. All are of one space.
func Choose(kind formula.Kind, a, b, yes, no *Function) *Function {
	return choice(comparison(kind, a, b), yes, no)
}

func choice(when condition, yes, no *Function) *Function {
	asks := when.operands()
	return yes.space.function(&choose{when, asks, yes, no}, append(asks[:len(asks):len(asks)], yes, no)...)
}

func (o *choose) at(c *Box, p *Point) float64 {
	switch t := o.when.at(c, p); {
	case t.undefined:
		return math.NaN()
	case t.yes:
		return o.yes.at(c, p)
	}
	return o.no.at(c, p)
}

func (o *choose) over(c, b *Box, out *bounded.Bounds) {
	t := o.when.over(c, b)
	switch {
	case !t.no:
		*out = *o.yes.over(c, b)
	case !t.yes:
		*out = *o.no.over(c, b)
	default:
		hull(o.yes.over(c, b), o.no.over(c, b), out)
		for _, f := range o.asks {
			out.Inputs |= f.over(c, b).Inputs
		}
	}
	out.Undefined = out.Undefined || t.undefined
}

// comparison of an input with a number makes a step there, and is decided by the cell.
func comparison(kind formula.Kind, a, b *Function) condition {
	if d, ok := b.op.(*direct); ok {
		if _, both := a.op.(*direct); !both {
			return beside(kind, true, d, b, a)
		}
	}
	if d, ok := a.op.(*direct); ok {
		return beside(kind, false, d, a, b)
	}
	return &compare{kind, a, b}
}

type compare struct {
	kind formula.Kind
	a, b *Function
}

func (o *compare) operands() []*Function { return []*Function{o.a, o.b} }

func (o *compare) at(c *Box, p *Point) truth {
	a, b := o.a.at(c, p), o.b.at(c, p)
	if a != a || b != b {
		return truth{undefined: true}
	}
	yes := holds(o.kind, a, b)
	return truth{yes: yes, no: !yes}
}

func holds(kind formula.Kind, a, b float64) bool {
	switch kind {
	case formula.Less:
		return a < b
	case formula.LessEqual:
		return a <= b
	case formula.Greater:
		return a > b
	case formula.GreaterEqual:
		return a >= b
	case formula.Equal:
		return a == b
	}
	return a != b
}

func (o *compare) over(c, b *Box) truth {
	l, r := o.a.over(c, b).Interval, o.b.over(c, b).Interval
	t := truth{yes: true, no: true, undefined: l.Undefined || r.Undefined}
	switch o.kind {
	case formula.Less:
		t.yes, t.no = l.Lo < r.Hi, l.Hi >= r.Lo
	case formula.LessEqual:
		t.yes, t.no = l.Lo <= r.Hi, l.Hi > r.Lo
	case formula.Greater:
		t.yes, t.no = l.Hi > r.Lo, l.Lo <= r.Hi
	case formula.GreaterEqual:
		t.yes, t.no = l.Hi >= r.Lo, l.Lo < r.Hi
	case formula.Equal, formula.NotEqual:
		t.yes = l.Lo <= r.Hi && r.Lo <= l.Hi
		t.no = !(l.Lo == l.Hi && r.Lo == r.Hi && l.Lo == r.Lo)
		if o.kind == formula.NotEqual {
			t.yes, t.no = t.no, t.yes
		}
	}
	return t
}

// cellwise compares an input with a number, on the side of it that the cell is on.
type cellwise struct {
	compare
	in    int
	than  float64 // in the input's own unit
	right bool    // the input stands on the right
}

// beside makes the step of an input at a number; where the other side is none, it is compared point by point.
func beside(kind formula.Kind, right bool, d *direct, in, other *Function) condition {
	o := compare{kind, in, other}
	if right {
		o.a, o.b = other, in
	}
	v, ok := other.constant()
	if !ok {
		return &o
	}
	v = d.back.Level(v)
	at := in.space.inputs[d.number]
	at.breaks, at.steps = append(at.breaks, v), append(at.steps, v)
	if kind == formula.Equal || kind == formula.NotEqual {
		at.points = append(at.points, v)
	}
	return &cellwise{o, d.number, v, right}
}

func (o *cellwise) at(c *Box, p *Point) truth {
	if o.right {
		o.a.at(c, p) // looked at
	} else {
		o.b.at(c, p)
	}
	return o.decide(c)
}

func (o *cellwise) over(c, b *Box) truth {
	if o.right {
		o.a.over(c, b)
	} else {
		o.b.over(c, b)
	}
	return o.decide(c)
}

func (o *cellwise) decide(c *Box) truth {
	a, b := middle(c[o.in]), o.than
	if o.right {
		a, b = b, a
	}
	yes := holds(o.kind, a, b)
	return truth{yes: yes, no: !yes}
}

// and looks at its right side only where the left one does not decide. Or is made of it, by turning both sides round.
type and struct{ a, b condition }

func or(a, b condition) condition { return &not{&and{&not{a}, &not{b}}} }

func (o *and) operands() []*Function { return append(o.a.operands(), o.b.operands()...) }

func (o *and) at(c *Box, p *Point) truth {
	a := o.a.at(c, p)
	if !a.yes {
		return a
	}
	return a.and(o.b.at(c, p))
}

func (o *and) over(c, b *Box) truth {
	a := o.a.over(c, b)
	if !a.yes {
		return a
	}
	return a.and(o.b.over(c, b))
}

func (a truth) and(b truth) truth {
	return truth{a.yes && b.yes, a.no || b.no, a.undefined || b.undefined}
}

type not struct{ of condition }

func (o *not) operands() []*Function { return o.of.operands() }

func (o *not) at(c *Box, p *Point) truth {
	t := o.of.at(c, p)
	return truth{t.no, t.yes, t.undefined}
}

func (o *not) over(c, b *Box) truth {
	t := o.of.over(c, b)
	return truth{t.no, t.yes, t.undefined}
}
