package bounded

import (
	"math"
	"sort"
)

// grid is the cells, numbered with the first input running fastest, and those of them that were enclosed.
type grid struct {
	axes  [][]Interval
	total float64 // of cells, which may be more than an int holds
	cells []state // in order of number
	seen  int     // every cell of a lesser number was enclosed, or is not to be judged
}

// state is what is known of a cell.
type state struct {
	number  int
	found   [3]bool // a failing point of that origin
	further answer  // whether the candidate lies further out than the base somewhere in it
}

func (s *state) failing() bool { return s.found[0] || s.found[1] || s.found[2] }

type answer uint8

const (
	unasked answer = iota
	yes
	no
)

func newGrid(axes [][]Interval) grid {
	g := grid{axes: axes, total: 1}
	for _, a := range axes {
		g.total = float64(g.total * float64(len(a)))
	}
	return g
}

// index is a cell's number along each input.
func (g *grid) index(number int) (index [MaxInputs]int) {
	for i, a := range g.axes {
		index[i] = number % len(a)
		number /= len(a)
	}
	return index
}

func (g *grid) number(index *[MaxInputs]int) int {
	n := 0
	for i := len(g.axes) - 1; i >= 0; i-- {
		n = n*len(g.axes[i]) + index[i]
	}
	return n
}

func (g *grid) fill(number int, cell *Box) {
	for i, a := range g.axes {
		cell[i] = a[number%len(a)]
		number /= len(a)
	}
}

// find is the place of a cell among those enclosed, and whether it is one to be judged at all, as far as is known.
func (g *grid) find(number int) (slot int, enclosed, judged bool) {
	if number >= g.seen {
		return 0, false, true
	}
	slot = number
	if slot >= len(g.cells) || g.cells[slot].number != number {
		slot = sort.Search(len(g.cells), func(i int) bool { return g.cells[i].number >= number })
	}
	enclosed = slot < len(g.cells) && g.cells[slot].number == number
	return slot, enclosed, enclosed
}

// A side is halved this often at most: to decide a cell, till it is below 1/64 of it; to come closer to what lies
// furthest beyond, where nothing steps.
const (
	deciding = 7
	refining = 12
)

// part is a box within a cell, each side the cell's halved depth times and begun start sides from its lower end.
type part struct {
	upper      float64 // no point lies further beyond the limit
	half       float64 // what a point must exceed to fail: half a step; 0 where corners decide, by tolerance
	slot       int32
	start      [MaxInputs]uint16
	depth      [MaxInputs]uint8
	inputs     uint8 // that matter in it: it depends on them, and they have a width
	rise, fall uint8 // of those, the ones that push one way
	corners    bool  // they decide
	smooth     bool  // it has slopes
	known      bool  // passes and fails are
	passes     bool  // the base may pass somewhere in it
	fails      bool  // the base may fail somewhere in it
}

// box is where a part lies.
func (q *part) box(cell, box *Box) {
	for i := range box {
		box[i] = Interval{Lo: q.cut(&cell[i], i, 0), Hi: q.cut(&cell[i], i, 1)}
	}
}

func (q *part) cut(cell *Interval, i int, end uint16) float64 {
	switch n := q.start[i] + end; {
	case n == 0:
		return cell.Lo
	case n == 1<<q.depth[i]:
		return cell.Hi
	default:
		share := math.Ldexp(float64(n), -int(q.depth[i]))
		return min(cell.Lo+float64((cell.Hi-cell.Lo)*share), cell.Hi)
	}
}

// halves splits along the longest side; none where that was halved as often as is allowed.
func (q *part) halves(often uint8) (lower, upper part, ok bool) {
	along := -1
	for i, d := range q.depth {
		if q.inputs>>i&1 != 0 && d < often && (along < 0 || d < q.depth[along]) {
			along = i
		}
	}
	if along < 0 {
		return *q, *q, false
	}
	lower, upper = *q, *q
	lower.depth[along]++
	lower.start[along] *= 2
	upper.depth[along]++
	upper.start[along] = lower.start[along] + 1
	return lower, upper, true
}
