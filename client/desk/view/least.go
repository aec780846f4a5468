package view

import (
	"fmt"
	"math"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// writeLeast is the least room under the ceiling and over the floor, in one row each: of the
// candidate, over the whole surface where a rule judged that, and of the base's cells beside it.
func (s *sides) writeLeast(b *strings.Builder, r *calibrationv1.Report) {
	if s.room == nil {
		return
	}
	n, unit := places(s.t.Cells), tableUnit(s.t)
	var rows strings.Builder
	for _, side := range []struct {
		name    string
		bound   []float64
		ceiling bool
	}{{"up to the ceiling", s.high, true}, {"down to the floor", s.low, false}} {
		l := s.leastCell(side.bound, side.ceiling)
		for _, m := range r.GetMargins() {
			up := m.GetValue() <= m.GetLimit() == (m.GetMargin() >= 0)
			if m.GetTable() == s.t.ID && m.GetUnit() == s.t.Unit && s.holds(m) && up == side.ceiling && m.GetMargin() < l.room {
				l = least{room: m.GetMargin(), value: m.GetValue(), limit: m.GetLimit(), at: point(s.t, m.X, m.Y)}
			}
		}
		if math.IsInf(l.room, 1) {
			continue
		}
		class := ""
		if l.room < 0 {
			class = " beyond"
		}
		fmt.Fprintf(&rows, `<tr><th scope="row">%s</th><td class="num%s">%s</td><td class="num">%s</td><td class="num">%s</td><td>%s</td></tr>`, side.name, class,
			esc(n.room(l.room)+unit), esc(n.near(l.value)+unit), esc(n.near(l.limit)+unit), esc(l.at))
	}
	if rows.Len() > 0 {
		b.WriteString(`<h2>Least room</h2><div class="wide" tabindex="0" role="region" aria-label="Least room"><table class="list"><thead><tr><th scope="col">Side</th><th scope="col">Room</th><th scope="col">Found</th><th scope="col">Allowed</th><th scope="col">At</th></tr></thead><tbody>` + rows.String() + `</tbody></table></div>`)
	}
}

// least is where a side has the least room; infinite room where nothing bounds it.
type least struct {
	room, value, limit float64
	at                 string
}

func (s *sides) leastCell(bound []float64, ceiling bool) least {
	l := least{room: math.Inf(1)}
	for i, v := range s.cand.Values {
		room := bound[i] - v
		if !ceiling {
			room = -room
		}
		if room < l.room {
			x, y := s.place(i)
			l = least{room: room, value: v, limit: bound[i], at: point(s.t, x, y)}
		}
	}
	return l
}

// holds says whether a margin lies in the face: of a block each slice has its own.
func (s *sides) holds(m *calibrationv1.Margin) bool {
	return s.t.Slice == nil || s.liesAt(m.GetSlice())
}
