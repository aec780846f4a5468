package compare

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

const protectionRule = "protection-weakened"

// protectionWeakened finds tables that protect and moved away from the side on which they do.
func (s *session) protectionWeakened() {
	for _, c := range s.changes {
		side := c.candTable.Protects
		switch {
		case side == "" || s.lay.ByID[c.id] == nil:
		case c.incomparable != "":
			s.notTold(c, c.incomparable)
		case c.switches():
			s.find(c.switched())
		default:
			if c.joint == nil && (c.xMoved || c.yMoved) {
				s.notTold(c, "its breakpoints changed, and it cannot be interpolated; its cells were compared by index")
			}
			if f := c.weakened(side); f != nil {
				s.find(f)
			}
		}
	}
}

func (s *session) notTold(c *change, why string) {
	s.report.Unjudged = append(s.report.Unjudged, &calibrationv1.Unjudged{Rule: protectionRule, Table: c.id, Reason: why})
}

// switches says that a table's values are no amounts, so that no side of them is the weaker one.
func (c *change) switches() bool {
	return c.candTable.Role == "switch" || c.candTable.Cells.Conv.Labels != nil
}

func (c *change) switched() *calibrationv1.Finding {
	f := &calibrationv1.Finding{Rule: protectionRule, Severity: "warning", Table: c.id, Count: uint32(max(len(c.cells), 1)),
		Detail: "it switches a protection, and its breakpoints changed"}
	if len(c.cells) > 0 {
		first := c.cells[0]
		base, cand := c.bits(first)
		f.Worst = placeOf(c.cand, first.row, first.col)
		f.Detail = fmt.Sprintf("it switches a protection: %s at %s, where it was %s", text(c.candTable.Cells, cand), at(c.cand, first.row, first.col), text(c.baseTable.Cells, base))
	}
	return f
}

// retreat is how far a table moved to its weaker side: in how many places, and the furthest.
type retreat struct {
	count      int
	most       float64
	base, cand float64
	where      string
	worst      *calibrationv1.Worst
}

// retreat looks at the joined surface where breakpoints changed, else at the changed cells; up says that
// the weaker side is the greater value.
func (c *change) retreat(up bool) (r retreat) {
	move := func(b, v, by, least float64) bool {
		if !up {
			by = -by
		}
		if !(by > least) {
			return false
		}
		r.count++
		if r.count > 1 && by <= r.most {
			return false
		}
		r.most, r.base, r.cand = by, b, v
		return true
	}
	if c.joint == nil {
		for _, cell := range c.cells {
			if b, v := c.values(cell); move(b, v, c.delta(cell), 0) {
				r.where, r.worst = at(c.cand, cell.row, cell.col), placeOf(c.cand, cell.row, cell.col)
			}
		}
		return r
	}
	c.joint.each(func(x, y, b, v float64, _ bool) {
		if move(b, v, v-b, halfStep(c.baseTable.Cells, c.candTable.Cells, b, v)) {
			r.where, r.worst = c.point(x, y), &calibrationv1.Worst{}
			if c.candTable.X != nil {
				r.worst.X = proto.Float64(x)
			}
			if c.candTable.Y != nil {
				r.worst.Y = proto.Float64(y)
			}
		}
	})
	return r
}

// weakened is nil where no place of the table moved to its weaker side.
func (c *change) weakened(side string) *calibrationv1.Finding {
	up := side == "lower"
	r := c.retreat(up)
	if r.count == 0 {
		return nil
	}
	verb := map[bool]string{true: "rose", false: "fell"}[up]
	r.worst.Value, r.worst.Limit, r.worst.Excess = proto.Float64(r.cand), proto.Float64(r.base), r.most
	f := &calibrationv1.Finding{Rule: protectionRule, Severity: "warning", Table: c.id, Count: uint32(r.count), Worst: r.worst}
	f.Detail = fmt.Sprintf("it protects while it is %s, and %s by up to %s %s (%s): %s where it was %s", side, verb, short(r.most), c.candTable.Unit, r.where, short(r.cand), short(r.base))
	if c.found != nil && c.found.numeric() {
		if all := c.found.retreat(up); all.most > r.most && !math.IsInf(r.most, 1) {
			f.Detail += fmt.Sprintf("; since the car first came by up to %s %s (%s)", short(all.most), c.candTable.Unit, all.where)
		}
	}
	return f
}
