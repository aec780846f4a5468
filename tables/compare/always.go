package compare

import (
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/tables/severity"
	"witnessmark/tables/surface"
)

// find adds a finding of a rule that is always on.
func (s *session) find(f *calibrationv1.Finding) {
	f.Reason, f.Source = limits.AlwaysOn[f.Rule], limits.AlwaysOnSource
	s.report.Findings = append(s.report.Findings, f)
}

// joined makes one line of what was found, and of a long list says how much was left out.
func joined(list []string) string { return cut(list, "; ") }

// listed is joined for what stands within a sentence.
func listed(list []string) string { return cut(list, ", ") }

func cut(list []string, between string) string {
	const most = 12
	if len(list) <= most {
		return strings.Join(list, between)
	}
	return fmt.Sprintf("%s%sand %d more", strings.Join(list[:most], between), between, len(list)-most)
}

// several is a count and its word: 1 byte, 2 bytes.
func several[N uint32 | int](n N, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

func short(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// unmappedFindings is one finding for each kind of content that changed where nothing is mapped.
func (s *session) unmappedFindings() {
	for _, k := range []struct{ content, severity string }{{"code", "danger"}, {"calibration", "warning"}, {"data", "caution"}} {
		f := &calibrationv1.Finding{Rule: "unmapped-bytes", Severity: k.severity}
		for _, r := range s.report.Unmapped {
			if r.Content == k.content {
				f.Ranges = append(f.Ranges, proto.CloneOf(r))
				f.Count += r.Bytes
			}
		}
		if f.Count > 0 {
			f.Detail = fmt.Sprintf("%s of %s in %s", several(f.Count, "differing byte"), k.content, several(len(f.Ranges), "range"))
			s.find(f)
		}
	}
}

// judged is a table that the rules on single tables look at.
type judged struct {
	d                *surface.Decoded
	cells            []cell
	xPoints, yPoints []int
}

// judgedAxis is one axis of a judged table, and which of its breakpoints are looked at.
type judgedAxis struct {
	name    string
	points  []float64
	indices []int
}

func (j judged) axes() [2]judgedAxis {
	return [2]judgedAxis{{"x", j.d.X, j.xPoints}, {"y", j.d.Y, j.yPoints}}
}

// subjects is every changed table; in a check every table with all of its cells and stored breakpoints.
func (s *session) subjects(f func(j judged)) {
	if !s.check {
		for _, c := range s.changes {
			if c.cand != nil {
				f(judged{c.cand, c.cells, c.movedXPoints, c.movedYPts})
			}
		}
		return
	}
	for _, t := range s.candLay.Tables {
		d := s.candOf(t.ID)
		if d == nil {
			continue
		}
		j := judged{d: d, xPoints: storedPoints(t.X), yPoints: storedPoints(t.Y)}
		for i := range d.Bits {
			row, col := i/d.NX, i%d.NX
			j.cells = append(j.cells, cell{row, col, row, col})
		}
		f(j)
	}
}

func storedPoints(a *definition.Axis) []int {
	if a == nil || a.Cells == nil {
		return nil
	}
	out := make([]int, a.Count)
	for i := range out {
		out[i] = i
	}
	return out
}

// notFinite finds cells and breakpoints that are no finite number.
func (s *session) notFinite() {
	s.subjects(func(j judged) {
		f := &calibrationv1.Finding{Rule: "not-finite", Severity: "danger", Table: j.d.Table.ID}
		var what []string
		if j.d.Values != nil {
			for _, c := range j.cells {
				v := j.d.Values[c.row*j.d.NX+c.col]
				if surface.Finite(v) {
					continue
				}
				f.Count++
				if f.Worst == nil {
					f.Worst = worstAt(j.d, c.row, c.col, v)
				}
			}
		}
		if f.Count > 0 {
			what = append(what, several(f.Count, "cell")+" not a finite number")
		}
		for _, a := range j.axes() {
			for _, i := range a.indices {
				if !surface.Finite(a.points[i]) {
					f.Count++
					what = append(what, fmt.Sprintf("breakpoint %d along %s is %v", i, a.name, a.points[i]))
				}
			}
		}
		if f.Count > 0 {
			f.Detail = joined(what)
			s.find(f)
		}
	})
}

func worstAt(d *surface.Decoded, row, col int, value float64) *calibrationv1.Worst {
	w := placeOf(d, row, col)
	w.Value = proto.Float64(value)
	return w
}

// placeOf is a cell's place as the report says it.
func placeOf(d *surface.Decoded, row, col int) *calibrationv1.Worst {
	w := &calibrationv1.Worst{Row: proto.Uint32(uint32(row)), Column: proto.Uint32(uint32(col))}
	if d.X != nil {
		w.X = proto.Float64(d.X[col])
	}
	if d.Y != nil {
		w.Y = proto.Float64(d.Y[row])
	}
	return w
}

// axisOrder finds changed axes that neither rise nor fall strictly.
func (s *session) axisOrder() {
	s.subjects(func(j judged) {
		f := &calibrationv1.Finding{Rule: "axis-order", Severity: "caution", Table: j.d.Table.ID}
		var what []string
		for _, a := range j.axes() {
			if len(a.indices) == 0 && (s.check || !s.cutShort(j.d.Table.ID, a.name)) {
				continue
			}
			wrong := disordered(a.points)
			f.Count += uint32(len(wrong))
			for _, i := range wrong {
				what = append(what, fmt.Sprintf("along %s, breakpoint %d is %s after %s", a.name, i, short(a.points[i]), short(a.points[i-1])))
			}
		}
		if f.Count > 0 {
			f.Detail = joined(what)
			s.find(f)
		}
	})
}

// cutShort says that an axis lost its last breakpoints and no other one moved: it changed all the same.
func (s *session) cutShort(id, axis string) bool {
	c := s.byID[id]
	return axis == "x" && c.xMoved || axis == "y" && c.yMoved
}

// disordered is the breakpoints that break the order which most neighbours keep.
func disordered(points []float64) []int {
	var notRising, notFalling []int
	for i := 1; i < len(points); i++ {
		if !(points[i] > points[i-1]) { // NaN too
			notRising = append(notRising, i)
		}
		if !(points[i] < points[i-1]) {
			notFalling = append(notFalling, i)
		}
	}
	if len(notFalling) < len(notRising) {
		return notFalling
	}
	return notRising
}

// mirrors finds mirrored tables that disagree, where either of the pair changed.
func (s *session) mirrors() {
	for _, t := range s.candLay.Tables {
		if t.MirrorOf == "" || !s.check && s.byID[t.ID] == nil && s.byID[t.MirrorOf] == nil {
			continue
		}
		d, of := s.candOf(t.ID), s.candOf(t.MirrorOf)
		if d == nil || of == nil && s.unknown[t.MirrorOf] != "" {
			continue
		}
		f := &calibrationv1.Finding{Rule: "mirror", Severity: "danger", Table: t.ID, Tables: []string{t.MirrorOf}}
		if of == nil || len(of.Bits) != len(d.Bits) {
			f.Count, f.Detail = uint32(len(d.Bits)), fmt.Sprintf("%s has not as many cells", t.MirrorOf)
			s.find(f)
			continue
		}
		all := ^uint64(0) >> (64 - min(max(t.Cells.Width, 1), 64))
		for i, bits := range d.Bits {
			want := of.Bits[i]
			if t.MirrorComplement {
				want = ^want
			}
			if bits == want&all {
				continue
			}
			f.Count++
			row, col := i/d.NX, i%d.NX
			if d.Values != nil && f.Worst == nil {
				f.Worst = worstAt(d, row, col, d.Values[i])
			}
			if f.Detail == "" {
				f.Detail = fmt.Sprintf("at row %d, column %d its raw bits are 0x%x where 0x%x would repeat %s", row, col, bits, want&all, t.MirrorOf)
			}
		}
		if f.Count > 0 {
			s.find(f)
		}
	}
}

// notMeant finds changes that the author did not announce.
func (s *session) notMeant() {
	if s.report.Meant == nil {
		return
	}
	meant := map[string]bool{}
	for _, id := range s.report.Meant.Tables {
		meant[id] = true
	}
	for _, c := range s.changes {
		if !meant[c.id] {
			s.find(&calibrationv1.Finding{Rule: "not-meant", Severity: "caution", Table: c.id,
				Count: max(c.report.GetChanged(), 1), Detail: c.whatChanged()})
		}
	}
}

func (c *change) whatChanged() string {
	if c.incomparable != "" {
		return c.incomparable
	}
	text := fmt.Sprintf("%d of %d cells changed", c.report.Changed, c.report.Cells)
	if c.report.AxesChanged {
		text += ", and breakpoints did"
	}
	return text
}

// carried counts the inherited findings that would be a warning or worse if they were new.
func (s *session) carried() {
	n := 0
	var keys []string
	for _, f := range s.report.Findings {
		if !Counts(f) && severity.Of(f.Severity).AtLeast(severity.Warning) {
			n++
			keys = append(keys, Key(f))
		}
	}
	if n > 0 {
		s.find(&calibrationv1.Finding{Rule: "carried", Severity: "notice", Count: uint32(n),
			Detail: fmt.Sprintf("%s of warning or danger that the base had already: %s", several(n, "finding"), joined(keys))})
	}
}
