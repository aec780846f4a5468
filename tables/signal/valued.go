package signal

import (
	"witnessmark/tables/bounded"
	"witnessmark/tables/formula"
	"witnessmark/tables/surface"
)

// Valued is 1 where all that the function looks up are values, and 0 in every patch that touches a code that is none; nil
// where no table of it holds such a code.
func (f *Function) Valued() *Function {
	return valuing{}.of(f)
}

// valuing remembers what is known of a function: several may look up one table.
type valuing map[*Function]*Function

func (v valuing) of(f *Function) *Function {
	if f == nil {
		return nil
	}
	known, ok := v[f]
	if !ok {
		known = v.find(f)
		v[f] = known
	}
	return known
}

func (v valuing) find(f *Function) *Function {
	switch o := f.op.(type) {
	case *level:
		return v.of(o.of)
	case *pair:
		return v.all(o.a, o.b)
	case *minus:
		return v.all(o.a, o.b)
	case *rational:
		return v.of(o.raw)
	case *pointwise:
		return v.of(o.raw)
	case *lookup:
		return v.looked(f, o.codes, o.x, o.y)
	case *deep:
		return v.looked(f, o.codes, o.along...)
	case *choose:
		asks, yes, no := v.all(o.asks...), v.of(o.yes), v.of(o.no)
		if yes != nil || no != nil {
			taken := choice(o.when, orOne(f.space, yes), orOne(f.space, no))
			if asks == nil {
				return taken
			}
			return Apply(formula.Min, asks, taken)
		}
		return asks
	}
	return nil
}

func orOne(s *Space, f *Function) *Function {
	if f == nil {
		return s.Number(1)
	}
	return f
}

// all is where each of some functions has a value.
func (v valuing) all(of ...*Function) *Function {
	var out *Function
	for _, f := range of {
		switch known := v.of(f); {
		case known == nil || known == out:
		case out == nil:
			out = known
		default:
			out = Apply(formula.Min, out, known)
		}
	}
	return out
}

func (v valuing) looked(f *Function, codes *surface.Solid, at ...coordinate) *Function {
	out := v.all(functionsOf(at)...)
	if codes == nil {
		return out
	}
	own := f.space.function(&valued{codes: codes, along: at, spans: make([]surface.Span, len(at)), reaches: make([]surface.Reach, len(at))}, functionsOf(at)...)
	if out == nil {
		return own
	}
	return Apply(formula.Min, out, own)
}

// valued is 1 where what is looked up touches no code, else 0.
type valued struct {
	codes   *surface.Solid
	along   []coordinate
	spans   []surface.Span
	reaches []surface.Reach
	piece   surface.Piece
}

func (l *valued) at(c *Box, p *Point) float64 {
	if !placeAll(l.along, c, p, l.spans) {
		return 1 // it is no number for another reason
	}
	if v := l.codes.Between(l.spans); v != v {
		return 0
	}
	return 1
}

func (l *valued) over(c, b *Box, out *bounded.Bounds) {
	*out = bounded.Bounds{}
	undefined := false
	for i := range l.along {
		reach, of, u := l.along[i].reach(c, b)
		l.reaches[i], undefined = reach, undefined || u
		out.Inputs |= of.Inputs
	}
	some, all := l.codes.Lacks(l.reaches, &l.piece)
	out.Lo, out.Hi = 1, 1
	if some || undefined {
		out.Lo = 0
	}
	if all && !undefined {
		out.Hi = 0
	}
	out.Smooth = out.Lo == out.Hi
	out.Multilinear = out.Smooth
	if out.Smooth {
		out.Inputs = 0
	}
}

// Whole picks the cells in which all of some functions have a value everywhere; nil where all do.
func Whole(cells [][]bounded.Interval, of ...*Function) func(index []int) bool {
	known := valuing{}.all(of...)
	if known == nil {
		return nil
	}
	var box Box
	return func(index []int) bool {
		for i, n := range index {
			box[i] = cells[i][n]
		}
		return known.Over(&box, &box).Lo >= 1
	}
}
