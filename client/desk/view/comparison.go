// Package view draws reports for the desk: findings, pictures of changed tables, and one table
// whole. It makes HTML and SVG that carry no style and no script of their own, for a strict
// Content-Security-Policy; CSS and JS are served as files.
package view

import (
	"fmt"
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/tables/said"
	"witnessmark/tables/severity"
)

// Comparison is what is drawn: two images, flat over the definition's range, and what was found
// between them.
type Comparison struct {
	Report          *calibrationv1.Report
	Layout          *definition.Layout
	Limits          *limits.Limits // may be nil
	Base, Candidate []byte
}

// WorstFirst are the report's changed tables, those with the worst finding first; what was there
// before does not count.
func (c *Comparison) WorstFirst() []*calibrationv1.TableReport {
	place := map[string]int{}
	for i, f := range slices.Backward(c.Report.GetFindings()) {
		if compare.Counts(f) {
			place[f.GetTable()] = i - len(c.Report.GetFindings()) // below 0, where tables without a finding stand
		}
	}
	out := slices.Clone(c.Report.GetTables())
	slices.SortStableFunc(out, func(a, b *calibrationv1.TableReport) int { return place[a.GetId()] - place[b.GetId()] })
	return out
}

// worstOf is the worst severity that counts among a table's findings; empty for none.
func (c *Comparison) worstOf(table string) string {
	var found []*calibrationv1.Finding
	for _, f := range c.Report.GetFindings() {
		if f.GetTable() == table {
			found = append(found, f)
		}
	}
	return worstIn(found)
}

// worstIn is the severity of the first finding that counts, of those that a report has in its order.
func worstIn(found []*calibrationv1.Finding) string {
	for _, f := range found {
		if compare.Counts(f) {
			return string(severity.Of(f.GetSeverity()))
		}
	}
	return ""
}

// At is what leads, on the page of a finding's table, to the cell that its worst point is, or lies nearest to:
// "?slice=SLICE&at=ROW,COLUMN", or nothing for a finding that is at no point of a table.
func (c *Comparison) At(f *calibrationv1.Finding) string {
	w := f.GetWorst()
	if w == nil || w.Row == nil && w.Column == nil && w.X == nil && w.Y == nil && w.XLabel == nil && w.YLabel == nil && w.Slice == nil {
		return ""
	}
	if (w.Row != nil || w.Column != nil) && c.stays(f.GetTable()) {
		return fmt.Sprintf("?at=%d,%d", w.GetRow(), w.GetColumn())
	}
	return c.decodedAt(f)
}

// stays says whether every cell of a table is drawn where a report's indices say, so that it need not be decoded to be found.
func (c *Comparison) stays(id string) bool {
	t := tableOf(c.Layout, id)
	if t == nil || t.Kind == "text" || len(t.Axes) > 2 || slices.Contains(c.Layout.Varying, t) || uint64(len(c.Base)) != c.Layout.Size || uint64(len(c.Candidate)) != c.Layout.Size {
		return false
	}
	i := slices.IndexFunc(c.Report.GetTables(), func(r *calibrationv1.TableReport) bool { return r.GetId() == id })
	return i >= 0 && !c.Report.GetTables()[i].GetAxesChanged() && c.Report.GetTables()[i].GetAlignment() == nil
}

// decodedAt is At for any table.
func (c *Comparison) decodedAt(f *calibrationv1.Finding) string {
	w := f.GetWorst()
	p, err := c.decode(f.GetTable())
	if err != nil || p.astray() != "" || p.t.Kind == "text" {
		return ""
	}
	n := p.faceAround(w.GetSlice())
	s := p.face(n)
	row, col := nearest(s.t.Y, s.cand.Y, w.Y, w.YLabel), nearest(s.t.X, s.cand.X, w.X, w.XLabel)
	if w.Row != nil || w.Column != nil {
		row, col = s.rows.find(1, int(w.GetRow())), s.cols.find(1, int(w.GetColumn()))
	}
	return fmt.Sprintf("?%sat=%d,%d", s.query(p.slice(n)), row, col)
}

// faceAround is the face of a slice that a report names, by index where it has one, else the face that lies nearest.
func (p *pair) faceAround(s *calibrationv1.Slice) int {
	if len(s.GetIndex()) > 0 || p.beyond == nil {
		return p.faceOf(s)
	}
	place := make([]int, len(p.beyond))
	for k := range min(len(place), len(s.GetAt())) {
		points := p.beyond[k].points(p.base.Beyond()[k], p.cand.Beyond()[k], 1)
		if v, number := said.NumberIn(s.GetAt()[k]); number {
			place[k] = nearest(p.t.Axes[k+2], points, &v, nil)
		} else {
			label := s.GetAt()[k].GetStringValue()
			place[k] = nearest(p.t.Axes[k+2], points, nil, &label)
		}
	}
	return p.faceAt(place)
}

// nearest is the index of the point that has the label, or lies nearest; 0 where neither is said.
func nearest(a *definition.Axis, points []float64, to *float64, label *string) int {
	at := 0
	for i, p := range points {
		switch {
		case label != nil && a.Labels != nil:
			if a.Labels[int(p)] == *label {
				return i
			}
		case to != nil && math.Abs(p-*to) < math.Abs(points[at]-*to):
			at = i
		}
	}
	return at
}

func tableOf(lay *definition.Layout, id string) *definition.Table {
	if lay == nil {
		return nil
	}
	return lay.ByID[id]
}
