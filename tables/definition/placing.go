package definition

import (
	"fmt"
	"slices"

	"witnessmark/tables/image"
)

// placing is where cells lie and how they follow each other. Counts of cells are by axis, x first.
type placing struct {
	word      Cells  // how one is read
	first     uint64 // address of the first cell with all of them used; nothing where there is a pointer
	step, row uint64 // bytes from cell to cell, and from one run of the fast axis to the next: 0 if run follows run
	most      []int
	yFastest  bool
	down      bool // cells run down from the first
	packed    bool // what is not used leaves no room
	space     image.Space

	pointer *Cells // where the address of the first cell stands; nil if in the definition
	count   *Cells // where it stands how many are used, of an axis; nil if all are
}

// axis is the one that is faster than all but k.
func (p *placing) axis(k int) int {
	if p.yFastest && k < 2 {
		return 1 - k
	}
	return k
}

// steps are the bytes from one cell to the next along each axis.
func (p *placing) steps(used []int) (out [maxAxes]int64) {
	room := p.most
	if p.packed {
		room = used
	}
	step := p.step
	for k := range p.most {
		axis := p.axis(k)
		if out[axis] = int64(step); p.down {
			out[axis] = -out[axis]
		}
		if step *= uint64(room[axis]); k == 0 && p.row > 0 {
			step = p.row
		}
	}
	return out
}

// span is from the lowest cell's first byte to behind the highest cell.
func (p *placing) span(used []int) uint64 {
	n := int64(p.word.Bytes)
	steps := p.steps(used)
	for i, along := range used {
		step := steps[i]
		if p.down {
			step = -step
		}
		n += step * int64(along-1)
	}
	return uint64(n)
}

// low is the address of the lowest cell with all of them used.
func (p *placing) low() uint64 {
	if p.down {
		return p.first - (p.span(p.most) - uint64(p.word.Bytes))
	}
	return p.first
}

// before says that cells begin before an address, in its region.
func (p *placing) before(address uint64) bool {
	return p.low() < address && joined(p.space, p.low(), address)
}

// joined says that one address is not behind another, with no end of a region between them.
func joined(space image.Space, from, to uint64) bool {
	_, inside := space.Within(image.Range{Start: from, End: to})
	return inside
}

// freed is how many bytes what is not used leaves to others.
func (p *placing) freed(used []int) uint64 { return p.span(p.most) - p.span(used) }

// in finds the cells that are used in an image, moved up by what is not used before them.
func (p *placing) in(b []byte, used []int, up uint64) (at image.Range, problem string) {
	n, first := p.span(used), p.first
	var back uint64 // from the first cell to the lowest
	if p.down {
		back = n - uint64(p.word.Bytes)
	}
	what := "moved up, it begins at"
	if p.pointer != nil {
		first, what = p.pointer.Bits(b, 0, 0), fmt.Sprintf("its pointer at 0x%x leads to", p.space.Address(p.pointer.Offset))
	} else if p.packed {
		first = p.low() - up + back
	}
	at, inside := p.space.Within(image.Range{Start: first - back, End: first - back + n})
	if !inside || p.packed && p.pointer == nil && !joined(p.space, first-back, p.low()) {
		return at, fmt.Sprintf("%s 0x%x, where its %d bytes do not lie in the image; allowed: %v", what, first, n, p.space)
	}
	return at, ""
}

// cells are those that are used, where they lie in the image; as one grid where there are more than two axes.
func (p *placing) cells(at image.Range, used []int) *Cells {
	c, steps := p.word, p.steps(used)
	if c.Offset = at.Start; p.down {
		c.Offset = at.End - uint64(c.Bytes)
	}
	d := make([]dimension, 0, maxAxes)
	for i, n := range used {
		d = append(d, dimension{n, steps[i]})
	}
	if len(d) > 2 {
		if p.yFastest {
			d[0], d[1] = d[1], d[0]
		}
		d = flat(d)
	}
	for len(d) < 2 {
		d = append(d, dimension{1, p.endOf(d)})
	}
	c.NX, c.StepX, c.NY, c.StepY = d[0].n, d[0].step, d[1].n, d[1].step
	return &c
}

// endOf is a step from one run of cells to where the next one would begin.
func (p *placing) endOf(d []dimension) int64 {
	if len(d) == 0 {
		return int64(p.step)
	}
	return int64(d[0].n) * d[0].step
}

// dimension is n cells, step bytes from one to the next.
type dimension struct {
	n    int
	step int64
}

// flat makes two dimensions of more, the fastest first. It is exact where at most one axis has room that is not used; else
// cells that are not used lie between.
func flat(d []dimension) []dimension {
	for i := 0; i+1 < len(d); {
		a, b := d[i], d[i+1]
		switch {
		case a.n == 1:
			d = slices.Delete(d, i, i+1)
		case b.n == 1 || b.step == int64(a.n)*a.step:
			d = slices.Replace(d, i, i+2, dimension{a.n * b.n, a.step})
		default:
			i++
		}
	}
	for len(d) > 2 {
		k := len(d) - 2 // each but the fastest is a multiple of the one before
		a, b := d[k], d[k+1]
		d = append(d[:k:k], dimension{int(b.step/a.step)*(b.n-1) + a.n, a.step})
	}
	return d
}
