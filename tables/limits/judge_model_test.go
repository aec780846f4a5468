package limits

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// A slow, obvious model of the rules: every judgement is written down, and then sorted into findings.
// All numbers are small whole numbers and breakpoints are powers of two apart, so that every
// interpolation is exact and model and program must agree to the last bit.

// judgement is one judgement of the model: how far beyond (negative: inside) candidate and base are.
type judgement struct {
	point        string // points with one name count once
	value, limit float64
	over         float64
	baseOver     float64 // negative where the base passed or says nothing
	grew         bool    // over grew somewhere in the cells that touch the point
	x, y         float64
	row, col     int
	cell, hasX   bool
	hasY         bool
}

// thirds do not come out even; nothing else of the model is rounded.
const thirds = 1e-8

func modelFindings(id string, ops []judgement) string {
	kinds := map[string][]judgement{}
	for _, o := range ops {
		fails, baseFails := o.over > thirds, o.baseOver > thirds
		switch {
		case !fails:
		case !baseFails:
			kinds["introduced"] = append(kinds["introduced"], o)
		case o.grew || o.over > o.baseOver+thirds:
			kinds["worsened"] = append(kinds["worsened"], o)
		default:
			kinds["inherited"] = append(kinds["inherited"], o)
		}
	}
	var out []string
	for _, origin := range []string{"introduced", "worsened", "inherited"} {
		found := kinds[origin]
		if len(found) == 0 {
			continue
		}
		points := map[string]bool{}
		for _, o := range found {
			points[o.point] = true
		}
		sort.SliceStable(found, func(i, j int) bool { return found[i].over > found[j].over })
		w := found[0]
		text := fmt.Sprintf("%s %s %dx %.9g/%.9g by %.9g", id, origin, len(points), w.value, w.limit, w.over)
		if w.hasX {
			text += fmt.Sprintf(" x=%g", w.x)
		}
		if w.hasY {
			text += fmt.Sprintf(" y=%g", w.y)
		}
		if w.cell {
			text += fmt.Sprintf(" [%d,%d]", w.row, w.col)
		}
		out = append(out, text)
	}
	return strings.Join(out, "; ")
}

// modelMap draws a map of whole numbers on an axis of powers of two, sometimes stored falling.
func modelMap(t *rapid.T, name string, falling bool, nx, ny int) sheet {
	s := sheet{id: "m", unit: "deg"}
	draw := func(what string, n int) []float64 {
		at := float64(rapid.IntRange(-4, 4).Draw(t, name+what))
		out := []float64{at}
		for len(out) < n {
			at += float64(int(1) << rapid.IntRange(0, 2).Draw(t, name+what+" gap"))
			out = append(out, at)
		}
		if falling {
			for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
				out[i], out[j] = out[j], out[i]
			}
		}
		return out
	}
	s.x, s.y = draw("x", nx), draw("y", ny)
	s.v = wholes(t, name, nx*ny)
	return s
}

func wholes(t *rapid.T, name string, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(rapid.IntRange(-8, 8).Draw(t, name))
	}
	return out
}

// modelPair draws a map twice: the same axes, and cells of which some differ.
func modelPair(t *rapid.T) (base, cand sheet) {
	falling := rapid.Bool().Draw(t, "falling")
	cand = modelMap(t, "cand", falling, rapid.IntRange(1, 5).Draw(t, "nx"), rapid.IntRange(1, 4).Draw(t, "ny"))
	base = cand
	base.v = wholes(t, "base", len(cand.v))
	for i := range base.v {
		if rapid.Bool().Draw(t, "same") {
			base.v[i] = cand.v[i]
		}
	}
	return base, cand
}

// cellOps is a judgement for every cell, row by row.
func cellOps(s sheet, judge func(row, col int) []judgement) []judgement {
	var out []judgement
	for row := range len(s.y) {
		for col := range len(s.x) {
			for _, o := range judge(row, col) {
				if o.point == "" {
					o.point, o.row, o.col = fmt.Sprint(row, col), row, col
				}
				o.x, o.y, o.cell, o.hasX, o.hasY = s.x[o.col], s.y[o.row], true, true, true
				out = append(out, o)
			}
		}
	}
	return out
}

func (s sheet) at(row, col int) float64 { return s.v[row*len(s.x)+col] }

// neighbours of a cell along x or y: the cell by steps away, and its breakpoint.
func (s sheet) along(axis string, row, col, by int) (v, p float64, ok bool) {
	if axis == "x" {
		col += by
	} else {
		row += by
	}
	if row < 0 || col < 0 || row >= len(s.y) || col >= len(s.x) {
		return 0, 0, false
	}
	if axis == "x" {
		return s.at(row, col), s.x[col], true
	}
	return s.at(row, col), s.y[row], true
}

func TestCellRulesMatchTheModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		base, cand := modelPair(t)
		bound := func(name string) float64 { return float64(rapid.IntRange(0, 9).Draw(t, name)) }
		axis := rapid.SampledFrom([]string{"x", "y"}).Draw(t, "axis")
		in := drawZone(t)
		// pair says whether a cell and the next one along the axis meet the zone.
		pair := func(r, c int) bool {
			_, p, _ := cand.along(axis, r, c, 0)
			_, q, _ := cand.along(axis, r, c, 1)
			if axis == "x" {
				return meets(in.x, p, q) && within(in.y, cand.y[r])
			}
			return meets(in.y, p, q) && within(in.x, cand.x[c])
		}
		hi, lo, up, down, steep, lumpy := bound("hi"), -bound("lo"), bound("up"), bound("down"), bound("steep")/2, bound("lumpy")/2

		compare := func(text string, ops []judgement) {
			out := judged(t, judging(one(base), one(cand)), rule(text))
			if got, want := sayAll(out.Findings), modelFindings("m", ops); got != want {
				t.Fatalf("%s\nbase %v\ncand %v\n got %s\nwant %s", text, base, cand, got, want)
			}
		}
		compare(fmt.Sprintf(`{"range":{"max":%g,"min":%g}}`, hi, lo), cellOps(cand, func(r, c int) []judgement {
			return []judgement{{value: cand.at(r, c), limit: hi, over: cand.at(r, c) - hi, baseOver: base.at(r, c) - hi},
				{value: cand.at(r, c), limit: lo, over: lo - cand.at(r, c), baseOver: lo - base.at(r, c)}}
		}))
		compare(fmt.Sprintf(`{"change":{"max_up":%g,"max_down":%g}}`, up, down), cellOps(cand, func(r, c int) []judgement {
			v, b := cand.at(r, c), base.at(r, c)
			return []judgement{{value: v, limit: b + up, over: v - b - up, baseOver: -1}, {value: v, limit: b - down, over: b - down - v, baseOver: -1}}
		}))
		compare(`{"frozen":{}}`, cellOps(cand, func(r, c int) []judgement {
			v, b := cand.at(r, c), base.at(r, c)
			return []judgement{{value: v, limit: b, over: math.Abs(v - b), baseOver: -1}}
		}))
		slope := func(s sheet, r, c int) (float64, bool) {
			v, p, _ := s.along(axis, r, c, 0)
			w, q, ok := s.along(axis, r, c, 1)
			return math.Abs((w - v) / (q - p)), ok
		}
		compare(fmt.Sprintf(`{"slope":{"along":"%s","max":%g},%s}`, axis, steep, in.text()), cellOps(cand, func(r, c int) []judgement {
			v, ok := slope(cand, r, c)
			b, _ := slope(base, r, c)
			if !ok || !pair(r, c) {
				return nil
			}
			return []judgement{{value: v, limit: steep, over: v - steep, baseOver: b - steep}}
		}))
		rising := rapid.Bool().Draw(t, "rising")
		sign, word := 1.0, "rising"
		if !rising {
			sign, word = -1, "falling"
		}
		compare(fmt.Sprintf(`{"monotonic":{"of":"values","along":"%s","direction":"%s"},%s}`, axis, word, in.text()), cellOps(cand, func(r, c int) []judgement {
			v, p, _ := cand.along(axis, r, c, 0)
			w, q, ok := cand.along(axis, r, c, 1)
			if !ok || !pair(r, c) {
				return nil
			}
			b0, _, _ := base.along(axis, r, c, 0)
			b1, _, _ := base.along(axis, r, c, 1)
			later, earlier, bLater, bEarlier, row, col := w, v, b1, b0, r, c
			if axis == "x" {
				col++
			} else {
				row++
			}
			if q < p {
				later, earlier, bLater, bEarlier, row, col = v, w, b0, b1, r, c
			}
			return []judgement{{point: fmt.Sprint(row, col), row: row, col: col, value: later, limit: earlier, over: sign * (earlier - later), baseOver: sign * (bEarlier - bLater)}}
		}))
		off := func(s sheet, axis string, r, c int) (float64, bool) {
			a, p, ok1 := s.along(axis, r, c, -1)
			b, q, _ := s.along(axis, r, c, 0)
			d, u, ok2 := s.along(axis, r, c, 1)
			return math.Abs(b - (a + (q-p)/(u-p)*(d-a))), ok1 && ok2
		}
		compare(fmt.Sprintf(`{"lump":{"max":%g},%s}`, lumpy, in.text()), cellOps(cand, func(r, c int) []judgement {
			var out []judgement
			for _, axis := range []string{"x", "y"} {
				if v, ok := off(cand, axis, r, c); ok && within(in.x, cand.x[c]) && within(in.y, cand.y[r]) {
					b, _ := off(base, axis, r, c)
					out = append(out, judgement{value: v, limit: lumpy, over: v - lumpy, baseOver: b - lumpy})
				}
			}
			return out
		}))
	})
}

// points of two axes, sorted, equal ones once.
func joined(a, b []float64) []float64 {
	m := map[float64]bool{}
	for _, v := range append(append([]float64{}, a...), b...) {
		m[v] = true
	}
	var out []float64
	for v := range m {
		out = append(out, v)
	}
	sort.Float64s(out)
	return out
}

func (s sheet) ascending() (x, y, v []float64) {
	x, y, v = joined(s.x, nil), joined(s.y, nil), nil
	for _, py := range y {
		for _, px := range x {
			for row := range s.y {
				for col := range s.x {
					if s.x[col] == px && s.y[row] == py {
						v = append(v, s.at(row, col))
					}
				}
			}
		}
	}
	return x, y, v
}

// zone is where a rule holds, x and y; all of it where nil.
type zone struct{ x, y []float64 }

func (a zone) text() string {
	var parts []string
	for _, w := range []struct {
		quantity, unit string
		ends           []float64
	}{{"engine_speed", "1/min", a.x}, {"load", "%", a.y}} {
		if w.ends != nil {
			parts = append(parts, fmt.Sprintf(`"%s":{"from":%g,"to":%g,"unit":"%s"}`, w.quantity, w.ends[0], w.ends[1], w.unit))
		}
	}
	return `"where":{` + strings.Join(parts, ",") + `}`
}

// drawZone draws halves between the breakpoints that the model has, and just beyond them.
func drawZone(t *rapid.T) zone {
	draw := func(name string) []float64 {
		if rapid.Bool().Draw(t, name+" everywhere") {
			return nil
		}
		from := float64(rapid.IntRange(-10, 12).Draw(t, name+" from")) / 2
		return []float64{from, from + float64(rapid.IntRange(0, 12).Draw(t, name+" long"))/2}
	}
	return zone{draw("x"), draw("y")}
}

func within(ends []float64, v float64) bool { return ends == nil || v >= ends[0] && v <= ends[1] }

func meets(ends []float64, p, q float64) bool {
	return ends == nil || math.Min(p, q) <= ends[1] && math.Max(p, q) >= ends[0]
}

// stops are the joined points of two axes and the ends of an zone, inside it.
func stops(a, b, ends []float64) []float64 {
	var out []float64
	for _, v := range joined(joined(a, b), ends) {
		if within(ends, v) {
			out = append(out, v)
		}
	}
	return out
}

// pointOps is a judgement at every joined point, y outer, x inner, ascending. What is inherited must
// not have grown in the cells around it, which is looked at where anything bends.
func pointOps(s, other, base sheet, in zone, judge func(x, y float64) []judgement) []judgement {
	var out []judgement
	xs, ys := stops(s.x, other.x, in.x), stops(s.y, other.y, in.y)
	around := func(points []float64, i int, fine []float64) []float64 {
		lo, hi := points[max(i-1, 0)], points[min(i+1, len(points)-1)]
		var out []float64
		for _, v := range joined(points, fine) {
			if v >= lo && v <= hi {
				out = append(out, v)
			}
		}
		return out
	}
	for j, py := range ys {
		for i, px := range xs {
			for k, o := range judge(px, py) {
				o.point, o.x, o.y, o.hasX, o.hasY = fmt.Sprint(px, py), px, py, true, true
				for row := range s.y {
					for col := range s.x {
						if s.x[col] == px && s.y[row] == py {
							o.cell, o.row, o.col = true, row, col
						}
					}
				}
				for _, y := range around(ys, j, base.y) {
					for _, x := range around(xs, i, base.x) {
						if near := judge(x, y); k < len(near) { // else nobody can tell
							o.grew = o.grew || near[k].over > near[k].baseOver+thirds
						}
					}
				}
				out = append(out, o)
			}
		}
	}
	return out
}

func (s sheet) surface(px, py float64) float64 {
	x, y, v := s.ascending()
	return weigh(x, y, v, px, py)
}

func TestSurfaceRulesMatchTheModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		falling := rapid.Bool().Draw(t, "falling")
		size := func(name string) int { return rapid.IntRange(1, 4).Draw(t, name) }
		cand := modelMap(t, "cand", falling, size("nx"), size("ny"))
		base := modelMap(t, "base", rapid.Bool().Draw(t, "base falling"), len(cand.x), len(cand.y))
		other := modelMap(t, "other", false, size("ox"), size("oy"))
		other.id = "o"
		margin := float64(rapid.IntRange(0, 5).Draw(t, "margin"))
		compare := func(text string, ops []judgement) {
			in := judging([]sheet{base, other}, []sheet{cand, other})
			in.Changed = []string{"m"}
			out := judged(t, in, rule(text))
			if got, want := sayAll(out.Findings), modelFindings("m", ops); got != want {
				t.Fatalf("%s\nbase %v\ncand %v\nother %v\n got %s\nwant %s", text, base, cand, other, got, want)
			}
		}
		for _, in := range []zone{{}, drawZone(t)} {
			against := func(kind string, sign float64) {
				compare(fmt.Sprintf(`{"select":{"tables":["m"]},"%s":{"table":"o","margin":%g},%s}`, kind, margin, in.text()), pointOps(cand, other, base, in, func(x, y float64) []judgement {
					limit := other.surface(x, y) - sign*margin
					return []judgement{{value: cand.surface(x, y), limit: limit, over: sign * (cand.surface(x, y) - limit), baseOver: sign * (base.surface(x, y) - limit)}}
				}))
			}
			against("below", 1)
			against("above", -1)
			same := samePoints(base.x, cand.x) && samePoints(base.y, cand.y)
			everywhere := in.x == nil && in.y == nil
			if !everywhere || !same {
				compare(fmt.Sprintf(`{"select":{"tables":["m"]},"change":{"max_up":%g,"max_down":2},%s}`, margin, in.text()), pointOps(cand, base, base, in, func(x, y float64) []judgement {
					v, b := cand.surface(x, y), base.surface(x, y)
					return []judgement{{value: v, limit: b + margin, over: v - b - margin, baseOver: -1}, {value: v, limit: b - 2, over: b - 2 - v, baseOver: -1}}
				}))
			}
			if !everywhere {
				compare(fmt.Sprintf(`{"select":{"tables":["m"]},"range":{"max":1,"min":-3},%s}`, in.text()), pointOps(cand, sheet{}, base, in, func(x, y float64) []judgement {
					v, b := cand.surface(x, y), base.surface(x, y)
					return []judgement{{value: v, limit: 1, over: v - 1, baseOver: b - 1}, {value: v, limit: -3, over: -3 - v, baseOver: -3 - b}}
				}))
			} else if !same {
				// New breakpoints: the base is its surface where the candidate's cell is.
				compare(`{"select":{"tables":["m"]},"range":{"max":1}}`, cellOps(cand, func(r, c int) []judgement {
					return []judgement{{value: cand.at(r, c), limit: 1, over: cand.at(r, c) - 1, baseOver: base.surface(cand.x[c], cand.y[r]) - 1}}
				}))
			}
		}
	})
}

// The positive twin: one planted fault of known size at a known place is the only thing found.
func TestOnePlantedFault(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		nx, ny := rapid.IntRange(3, 9).Draw(t, "nx"), rapid.IntRange(3, 9).Draw(t, "ny")
		base := sheet{id: "m", unit: "deg"}
		for i := range nx {
			base.x = append(base.x, float64(4*i))
		}
		for j := range ny {
			base.y = append(base.y, float64(4*j))
			for i := range nx {
				base.v = append(base.v, float64(i+j)) // a plane: no lumps, a slope of 1/4 everywhere
			}
		}
		row, col := rapid.IntRange(1, ny-2).Draw(t, "row"), rapid.IntRange(1, nx-2).Draw(t, "col")
		size := float64(rapid.IntRange(1, 9).Draw(t, "size"))
		for text, limit := range map[string]float64{
			`{"range":{"max":50}}`: 50, `{"change":{"max_up":30}}`: float64(row+col) + 30, `{"frozen":{}}`: float64(row + col),
		} {
			cand := base
			cand.v = append([]float64{}, base.v...)
			cand.v[row*nx+col] = limit + size
			out := judged(t, judging(one(base), one(cand)), rule(text))
			want := fmt.Sprintf("m introduced 1x %g/%g by %g x=%d y=%d [%d,%d]", limit+size, limit, size, 4*col, 4*row, row, col)
			if got := sayAll(out.Findings); got != want {
				t.Fatalf("%s\n got %s\nwant %s", text, got, want)
			}
		}
		// Off the plane by 20 and size; its neighbours then lie off it by half of that, which stays inside.
		cand := base
		cand.v = append([]float64{}, base.v...)
		cand.v[row*nx+col] += 20 + size
		out := judged(t, judging(one(base), one(cand)), rule(`{"lump":{"max":20}}`))
		want := fmt.Sprintf("m introduced 1x %g/20 by %g x=%d y=%d [%d,%d]", 20+size, size, 4*col, 4*row, row, col)
		if got := sayAll(out.Findings); got != want {
			t.Fatalf("got %s\nwant %s", got, want)
		}
		// An untouched table breaks nothing that it did not break before.
		for _, text := range []string{`{"change":{"max_up":0,"max_down":0}}`, `{"frozen":{}}`} {
			if out := judged(t, judging(one(base), one(base)), rule(text)); len(out.Findings) != 0 {
				t.Fatalf("%s: %v", text, out.Findings)
			}
		}
	})
}
