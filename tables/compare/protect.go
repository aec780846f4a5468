package compare

import (
	"fmt"

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
			if len(c.joints) == 0 && c.moved() {
				s.notTold(c, "its breakpoints changed, and it cannot be interpolated; its cells were compared by index")
			}
			for _, f := range c.weakened(side) {
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
	return c.candTable.Role == "switch" || !numeric(c.was.t)
}

func (c *change) switched() *calibrationv1.Finding {
	f := &calibrationv1.Finding{Rule: protectionRule, Severity: "warning", Table: c.id, Count: uint32(max(len(c.cells), 1)),
		Detail: "it switches a protection, and its breakpoints changed"}
	if len(c.cells) > 0 {
		first := int(c.cells[0])
		if c.candTable.Kind == textKind {
			f.Detail = fmt.Sprintf("it switches a protection: %q, where it was %q", c.cand().Text, c.base().Text)
			return f
		}
		base, cand := c.bits(0)
		f.Worst = placeOf(c.cand(), first)
		f.Detail = fmt.Sprintf("it switches a protection: %s at %s, where it was %s", text(c.candTable.Cells, cand), at(c.cand(), first), text(c.baseTable.Cells, base))
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
	undecided  string // why more may have moved; empty normally
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
	for k, cell := range c.cells {
		if len(c.joints) > 0 || !c.hasDelta(k) {
			continue
		}
		if b, v := c.values(k); move(b, v, c.delta(k), 0) {
			r.where, r.worst = at(c.cand(), int(cell)), placeOf(c.cand(), int(cell))
		}
	}
	if c.curved() {
		return c.curvedRetreat(up)
	}
	for _, j := range c.joints {
		j.each(func(p spot) {
			if !p.off() && move(p.base, p.cand, p.cand-p.base, halfStep(c.baseTable.Cells, c.candTable.Cells, p.base, p.cand)) {
				r.where, r.worst = c.point(j, p.x, p.y), c.surfacePoint(j, p.x, p.y)
			}
		})
	}
	return r
}

// surfacePoint is a place of the surface as the report says it.
func (c *change) surfacePoint(j *joint, x, y float64) *calibrationv1.Worst {
	w := &calibrationv1.Worst{Slice: j.slice}
	w.X, w.XLabel = point(c.candTable.X, x)
	if c.candTable.Y != nil {
		w.Y, w.YLabel = point(c.candTable.Y, y)
	}
	return w
}

// point is surfacePoint as text.
func (c *change) point(j *joint, x, y float64) string {
	text := "x " + pointText(c.candTable.X, x)
	if c.candTable.Y != nil {
		text += ", y " + pointText(c.candTable.Y, y)
	}
	return text + j.where
}

// curvedRetreat is retreat of what curves between breakpoints; it counts the cells between joined ones.
func (c *change) curvedRetreat(up bool) (r retreat) {
	judged, err := c.beyond(up)
	if err != nil {
		return retreat{undecided: err.Error()}
	}
	if judged.undecided > 0 {
		r.undecided = fmt.Sprintf("%s could not be decided, and no more than %s %s there", several(judged.undecided, "cell"), short(judged.atMost), unitOf(c.candTable))
	}
	if judged.cells == 0 {
		return r
	}
	w := judged.worst
	x, y := w.Inputs[0], w.Inputs[1]
	r.count, r.most, r.base, r.cand = judged.cells, w.Beyond, w.Limit, w.Value
	r.where, r.worst = c.point(judged.in, x, y), c.surfacePoint(judged.in, x, y)
	r.worst.Bound = proto.Float64(judged.bound)
	return r
}

// weakened finds whether any place of the table moved to its weaker side.
func (c *change) weakened(side string) (out []*calibrationv1.Finding) {
	up := side == "lower"
	r := c.retreat(up)
	if r.undecided != "" {
		out = append(out, &calibrationv1.Finding{Rule: "undecided", Severity: "caution", Table: c.id, Count: 1, Detail: protectionRule + ": " + r.undecided})
	}
	if r.count == 0 {
		return out
	}
	verb := map[bool]string{true: "rose", false: "fell"}[up]
	r.worst.Value, r.worst.Limit, r.worst.Excess = proto.Float64(r.cand), proto.Float64(r.base), r.most
	f := &calibrationv1.Finding{Rule: protectionRule, Severity: "warning", Table: c.id, Count: uint32(r.count), Worst: r.worst}
	f.Detail = fmt.Sprintf("it protects while it is %s, and %s by up to %s %s (%s): %s where it was %s", side, verb, short(r.most), unitOf(c.candTable), r.where, short(r.cand), short(r.base))
	if c.found != nil && c.found.numeric() {
		if all := c.found.retreat(up); all.most > r.most {
			f.Detail += fmt.Sprintf("; since the car first came by up to %s %s (%s)", short(all.most), unitOf(c.candTable), all.where)
		}
	}
	return append(out, f)
}
