package signal

import (
	"math"

	"witnessmark/tables/bounded"
	"witnessmark/tables/definition"
	"witnessmark/tables/units"
)

// Function is a value over a space. It implements bounded.Function, allocates nothing when called, and works out again only
// what goes by an input that is another one than when it was last called: most points and boxes differ in one input from
// those before them.
type Function struct {
	space   *Space
	op      operation
	depends uint8 // mask of the inputs that it may depend on anywhere
	goesBy  uint8 // mask of the inputs that anything in it looks at, though it may not depend on it
	atEpoch uint64
	value   float64
	inEpoch uint64
	bounds  bounded.Bounds
	// What it stands for on the way to a signal.
	table  *placed
	signal *definition.Signal
}

// operation is what a function does. At gives NaN where there is no finite value. Over fills bounds that are zero but for
// what an earlier call has left.
type operation interface {
	at(c *Box, p *Point) float64
	over(c, b *Box, out *bounded.Bounds)
}

// At is the value at a point of a cell: NaN where there is no finite one, such as beyond a division by zero or at a
// table's cell that is infinite.
func (f *Function) At(cell *Box, p *Point) float64 {
	f.space.moveTo(cell, p)
	return f.at(cell, p)
}

// Over encloses every At of a box of a cell.
func (f *Function) Over(cell, box *Box) bounded.Bounds {
	f.space.spreadTo(cell, box)
	return *f.over(cell, box)
}

func (f *Function) at(c *Box, p *Point) float64 {
	s := f.space
	if f.atEpoch == s.epoch {
		return f.value
	}
	if s.at.stale(f.goesBy, f.atEpoch) {
		f.value = finite(f.op.at(c, p))
		if s.visit != nil {
			s.visit(f)
		}
	}
	f.atEpoch = s.epoch
	return f.value
}

func (f *Function) over(c, b *Box) *bounded.Bounds {
	s := f.space
	if f.inEpoch == s.epoch {
		return &f.bounds
	}
	if s.over.stale(f.goesBy, f.inEpoch) {
		f.op.over(c, b, &f.bounds)
	}
	f.inEpoch = s.epoch
	return &f.bounds
}

// finite turns infinities into NaN, which no later step can hide.
func finite(v float64) float64 {
	if v-v != 0 {
		return math.NaN()
	}
	return v
}

func (s *Space) function(op operation, args ...*Function) *Function {
	f := &Function{space: s, op: op}
	for _, a := range args {
		if a != nil {
			f.depends |= a.depends
			f.goesBy |= a.goesBy
		}
	}
	return f
}

// constant is the number that a function is everywhere, if it depends on no input.
func (f *Function) constant() (float64, bool) {
	if f.depends != 0 {
		return 0, false
	}
	was := f.space.quiet
	f.space.quiet = true
	v := f.At(&Box{}, &Point{})
	f.space.quiet = was
	f.space.forget()
	return v, v == v
}

// number is the same everywhere.
type number float64

// Number is the function that is v everywhere.
func (s *Space) Number(v float64) *Function { return s.function(number(v)) }

func (n number) at(*Box, *Point) float64 { return float64(n) }

func (n number) over(_, _ *Box, out *bounded.Bounds) {
	*out = bounded.Bounds{Interval: bounded.Exactly(float64(n)), Smooth: true, Multilinear: true}
}

// direct is an input, in a unit of its own.
type direct struct {
	number      int
	level, back units.Converter // into the unit, and back
	cell        bounded.Interval
	within      float64 // of the cell that inside was last asked of
	known       bool    // it was asked
}

// Input is an input's own value in the unit. The error says that the units do not convert, or that there are too many.
func (s *Space) Input(quantity, unit string) (*Function, error) {
	if f := s.directs[[2]string{quantity, unit}]; f != nil {
		return f, nil
	}
	i, level, err := s.input(quantity, unit)
	if err != nil {
		return nil, err
	}
	back, err := units.BetweenQuantities(quantity, unit, quantity, s.inputs[i].Unit)
	if err != nil {
		return nil, err
	}
	f := s.function(&direct{number: i, level: level, back: back})
	f.depends, f.goesBy = 1<<i, 1<<i
	s.directs[[2]string{quantity, unit}] = f
	return f, nil
}

func (d *direct) at(_ *Box, p *Point) float64 { return d.level.Level(p[d.number]) }

func (d *direct) over(_, b *Box, out *bounded.Bounds) {
	out.Interval = converted(b[d.number], d.level)
	out.Slope[d.number] = bounded.Exactly(d.level.Factor)
	out.Smooth, out.Multilinear, out.Inputs = true, true, 1<<d.number
}

// inside is a point of a cell, in the unit, that lies on the side that the cell is on.
func (d *direct) inside(c *Box) float64 {
	if cell := c[d.number]; !d.known || cell != d.cell {
		d.known, d.cell, d.within = true, cell, d.level.Level(middle(cell))
	}
	return d.within
}

// middle is a point of a cell that is not its upper end, unless it has no other.
func middle(c bounded.Interval) float64 {
	if m := c.Middle(); m != c.Hi {
		return m
	}
	return c.Lo
}

func converted(v bounded.Interval, c units.Converter) bounded.Interval {
	if c.Factor != 1 {
		v = v.Mul(bounded.Exactly(c.Factor))
	}
	if c.Offset != 0 {
		v = v.Add(bounded.Exactly(c.Offset))
	}
	return v
}

// level is a function in another unit.
type level struct {
	of *Function
	by units.Converter
}

// In is the function in another unit, or moved by an offset.
func (f *Function) In(by units.Converter) *Function {
	if by == (units.Converter{Factor: 1}) {
		return f
	}
	return f.space.function(&level{f, by}, f)
}

func (l *level) at(c *Box, p *Point) float64 { return l.by.Level(l.of.at(c, p)) }

func (l *level) over(c, b *Box, out *bounded.Bounds) {
	of := l.of.over(c, b)
	*out = *of
	out.Interval = converted(of.Interval, l.by)
	if l.by.Factor != 1 {
		k := bounded.Exactly(l.by.Factor)
		for i := range l.of.space.inputs {
			out.Slope[i] = of.Slope[i].Mul(k)
		}
	}
}
