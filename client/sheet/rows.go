package sheet

// VisitRow is a visited cell in words, for a page.
type VisitRow struct {
	Seconds, Table, Place, Base, Candidate, Delta string
}

// Rows are the cells that were visited longest, as many as the text sheet shows; more counts the rest.
func (v *Visited) Rows() (rows []VisitRow, more int) {
	shown := v.Cells[:min(len(v.Cells), shownVisits)]
	for _, c := range shown {
		n := numbers(c.Table)
		r := VisitRow{Seconds: secs(c.Seconds), Table: c.Table.ID, Place: point.Where(c.Table, c.Change, c.Change.X, c.Change.Y),
			Base: value(n, c.Change.Base.AsInterface()), Candidate: value(n, c.Change.Candidate.AsInterface())}
		if c.Change.Delta != nil {
			r.Delta = signed(n, *c.Change.Delta) + unit(c.Table)
		}
		rows = append(rows, r)
	}
	return rows, len(v.Cells) - len(shown)
}
