package compare

import (
	"fmt"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// switchedOff finds values that became a code which is no value, and codes that became values; on the joined
// surface where breakpoints moved.
func (s *session) switchedOff() {
	for _, c := range s.changes {
		if !c.comparable() || !c.codes() || c.base().Off == nil && c.cand().Off == nil {
			continue
		}
		f := &calibrationv1.Finding{Rule: "switched-off", Severity: "warning", Table: c.id}
		if c.candTable.Role == "limit" || c.candTable.Protects != "" {
			f.Severity = "danger"
		}
		became, first := 0, ""
		note := func(was, is bool, place func() (string, *calibrationv1.Worst)) {
			if was == is {
				return
			}
			f.Count++
			if is {
				became++
			}
			if f.Worst == nil {
				first, f.Worst = place()
			}
		}
		for k, cell := range c.cells {
			if was, is := c.off(k); len(c.joints) == 0 {
				note(was, is, func() (string, *calibrationv1.Worst) {
					b, v := c.bits(k)
					return fmt.Sprintf("%s where it was %s (%s)", text(c.candTable.Cells, v), text(c.baseTable.Cells, b), at(c.cand(), int(cell))), placeOf(c.cand(), int(cell))
				})
			}
		}
		for _, j := range c.joints {
			j.each(func(p spot) {
				note(p.baseOff, p.candOff, func() (string, *calibrationv1.Worst) { return c.point(j, p.x, p.y), c.surfacePoint(j, p.x, p.y) })
			})
		}
		if f.Count > 0 {
			f.Detail = fmt.Sprintf("%d became no value, %d ceased to be none; the first: %s", became, int(f.Count)-became, first)
			s.find(f)
		}
	}
}
