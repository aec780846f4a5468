package compare

import (
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/said"
	"witnessmark/tables/surface"
)

// jointsOf is none where no breakpoint moved, or where either side cannot be interpolated: labels, breakpoints that neither
// rise nor fall, or an index axis whose points differ. A block has one for each place beyond y, joined there too.
func jointsOf(c *change) []*joint {
	if !c.moved() || !c.numeric() {
		return nil
	}
	beyond := false
	for k := range c.axes {
		a := c.axes[k]
		if a.moved && (a.base.Index || a.cand.Index) {
			return nil
		}
		beyond = beyond || k >= 2 && a.moved
	}
	if beyond {
		return c.inBetween()
	}
	base, cand := mapsOf(c.base()), mapsOf(c.cand())
	var out []*joint
	for _, pair := range c.slicePairs() {
		j := &joint{was: base[pair[0]], is: cand[pair[1]]}
		var err, too error
		if j.base, err = j.was.Grid(); err != nil {
			return nil
		}
		if j.cand, too = j.is.Grid(); too != nil {
			return nil
		}
		j.x, j.y = surface.Join(j.base.X, j.cand.X), surface.Join(j.base.Y, j.cand.Y)
		if m := j.was.Codes(); m != nil {
			j.baseOff, _ = m.Grid() // as j.base
		}
		if m := j.is.Codes(); m != nil {
			j.candOff, _ = m.Grid()
		}
		if c.cand().Slices != nil {
			j.slice, j.where = said.Slice(j.is.Table.Slice), textOfSlice(j.is.Table.Slice)
		}
		out = append(out, j)
	}
	return out
}

// mapsOf is the maps of a table: of a block its slices.
func mapsOf(d *surface.Decoded) []*surface.Decoded {
	if d.Slices != nil {
		return d.Slices
	}
	return []*surface.Decoded{d}
}

// mostBetween is how many joined points a block may have whose slices moved: they grow with each of its axes that did.
const mostBetween = 1 << 18

// inBetween is the surfaces of a block whose slices moved: at every joined place beyond y. None where they are too many.
func (c *change) inBetween() (out []*joint) {
	var sides [4]*surface.Solid // the base's, the candidate's, and the codes of either that are no value
	for i, d := range []*surface.Decoded{c.base(), c.cand(), c.base().Codes(), c.cand().Codes()} {
		if d == nil {
			continue
		}
		var err error
		if sides[i], err = d.Solid(); err != nil {
			return nil
		}
	}
	beyond := len(c.axes) - 2
	at, places, points := make([][]station, beyond), 1, len(surface.Join(sides[0].Axes[0], sides[1].Axes[0]))*len(surface.Join(sides[0].Axes[1], sides[1].Axes[1]))
	for k := range beyond {
		at[k] = stationsOf(sides[0].Axes[k+2], sides[1].Axes[k+2])
		if places *= len(at[k]); places*points > mostBetween {
			return nil
		}
	}
	for n := range places {
		j := &joint{slice: &calibrationv1.Slice{}}
		var spans [2][]surface.Span
		for side := range spans {
			spans[side] = make([]surface.Span, 2+beyond)
		}
		for k := range beyond {
			s := at[k][n%len(at[k])]
			n /= len(at[k])
			for side := range spans {
				spans[side][k+2] = surface.PlaceFrom(sides[side].Axes[k+2], s.point, s.below)
			}
			a := c.axes[k+2]
			j.slice.At = append(j.slice.At, said.Point(a.cand, s.point))
			j.where += ", " + a.name + " " + pointText(a.cand, s.point)
			j.below = j.below || s.below
		}
		for i, grid := range []**surface.Grid{&j.base, &j.cand, &j.baseOff, &j.candOff} {
			if sides[i] != nil {
				*grid = sides[i].Section(0, 1, spans[i%2])
			}
		}
		j.x, j.y = surface.Join(j.base.X, j.cand.X), surface.Join(j.base.Y, j.cand.Y)
		out = append(out, j)
	}
	return out
}

// station is a place along an axis beyond y, and the side of it where something steps there.
type station struct {
	point float64
	below bool
}

func stationsOf(base, cand []float64) (out []station) {
	steps := func(axis []float64, p float64) bool {
		return surface.PlaceFrom(axis, p, true) != surface.Place(axis, p)
	}
	for _, p := range surface.Join(base, cand) {
		for _, below := range either(steps(base, p) || steps(cand, p)) {
			out = append(out, station{p, below})
		}
	}
	return out
}

// slicePairs are the slices that belong together, the base's and the candidate's.
func (c *change) slicePairs() [][2]int {
	out, was, is := [][2]int{{}}, 1, 1
	for k := 2; k < len(c.axes); k++ {
		var wider [][2]int
		for _, p := range c.pairs(k) {
			for _, o := range out {
				wider = append(wider, [2]int{o[0] + p[0]*was, o[1] + p[1]*is})
			}
		}
		out, was, is = wider, was*len(c.axes[k].was), is*len(c.axes[k].is)
	}
	return out
}

// textOfSlice is where a slice lies as text, with a comma before each axis.
func textOfSlice(s *definition.Slice) (text string) {
	if s == nil {
		return ""
	}
	for i, p := range s.At {
		text += ", " + axisName(s.Of, i+2) + " " + pointText(p.Axis, p.Point)
	}
	return text
}
