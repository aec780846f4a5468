package runcheck

import (
	"fmt"
	"slices"
	"strings"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/image"
	"witnessmark/tables/severity"
	"witnessmark/tables/signal"
	"witnessmark/tables/surface"
)

// How long a run may lie beyond an axis: what the rule covers allows by itself.
const (
	shareOutside = 0.005 // of the run's time
	mostOutside  = 0.2   // s
)

// reach is one end of axes: those of one quantity that end at the same place.
type reach struct {
	quantity, unit string
	end            float64
	high           bool
	tables         []string
}

// reaches are the ends of all axes that are looked up along, in the definition's order.
func (c *check) reaches(im *image.Image) (out []*reach) {
	for _, declared := range c.lay.Tables {
		if !c.lay.Holds(im, declared) {
			continue
		}
		t, err := declared.In(im.Bytes)
		if err != nil { // it leads outside, and nobody knows its axes
			continue
		}
		for _, a := range t.Axes {
			if a.Index || a.Count < 2 || a.Quantity == "" {
				continue
			}
			points := a.Breakpoints(im.Bytes)
			if !surface.Finite(points...) {
				continue
			}
			for _, end := range []*reach{{quantity: a.Quantity, unit: a.Unit, end: slices.Min(points)}, {quantity: a.Quantity, unit: a.Unit, end: slices.Max(points), high: true}} {
				at := slices.IndexFunc(out, func(r *reach) bool {
					return r.quantity == end.quantity && r.unit == end.unit && r.end == end.end && r.high == end.high
				})
				if at < 0 {
					at, out = len(out), append(out, end)
				}
				out[at].tables = append(out[at].tables, t.ID)
			}
		}
	}
	return out
}

func (r *reach) past(v float64) bool {
	slack := float64(0x1p-22 * max(r.end, -r.end)) // samples are single floats
	return r.high && v > r.end+slack || !r.high && v < r.end-slack
}

// along is a quantity at every sample: as recorded, or as the signal that feeds it has it; nil where neither is known.
func (c *check) along(quantity, unit string) func(i int) (float64, bool) {
	if ch, err := c.channel(quantity, unit); err == nil {
		return func(i int) (float64, bool) { return ch.at(i), !ch.hole(i) }
	}
	space := signal.NewSpace(c.lay)
	f, err := c.set.In(space).Quantity(quantity, unit)
	if err != nil {
		return nil
	}
	p, err := c.probe(space)
	if err != nil {
		return nil
	}
	return func(i int) (float64, bool) {
		if !p.move(i) {
			return 0, false
		}
		v := p.value(f)
		return v, v == v
	}
}

// offAxes finds the time that the run spent beyond the axes of tables, where they are held at their ends. Below the first
// breakpoint an engine starts, idles and is throttled: that is told, and no finding.
func (c *check) offAxes() {
	total := c.Run.Duration()
	outside := map[[2]string]float64{} // of a table and a quantity
	for _, r := range c.reaches(c.Image) {
		at := c.along(r.quantity, r.unit)
		if at == nil {
			continue
		}
		seconds, worst, far := 0.0, 0, r.end
		for i := range c.share {
			if v, ok := at(i); ok && r.past(v) {
				seconds += float64(c.share[i])
				if r.high && v > far || !r.high && v < far {
					worst, far = i, v
				}
			}
		}
		if seconds == 0 {
			continue
		}
		for _, t := range r.tables {
			outside[[2]string{t, r.quantity}] += seconds
		}
		if r.high && (seconds > shareOutside*total || seconds > mostOutside) {
			c.offAxis(r, worst, fmt.Sprintf("%s %.4g %s lies above the end of the axis of %s, %.4g, where the table is held; %.2f s in all (%g s or %g %% of the run: %s)",
				strings.ReplaceAll(r.quantity, "_", " "), far, r.unit, named(r.tables), r.end, seconds, mostOutside, 100*shareOutside, practice))
		}
	}
	for _, t := range c.lay.Tables {
		for _, a := range t.Axes {
			if s := outside[[2]string{t.ID, a.Quantity}]; s > 0 {
				c.out.Outside = append(c.out.Outside, &calibrationv1.RunOutside{Table: t.ID, Axis: a.Quantity, Time: s, Share: min(s/total, 1)})
			}
		}
	}
}

func (c *check) offAxis(r *reach, i int, text string) {
	c.find("off-axis", severity.Caution, nil, i, text)
	f := c.out.Findings[len(c.out.Findings)-1]
	f.Table = r.tables[0]
	if at := c.along(r.quantity, r.unit); at != nil {
		f.Inputs[r.quantity], _ = at(i)
	}
}

const mostNamed = 4

func named(tables []string) string {
	if len(tables) > mostNamed {
		return strings.Join(tables[:mostNamed], ", ") + fmt.Sprintf(" and %d more", len(tables)-mostNamed)
	}
	return strings.Join(tables, ", ")
}
