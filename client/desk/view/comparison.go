// Package view draws reports for the desk: findings, pictures of changed tables, and one table
// whole. It makes HTML and SVG that carry no style and no script of their own, for a strict
// Content-Security-Policy; CSS and JS are served as files.
package view

import (
	"math"
	"slices"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/tables/severity"
	"witnessmark/tables/surface"
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
	out := slices.Clone(c.Report.GetTables())
	place := func(t *calibrationv1.TableReport) int {
		if i := slices.IndexFunc(c.Report.GetFindings(), func(f *calibrationv1.Finding) bool { return f.GetTable() == t.GetId() && compare.Counts(f) }); i >= 0 {
			return i
		}
		return len(c.Report.GetFindings())
	}
	slices.SortStableFunc(out, func(a, b *calibrationv1.TableReport) int { return place(a) - place(b) })
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

// CellOf is the cell of a finding's table that its worst point is, or lies nearest to; ok is false
// for a finding that is at no point of a table.
func (c *Comparison) CellOf(f *calibrationv1.Finding) (row, col int, ok bool) {
	t, w := tableOf(c.Layout, f.GetTable()), f.GetWorst()
	if t == nil || w == nil || uint64(len(c.Candidate)) != c.Layout.Size {
		return 0, 0, false
	}
	if w.Row != nil || w.Column != nil {
		return min(int(w.GetRow()), t.Cells.NY-1), min(int(w.GetColumn()), t.Cells.NX-1), true
	}
	if w.X == nil && w.Y == nil {
		return 0, 0, false
	}
	d := surface.Decode(t, c.Candidate)
	return nearest(d.Y, w.Y), nearest(d.X, w.X), true
}

// nearest is the index of the point that lies nearest.
func nearest(points []float64, to *float64) int {
	at := 0
	for i, p := range points {
		if to != nil && math.Abs(p-*to) < math.Abs(points[at]-*to) {
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
